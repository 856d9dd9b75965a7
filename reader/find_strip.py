"""The strip in the slot, and on it the pads: from the strip's own edges and the table's places."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.flatten import Flat
from reader.pad_match import Match, PadPlace, Profile, best_match
from reader.pad_sides import centred_on_pads
from reader.slot_view import SlotView, slot_view
from reader.strip_by_pads import PadsPlace, ground_is_white, strip_by_pads
from reader.strip_cover import Cover, cover
from reader.strip_edges import (
    GROUND_REACH,
    RIM_MM,
    StripLine,
    ends,
    ground_colour,
    strip_line,
    unlike_ground,
)
from reader.strip_handle import without_handle
from reader.strip_shine import shines_at

__all__ = ["PadPlace", "StripBox", "find_strip", "why_no_strip"]

Array = NDArray[np.float64]

CONTRAST_NEEDED = 0.04
"""Below this contrast of pads to plastic their pattern says nothing."""
PATTERN_NEEDED = 0.80
"""Share of the strip's colour changes that pads at the table's places must explain."""
REVERSED_BETTER = 0.10
"""The mirrored order must explain this much more before the strip is called reversed; a quarter
of it where the pads' places, too, ..."""
CLEARLY_BETTER = 50.0
"""... leave so much less unexplained (a sum of squares in standard deviations)."""
TIP_LIMIT_MM = 1.5
"""Tip's edge and pads' pattern may differ by this much."""
STRETCH_LIMIT = 0.035
"""A card may be printed a little too large or small; beyond this it is another strip."""


@dataclass(frozen=True, eq=False)
class StripBox:
    """The strip as it lies on the card, with its pads."""

    pads: tuple[int, ...]
    """Numbers of the pads, 1 at the dipped tip, in the order they were asked for."""
    quads_mm: tuple[Array, ...]
    """Corners (4, 2) of each pad on the card: from tip to handle, then back on the other side."""
    outline_mm: Array
    """Corners (4, 2) of the strip's visible body on the card."""
    pad_reasons: tuple[tuple[str, ...], ...]
    """Reason codes of each pad, as `pads`."""
    reasons: tuple[str, ...]
    """Reason codes of the strip as a whole."""
    stretch: float
    """Length of the strip on the card against the table's."""
    width_mm: float

    def lit(self, shines: Sequence[bool]) -> StripBox:
        """Return the box with `glare` on the pads around which something shines."""
        pairs = zip(self.pad_reasons, shines, strict=True)
        return replace(self, pad_reasons=tuple((*r, "glare") if s else r for r, s in pairs))


def find_strip(flat: Flat, card: Card, places: Sequence[PadPlace]) -> StripBox | None:
    """Return the strip with its pads' places; None where no strip lies in the slot.

    Parameters
    ----------
    flat
        The card seen straight from above.
    card
        Gives the slot and its dipped end.
    places
        Where the table says the pads lie; at least one.
    """
    view = slot_view(flat, card)
    # On paper the strip's white edges tell little, and its pads' colours all the more.
    if ground_is_white(view) and (told := strip_by_pads(view, places)) is not None:
        return _box_by_pads(view, told, places)
    ground = ground_colour(view)
    line = None if ground is None else strip_line(view, ground)
    if ground is None or line is None:
        return None
    over = cover(view, line, ground)
    profile = _profile(view, line, ground, over)
    if profile is None:
        return None
    bare = without_handle(profile, places)
    match = best_match(bare, places)
    is_end_seen = bare.stop_mm == profile.stop_mm < view.length_mm
    mirrored = best_match(bare.mirrored(is_end_seen), places)
    spans = _spans(match, places)
    line = centred_on_pads(view, line, spans)
    reasons = tuple(_reasons(bare, match, mirrored, over, len(places)))
    box = _box(view, line, places, (profile.start_mm, profile.stop_mm), match, over, reasons)
    return box.lit(shines_at(view, line, ground, spans))


def _box_by_pads(view: SlotView, told: PadsPlace, places: Sequence[PadPlace]) -> StripBox:
    """Return the strip placed by its pads; how far its handle reaches is not known."""
    over = cover(view, told.line, np.ones(3))
    last = max(p.centre_mm + p.size_mm for p in places)
    reach = (told.match.tip_mm, told.match.tip_mm + told.match.stretch * last)
    covered = ("two_strips",) if over.second_strip else ("something_over_strip",)
    reasons = (*(covered if over.second_strip or over.stretches else ()), *told.reasons)
    return _box(view, told.line, places, reach, told.match, over, tuple(dict.fromkeys(reasons)))


def _spans(match: Match, places: Sequence[PadPlace]) -> Array:
    """Return middle and half length of each pad along the slot, shape (pads, 2)."""
    return np.array(
        [
            [match.tip_mm + match.stretch * p.centre_mm, match.stretch * p.size_mm / 2]
            for p in places
        ]
    )


def why_no_strip(flat: Flat, card: Card) -> tuple[str, ...]:
    """Return the reasons for a card on which `find_strip` found none."""
    view = slot_view(flat, card)
    inside = np.abs(view.v_mm) < view.half_mm - RIM_MM
    slot = view.rgb[inside][:, (view.u_mm > RIM_MM) & (view.u_mm < view.length_mm - RIM_MM)]
    if np.isfinite(slot).all(axis=2).mean() < 0.9:
        return ("strip_cut_off",)
    ground = ground_colour(view)
    if ground is None:
        return ("no_strip",)
    if cover(view, None, ground).second_strip:
        return ("two_strips",)
    filled = unlike_ground(slot, ground) > 2 * GROUND_REACH
    return ("strip_place_lost",) if filled.mean() > 0.15 else ("no_strip",)


