"""The joint of reader and standards: photos of strips in known waters to colours of pads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, eq=False)
class Measured:
    """The pads of known value in all photos, and what could not be used."""

    pads: tuple[StandardPad, ...]
    unused: tuple[str, ...]
    """One sentence for each photo or pad that was left out."""


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
        for run in known:
            for plan in pads_of[run.analyte]:
                entry = _pad(seen, run, plan)
                if isinstance(entry, str):
                    unused.append(entry)
                else:
                    found.append(entry)
    return Measured(tuple(found), tuple(dict.fromkeys(unused)))


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
