"""The strip in the slot, and on it the pads: from the strip's own edges and the table's places."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.flatten import Flat
from reader.pad_match import Match, PadPlace, Profile, best_match
from reader.slot_view import SlotView, slot_view
from reader.strip_cover import covered
from reader.strip_edges import StripLine, ends, ground_colour, strip_line

__all__ = ["PadPlace", "StripBox", "find_strip", "why_no_strip"]

Array = NDArray[np.float64]

CONTRAST_NEEDED = 0.04
"""Below this contrast of pads to plastic their pattern says nothing."""
PATTERN_NEEDED = 0.80
"""Share of the strip's colour changes that pads at the table's places must explain."""
REVERSED_BETTER = 0.10
"""The mirrored order must explain this much more before the strip is called reversed."""
TIP_LIMIT_MM = 1.5
"""Tip's edge and pads' pattern may differ by this much."""
STRETCH_LIMIT = 0.025


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
    ground = ground_colour(view)
    line = None if ground is None else strip_line(view, ground)
    if ground is None or line is None:
        return None
    profile = _profile(view, line, ground)
    if profile is None:
        return None
    match = best_match(profile, places)
    mirrored = best_match(profile.mirrored(_end_seen(view, profile)), places)
    hidden = covered(view, line, ground, match.tip_mm)
    return _box(view, line, places, profile, match, mirrored, hidden)


def why_no_strip(flat: Flat, card: Card) -> tuple[str, ...]:
    """Return the reasons for a card on which `find_strip` found none."""
    view = slot_view(flat, card)
    inside = np.abs(view.v_mm) < view.half_mm
    columns = (view.u_mm > 0) & (view.u_mm < view.length_mm)
    seen = np.isfinite(view.rgb[inside][:, columns]).all(axis=2)
    return ("strip_cut_off",) if seen.mean() < 0.9 else ("no_strip",)


def _profile(view: SlotView, line: StripLine, ground: Array) -> Profile | None:
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
    return Profile(u, rgb, first, last, start is not None)


def _end_seen(view: SlotView, profile: Profile) -> bool:
    return profile.stop_mm < view.length_mm


def _box(
    view: SlotView,
    line: StripLine,
    places: Sequence[PadPlace],
    profile: Profile,
    match: Match,
    mirrored: Match,
    hidden: tuple[tuple[float, float], ...],
) -> StripBox:
    quads = tuple(_quad(view, line, match, place) for place in places)
    cover = tuple(_cover_reasons(match, place, hidden) for place in places)
    outside = [() if _is_inside(view, line, match, p) else ("strip_cut_off",) for p in places]
    ends_mm = np.array([[profile.start_mm, -0.5], [profile.stop_mm, -0.5],
                        [profile.stop_mm, 0.5], [profile.start_mm, 0.5]])  # fmt: skip
    return StripBox(
        pads=tuple(place.pad for place in places),
        quads_mm=quads,
        outline_mm=_on_card(view, line, ends_mm * [1.0, line.width_mm]),
        pad_reasons=tuple((*c, *o) for c, o in zip(cover, outside, strict=True)),
        reasons=tuple(_reasons(line, profile, match, mirrored, hidden, len(places))),
        stretch=match.stretch,
        width_mm=line.width_mm,
    )


def _quad(view: SlotView, line: StripLine, match: Match, place: PadPlace) -> Array:
    """Return the corners of a pad on the card; a pad is no wider than the strip."""
    middle = match.tip_mm + match.stretch * place.centre_mm
    along = match.stretch * place.size_mm / 2
    aside = min(along, line.width_mm / 2)
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


def _cover_reasons(
    match: Match, place: PadPlace, hidden: tuple[tuple[float, float], ...]
) -> tuple[str, ...]:
    middle = match.tip_mm + match.stretch * place.centre_mm
    reach = match.stretch * place.size_mm / 2
    over = any(a < middle + reach and b > middle - reach for a, b in hidden)
    return ("pad_covered",) if over else ()


def _reasons(
    line: StripLine,
    profile: Profile,
    match: Match,
    mirrored: Match,
    hidden: tuple[tuple[float, float], ...],
    pads: int,
) -> Iterator[str]:
    """Yield what speaks against the strip or its place."""
    tells = max(match.contrast, mirrored.contrast) > CONTRAST_NEEDED
    if tells and mirrored.explained > max(match.explained + REVERSED_BETTER, 0.6):
        yield "strip_reversed"
    elif tells and (match.explained < PATTERN_NEEDED or len(match.mixed) > max(1, pads // 4)):
        yield "something_over_strip" if hidden else "other_strip"
    elif _is_unsure(line, profile, match, tells):
        yield "strip_place_unsure"
    if hidden:
        yield "something_over_strip"


def _is_unsure(line: StripLine, profile: Profile, match: Match, tells: bool) -> bool:
    if not profile.tip_seen:
        return not tells or line.sides_seen < 2
    return abs(match.tip_mm - profile.start_mm) > TIP_LIMIT_MM