def _profile(view: SlotView, line: StripLine, ground: Array, over: Cover) -> Profile | None:
    """Return the colours along the strip's middle: medians over the inner half of its width."""
    u = view.u_mm
    lanes = np.linspace(-0.27, 0.27, 9) * line.width_mm
    seen = view.sample(np.tile(u, (9, 1)), line.middle_at(u) + lanes[:, None])
    rgb = np.median(seen, axis=0).astype(np.float64)
    start, stop = ends(view, line, ground)
    first = start if start is not None else 0.0
    last = stop if stop is not None else view.length_mm
    if last - first < 10.0:
        return None
    for a, b in over.stretches:
        rgb[(u > a - 0.8) & (u < b + 0.8)] = np.nan
    return Profile(u, rgb, first, last, start is not None)


def _box(
    view: SlotView,
    line: StripLine,
    places: Sequence[PadPlace],
    reach: tuple[float, float],
    match: Match,
    over: Cover,
    reasons: tuple[str, ...],
) -> StripBox:
    quads = tuple(_quad(view, line, match, place) for place in places)
    cover = tuple(_cover_reasons(match, place, over) for place in places)
    outside = [() if _is_inside(view, line, match, p) else ("strip_cut_off",) for p in places]
    start, stop = reach
    ends_mm = np.array([[start, -0.5], [stop, -0.5], [stop, 0.5], [start, 0.5]])
    return StripBox(
        pads=tuple(place.pad for place in places),
        quads_mm=quads,
        outline_mm=_on_card(view, line, ends_mm * [1.0, line.width_mm]),
        pad_reasons=tuple((*c, *o) for c, o in zip(cover, outside, strict=True)),
        reasons=reasons,
        stretch=abs(match.stretch),
        width_mm=line.width_mm,
    )


def _quad(view: SlotView, line: StripLine, match: Match, place: PadPlace) -> Array:
    """Return the corners of a pad on the card; a pad is no wider than the strip."""
    middle = match.tip_mm + match.stretch * place.centre_mm
    along = match.stretch * place.size_mm / 2
    aside = min(abs(along), line.width_mm / 2)
    corners = [[-along, -aside], [along, -aside], [along, aside], [-along, aside]]
    return _on_card(view, line, np.array(corners) + np.array([middle, 0.0]))


def _on_card(view: SlotView, line: StripLine, at: Array) -> Array:
    """Return card places of places on the strip: along it in view `u`, and off its middle."""
    turned = np.array([1.0, line.slope]) / np.hypot(1.0, line.slope)
    aside = np.array([-turned[1], turned[0]])
    middle = np.column_stack([at[:, 0], line.middle_at(at[:, 0])])
    return view.to_card(middle + at[:, 1:] * aside)


def _is_inside(view: SlotView, line: StripLine, match: Match, place: PadPlace) -> bool:
    u = np.array([match.tip_mm + match.stretch * place.centre_mm])
    seen = view.sample(u[None], line.middle_at(u)[None])
    return bool(np.isfinite(seen).all())


def _cover_reasons(match: Match, place: PadPlace, over: Cover) -> tuple[str, ...]:
    middle = match.tip_mm + match.stretch * place.centre_mm
    reach = abs(match.stretch) * place.size_mm / 2
    hidden = any(a < middle + reach and b > middle - reach for a, b in over.stretches)
    return ("pad_covered",) if hidden else ()


def _reasons(
    profile: Profile,
    match: Match,
    mirrored: Match,
    over: Cover,
    pads: int,
) -> Iterator[str]:
    """Yield what speaks against the strip or its place."""
    if over.second_strip:
        yield "two_strips"
    elif over.stretches:
        yield "something_over_strip"
    tells = max(match.contrast, mirrored.contrast) > CONTRAST_NEEDED
    if tells and _is_better(mirrored, match):
        yield "strip_reversed"
    elif tells and _is_foreign(match, pads):
        if not over.second_strip:
            yield "other_strip"
    elif _is_unsure(profile, match, tells):
        yield "strip_place_unsure"


def _is_better(mirrored: Match, match: Match) -> bool:
    """Say whether the pads fit the strip end for end, and clearly better than as it should lie."""
    gain = mirrored.explained - match.explained
    enough = REVERSED_BETTER if match.cost < mirrored.cost + CLEARLY_BETTER else REVERSED_BETTER / 4
    return mirrored.explained > 0.6 and gain > enough


def _is_foreign(match: Match, pads: int) -> bool:
    """Say whether the pads do not lie where the table has them."""
    return (
        match.explained < PATTERN_NEEDED
        or len(match.mixed) > max(1, pads // 4)
        or abs(match.stretch - 1.0) > STRETCH_LIMIT
    )


def _is_unsure(profile: Profile, match: Match, tells: bool) -> bool:
    if not profile.tip_seen:
        return not tells
    return abs(match.tip_mm - profile.start_mm) > TIP_LIMIT_MM
