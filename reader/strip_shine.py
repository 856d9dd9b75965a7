"""A lamp or the sky mirrored over the strip: the slot's dark ground beside it shines too.

A broad mirror spot lies over a whole pad and leaves no edge on it. But it adds the same light to
what lies around: the ground beside the strip turns paler, and the paper beyond brighter than white.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.slot_view import SlotView
from reader.strip_edges import RIM_MM, StripLine

Array = NDArray[np.float64]

PALER = 0.05
"""Light added to the ground, share of white, from which it shines; without a lamp 0.01 and less."""
BRIGHTER = 1.006
"""Share of the smooth white that the paper beyond reaches then; without a lamp 1.003 and less."""
FREE_MM = 0.3
"""Ground is looked at no nearer to the strip."""
AROUND_MM = 1.0
"""A spot reaches farther than a pad; so much on both sides of it is looked at too."""


def shines_at(view: SlotView, line: StripLine, ground: Array, spans: Array) -> list[bool]:
    """Say for each pad whether something shines around it.

    `spans` has each pad's middle and half length along the slot, shape (pads, 2).
    """
    sides = [_paler(view, line, ground, side) for side in (0, 1)]
    found = []
    for middle, half in spans:
        around = np.abs(view.u_mm - middle) < half + AROUND_MM
        found.append(any(_is_lit(view, side, sides[side], around) for side in (0, 1)))
    return found


def _is_lit(view: SlotView, side: int, paler: Array, around: NDArray[np.bool_]) -> bool:
    seen = paler[around]
    seen = seen[np.isfinite(seen)]
    if len(seen) < 8:
        return False
    beyond = float(np.nanmean(view.near[side][around]))
    return bool(seen.mean() > PALER and beyond > BRIGHTER)


def _paler(view: SlotView, line: StripLine, ground: Array, side: int) -> Array:
    """Return how much light is added to the ground on one side, along the slot; NaN unseen."""
    sign = -1 if side == 0 else 1
    u = view.u_mm
    inner = sign * line.middle_at(u) + line.width_mm / 2 + FREE_MM
    outer = view.half_mm - RIM_MM
    lanes = inner + np.linspace(0.3, 1.0, 3)[:, None] * (outer - inner)
    seen = view.sample(np.tile(u, (3, 1)), sign * lanes)
    added = np.asarray((seen.mean(axis=0) - ground).min(axis=1), np.float64)
    added[(outer - inner < 0.25) | (u < RIM_MM) | (u > view.length_mm - RIM_MM)] = np.nan
    calm = cv2.blur(np.nan_to_num(added)[None], (5, 1))[0]
    return np.where(np.isfinite(added), calm, np.nan)
