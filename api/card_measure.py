"""The joint of reader and card watch: photos of a new card to its own colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from api.named import Named
from api.reasons import all_reasons
from api.same_photo import first_twice
from calibration.card_watch import AveragedCard, CardPhoto, average_card
from reader.card import Card
from reader.card_beside import NewCardSeen, pooled_paper, see_beside
from reader.card_files import BESIDE_CARD, BESIDE_CHART, CardFacts, write_cgats
from reader.chart24 import see_chart
from reader.errors import PhotoError

KNOWN = all_reasons()

NOT_OF_THE_PAIR = ("card_nominal", "two_cards", "patches_spoiled")
"""Reasons that say nothing here: one card is new, two are wanted, whole patches are counted."""

SPOILS = ("card_cut_off", "card_colours_off", "hard_shadow", "light_poor")
"""Doubts of a reading that spoil a measurement."""


@dataclass(frozen=True, eq=False)
class NewCard:
    """A new card's colours from photos, and what could not be used."""

    card: AveragedCard
    source: str
    """How it was measured, in words."""
    photos: int
    """Photos whose colours were averaged."""
    notes: tuple[str, ...]
    """One sentence for each photo that was left out, and what else a person should know."""

    @property
    def uncertainty(self) -> float:
        """Return the usual standard deviation of a patch's mean, over all patches and axes."""
        spread = [np.trace(cov) / 3.0 for cov in self.card.covs.values()]
        return float(np.sqrt(np.mean(spread)))


def measure_card(photos: Sequence[Named], known: Card | None, new: Card) -> NewCard:
    """Return the new card's colours.

    Parameters
    ----------
    photos
        Photos of the new card, best in several lights, the cards turned between them.
    known
        The card that lies to the left of it or above it, with its measured colours; None where a
        published 24-patch chart lies beside it.
    new
        The new card's layout.

    Raises
    ------
    ValueError
        If too few photos can be used; one sentence that names the first fault and the cure.
    """
    twice = first_twice((photo.name, photo.sha256) for photo in photos)
    if twice is not None:
        raise ValueError(f"{twice[1]} is the same photo as {twice[0]}; take another")
    seen: list[tuple[str, NewCardSeen]] = []
    notes: list[str] = []
    for photo in photos:
        found = _seen(photo, known, new)
        if isinstance(found, str):
            notes.append(f"{photo.name} {found}")
        else:
            seen.append((photo.name, found))
    if len(seen) < len(photos) and not seen:
        raise ValueError(notes[0])
    paper = pooled_paper([one for _, one in seen]) if known else np.zeros(3)
    try:
        averaged = average_card([_colours(name, one, paper) for name, one in seen])
    except ValueError as fault:
        raise ValueError(str(fault) + (f" (and {notes[0]})" if notes else "")) from None
    notes += [f"{name} disagrees with the others and was left out" for name in averaged.left_out]
    source = BESIDE_CARD if known else BESIDE_CHART
    return NewCard(averaged, source, len(seen) - len(averaged.left_out), tuple(notes))


def _seen(photo: Named, known: Card | None, new: Card) -> NewCardSeen | str:
    try:
        found = see_beside(photo.data, known, new) if known else see_chart(photo.data, new)
    except PhotoError as fault:
        raise ValueError(f"{photo.name}: {fault}") from None
    return found if isinstance(found, str) else _trouble(found) or found


def _trouble(seen: NewCardSeen) -> str | None:
    """Return why a photo cannot be used, or None."""
    spoiled = [p.id for p, good in zip(seen.card.patches, seen.good, strict=True) if not good]
    if spoiled:
        some = ", ".join(spoiled[:4]) + (" and more" if len(spoiled) > 4 else "")
        return f"does not show patch {some} whole: covered, cut off, too bright; take it again"
    for code in seen.reasons:
        if code not in NOT_OF_THE_PAIR and (KNOWN[code].weight == "spoils" or code in SPOILS):
            return f"was left out: {KNOWN[code].sentence} {KNOWN[code].cure}"
    return None


def _colours(name: str, seen: NewCardSeen, paper: NDArray[np.float64]) -> CardPhoto:
    labs = seen.labs(paper)
    return CardPhoto(name, {p.id: lab for p, lab in zip(seen.card.patches, labs, strict=True)})


def written(found: NewCard, serial: str | None, today: date) -> str:
    """Return the new card as CGATS.17 text, with its serial and the day it was measured."""
    labs = {
        patch: (float(lab[0]), float(lab[1]), float(lab[2]))
        for patch, lab in found.card.labs.items()
    }
    return write_cgats(labs, facts=CardFacts(serial, today.isoformat(), found.source))
