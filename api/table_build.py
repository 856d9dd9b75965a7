"""The joint of reader and standards: photos of strips in known waters to colours of pads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median

from api.named import Named
from api.reasons import all_reasons
from api.same_photo import first_twice
from calibration.rows import TableError
from calibration.runs import Run
from calibration.standards import StandardPad
from calibration.table import PadPlan
from reader.card import Card
from reader.errors import PhotoError
from reader.find_strip import PadPlace
from reader.read_strip import StripSeen, read_strip

KNOWN = all_reasons()

OUT_OF_PLACE = ("doubt", "spoils")
"""A pad with a reason of its own of these weights teaches a table nothing."""

NOT_SURELY_THIS_PAD = (
    *("strip_place_unsure", "strip_place_lost", "something_over_strip"),
    *("screen_photo", "copied_card"),
)
"""Doubts of a whole photo under which a colour may not be the pad's. Doubts about the light stay:
a table made under the shop's own lamp reads well under it."""


MISFIT_DE00 = 0.9
"""A card's patches fit its own measured colours within 0.7 in good light, those of another print
within 0.4 to 1.3: only a print far off can be told, and only by many photos together."""

SAME_STRIP_S = 5.0
"""Nobody lays another strip on the card and photographs it in less time (common practice)."""


@dataclass(frozen=True, eq=False)
class Measured:
    """The pads of known value in all photos, and what could not be used."""

    pads: tuple[StandardPad, ...]
    unused: tuple[str, ...]
    """One sentence for each photo or pad that was left out."""
    doubts: tuple[str, ...] = ()
    """What else a person should look at: perhaps another card, one strip counted twice."""


def measure_runs(
    runs: Sequence[Run],
    plans: Sequence[PadPlan],
    open_: Callable[[str], bytes],
    card: Card,
    name: str,
) -> Measured:
    """Return the colours of the pads whose value is known, photo by photo.

    Parameters
    ----------
    runs
        Photos with the values known of their water.
    plans
        The pads of the strip.
    open_
        From a photo's path in the list to its bytes.
    card
        The card in the photos.
    name
        What messages call the list.

    Raises
    ------
    TableError
        If the list names an analyte that the strip has no pad for, or a file that is no image.
    """
    pads_of = _pads_by_analyte(runs, plans, name)
    places = [PadPlace(p.pad, p.centre_mm, p.size_mm) for p in plans]
    found: list[StandardPad] = []
    unused: list[str] = []
    looks: dict[str, StripSeen] = {}
    photos = _by_photo(runs)
    twice = first_twice((photo, Named(photo, open_(photo)).sha256) for photo in photos)
    if twice is not None:
        line = photos[twice[1]][0].line
        raise TableError(
            f"{name}, line {line}: {twice[1]} is the same photo as {twice[0]}; "
            "photograph another strip, or give all its values to the one name"
        )
    for photo, known in photos.items():
        try:
            seen = read_strip(open_(photo), card, places)
        except PhotoError as fault:
            line = known[0].line
            raise TableError(f"{name}, line {line}: {photo}: {fault}; take it again") from None
        looks[photo] = seen
        for run in known:
            for plan in pads_of[run.analyte]:
                entry = _pad(seen, run, plan)
                if isinstance(entry, str):
                    unused.append(entry)
                else:
                    found.append(entry)
    doubts = (*_other_card(looks.values(), card), *_same_strips(photos, looks))
    return Measured(tuple(found), tuple(dict.fromkeys(unused)), doubts)


def _other_card(looks: Iterable[StripSeen], card: Card) -> tuple[str, ...]:
    """Say whether the photos' card seems to be another than the one measured."""
    misfits = [seen.delta_e00_median for seen in looks if seen.delta_e00_median is not None]
    if not card.measured or len(misfits) < 3 or median(misfits) <= MISFIT_DE00:
        return ()
    return (
        f"the card in these photos fits the measured colours badly ({median(misfits):.1f} "
        "CIEDE2000, usually 0.5); see that the serial on the card is that of the file",
    )


def _same_strips(
    photos: Mapping[str, Sequence[Run]], looks: Mapping[str, StripSeen]
) -> tuple[str, ...]:
    """Name photos of one water taken so soon after each other that they may show one strip."""
    waters: dict[object, list[tuple[datetime, str]]] = {}
    for photo, known in photos.items():
        taken = looks[photo].taken_at
        if taken is not None:
            water = tuple(sorted((run.analyte, run.value) for run in known))
            # With and without a time zone, moments cannot be compared.
            waters.setdefault((water, taken.tzinfo is None), []).append((taken, photo))
    pairs = [pair for taken in waters.values() for pair in pairwise(sorted(taken))]
    return tuple(
        f"{one} and {two} were taken {(later - first).total_seconds():.0f} s apart: if they show "
        "one strip, leave one out, for it counts once"
        for (first, one), (later, two) in pairs
        if (later - first).total_seconds() < SAME_STRIP_S
    )


def colours_of(
    data: bytes, name: str, plans: Sequence[PadPlan], card: Card
) -> list[StandardPad | str]:
    """Return for each planned pad of a photo its colour, or the sentence that says why not.

    The pads' values are not known yet and stand as 0. Raises `PhotoError` for what is no photo.
    """
    seen = read_strip(data, card, [PadPlace(p.pad, p.centre_mm, p.size_mm) for p in plans])
    return [_pad(seen, Run(name, plan.analyte, 0.0, 0), plan) for plan in plans]


def _pads_by_analyte(
    runs: Sequence[Run], plans: Sequence[PadPlan], name: str
) -> Mapping[str, list[PadPlan]]:
    pads: dict[str, list[PadPlan]] = {}
    for plan in plans:
        pads.setdefault(plan.analyte, []).append(plan)
    for run in runs:
        if run.analyte not in pads:
            has = ", ".join(pads)
            raise TableError(
                f"{name}, line {run.line}: the strip has no pad for {run.analyte!r}; it has {has}"
            )
    return pads


def _by_photo(runs: Iterable[Run]) -> dict[str, list[Run]]:
    photos: dict[str, list[Run]] = {}
    for run in runs:
        photos.setdefault(run.photo, []).append(run)
    return photos


def unusable(codes: Sequence[str]) -> list[str]:
    """Return the reasons of a photo that make it no teacher of a table."""
    return [c for c in codes if KNOWN[c].weight == "spoils" or c in NOT_SURELY_THIS_PAD]


def _pad(seen: StripSeen, run: Run, plan: PadPlan) -> StandardPad | str:
    """Return the pad's colour, or the sentence that says why it cannot be used."""
    of_photo = unusable(seen.reasons)
    colour = next((pad for pad in seen.pads if pad.pad == plan.pad), None)
    if of_photo or colour is None:
        return _left_out(run.photo, "", of_photo or list(seen.reasons))
    own = [code for code in colour.reasons if KNOWN[code].weight in OUT_OF_PLACE]
    if own or colour.lab is None:
        return _left_out(run.photo, f" pad {plan.pad} ({plan.analyte})", own)
    return StandardPad(run.photo, plan.pad, run.value, colour.lab)


def _left_out(photo: str, pad: str, codes: Sequence[str]) -> str:
    why = "; ".join(KNOWN[code].sentence.rstrip(".") for code in codes) or "no colour was found"
    cure = KNOWN[codes[0]].cure if codes else "Take the photo again."
    return f"{photo}:{pad} was left out: {why[0].lower() + why[1:]}. {cure}"
