"""What lies over the slot beside the strip: a finger, a second strip.

Beside the slot the card is white, and beside the strip the slot shows its ground. What is neither
has been laid there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.slot_view import STEP_MM, SlotView
from reader.strip_edges import RIM_MM, StripLine, unlike_ground

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

HUE_LIMIT = 0.22
"""Spread of the channels' logarithms above which the white margin is not white."""
NOISE_CODE = 0.02
"""In a dark photo noise colours the white: this, over the white's code, is allowed more."""
DARK_LIMIT = 0.40
"""Share of white below which it is no shadow."""
LONGEST_GAP_MM, SHORTEST_MM = 1.5, 2.5
FINGER_MM = 24.0
"""A fingertip covers less than this of the slot's length; a second strip along it more."""
HUES_APART = 0.30
"""Difference of hue (log ratio of channels) that one finger does not show."""
PAD_MM, BLUER = 8.0, 0.1
"""What is no larger than a pad, and bluer than red as no skin is, is a pad of another strip."""
PLASTIC_SHARE = 0.72
"""Every channel of white plastic is brighter than this share of the paper."""
PLASTIC_MM = 3.0
"""White beside the strip over this length is plastic; less may be its own edge."""


@dataclass(frozen=True)
class Cover:
    """What lies over the slot."""

    stretches: tuple[tuple[float, float], ...] = ()
    """From where to where along the slot something covers it, in view u."""
    second_strip: bool = False


def cover(view: SlotView, line: StripLine | None, ground: Array) -> Cover:
    """Return what lies over the slot beside the strip; beside nothing where there is no line."""
    sides = [_off_white(view, view.white[s]) & ~_own(view, line, s, 0.8) for s in (0, 1)]
    sides += [_off_white(view, view.near[s]) & ~_own(view, line, s, 0.2) for s in (0, 1)]
    # Beyond the slot's ends the layout may have patches where its sides are white.
    beside = (view.u_mm > 0.0) & (view.u_mm < view.length_mm)
    found = [
        _stretches(view.u_mm, off & beside) for off in (sides[0] | sides[2], sides[1] | sides[3])
    ]
    second = _is_second_strip(view, found)
    if line is not None and not second:
        second = _plastic_beside_mm(view, line, ground) > PLASTIC_MM
    return Cover((*found[0], *found[1]), second)


def _off_white(view: SlotView, white: NDArray[np.float32]) -> Mask:
    log = np.log(np.maximum(np.nan_to_num(white, nan=1.0), 1e-3))
    limit = HUE_LIMIT + NOISE_CODE / max(view.white_code, 1e-3)
    calm = cv2.blur(log, (1, 5)).reshape(log.shape)
    return np.asarray((np.ptp(calm, axis=1) > limit) | (calm.mean(axis=1) < np.log(DARK_LIMIT)))


def _own(view: SlotView, line: StripLine | None, side: int, beyond_mm: float) -> Mask:
    """Say where the strip itself reaches this far beyond the slot's side."""
    if line is None:
        return np.zeros(len(view.u_mm), bool)
    sign = -1 if side == 0 else 1
    reach = sign * line.middle_at(view.u_mm) + line.width_mm / 2
    return np.asarray(reach > view.half_mm + beyond_mm)


def _stretches(u: Array, mask: Mask) -> list[tuple[float, float]]:
    """Return the stretches where the mask holds, small gaps closed, short ones left out."""
    found: list[tuple[float, float]] = []
    for place in u[mask]:
        if found and place - found[-1][1] < LONGEST_GAP_MM:
            found[-1] = (found[-1][0], float(place))
        else:
            found.append((float(place), float(place)))
    return [(a, b + STEP_MM) for a, b in found if b - a > SHORTEST_MM]


def _is_second_strip(view: SlotView, found: list[list[tuple[float, float]]]) -> bool:
    """Say whether the margins' covers are too long or too motley for a finger."""
    u = view.u_mm
    either = np.zeros(len(u), bool)
    for a, b in (stretch for stretches in found for stretch in stretches):
        either |= (u >= a) & (u < b)
    if either.sum() * STEP_MM > FINGER_MM or max(len(stretches) for stretches in found) >= 3:
        return True
    seen = list(_hues(view, found))
    bluish = [length < PAD_MM and hue[2] > hue[0] + BLUER for length, hue in seen]
    return any(bluish) or any(np.abs(hue - seen[0][1]).max() > HUES_APART for _, hue in seen[1:])


def _hues(
    view: SlotView, found: list[list[tuple[float, float]]]
) -> Iterator[tuple[float, NDArray[np.float64]]]:
    """Yield length and hue (log ratio of channels to their mean) of what covers the margins."""
    for side, stretches in enumerate(found):
        for a, b in stretches:
            inside = (view.u_mm > a + 0.5) & (view.u_mm < b - 0.5)
            for band in (view.white[side][inside], view.near[side][inside]):
                if len(band) and _off_white(view, band).mean() > 0.7:
                    log = np.log(np.maximum(band, 1e-3)).astype(np.float64)
                    yield b - a, np.median(log - log.mean(axis=1, keepdims=True), axis=0)


def _plastic_beside_mm(view: SlotView, line: StripLine, ground: Array) -> float:
    """Return over what length white plastic lies on the slot's ground beside the strip."""
    u = view.u_mm[(view.u_mm > RIM_MM) & (view.u_mm < view.length_mm - RIM_MM)]
    length = 0.0
    for sign in (-1, 1):
        inner = sign * line.middle_at(u) + line.width_mm / 2 + 0.6
        outer = np.full_like(u, view.half_mm - RIM_MM)
        open_here = (outer - inner > 0.25) & (line.sides_seen == 2)
        if not open_here.any():
            continue
        across = np.linspace(0, 1, 3)[:, None] * (outer - inner)[open_here] + inner[open_here]
        seen = np.nan_to_num(view.sample(np.tile(u[open_here], (3, 1)), sign * across), nan=0.0)
        white = (seen.min(axis=2) > PLASTIC_SHARE) & (unlike_ground(seen, ground) > 0.2)
        length += float(white.all(axis=0).sum()) * STEP_MM
    return length
