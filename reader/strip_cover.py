"""What lies over the strip: a finger, a second strip, a drop that hides the slot's surroundings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reader.slot_view import STEP_MM, SlotView
from reader.strip_edges import StripLine

Array = NDArray[np.float64]

HUE_LIMIT = 0.22
"""Spread of the channels' logarithms above which the white margin is not white."""
DARK_LIMIT = 0.40
"""Share of white below which it is no shadow."""
LONGEST_GAP_MM, SHORTEST_MM = 1.5, 2.5


def covered(
    view: SlotView, line: StripLine, ground: Array, tip_mm: float
) -> tuple[tuple[float, float], ...]:
    """Return stretches of u where something that is not paper reaches the strip's edge."""
    del ground, tip_mm
    stretches: list[tuple[float, float]] = []
    for side in (0, 1):
        off = _not_white(view.white[side]) & ~_is_own_strip(view, line, side)
        stretches += _stretches(view.u_mm, off)
    return tuple(stretches)


def _not_white(white: NDArray[np.float32]) -> NDArray[np.bool_]:
    log = np.log(np.maximum(np.nan_to_num(white, nan=1.0), 1e-3))
    return np.asarray((np.ptp(log, axis=1) > HUE_LIMIT) | (log.mean(axis=1) < np.log(DARK_LIMIT)))


def _is_own_strip(view: SlotView, line: StripLine, side: int) -> NDArray[np.bool_]:
    """Say where the strip itself reaches into the margin."""
    sign = -1 if side == 0 else 1
    reach = sign * line.middle_at(view.u_mm) + line.width_mm / 2
    return np.asarray(reach > view.half_mm + 0.4)


def _stretches(u: Array, mask: NDArray[np.bool_]) -> list[tuple[float, float]]:
    """Return the stretches where the mask holds, small gaps closed, short ones left out."""
    found: list[tuple[float, float]] = []
    for place in u[mask]:
        if found and place - found[-1][1] < LONGEST_GAP_MM:
            found[-1] = (found[-1][0], float(place))
        else:
            found.append((float(place), float(place)))
    return [(a, b + STEP_MM) for a, b in found if b - a > SHORTEST_MM]
