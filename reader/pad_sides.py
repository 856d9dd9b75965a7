"""The pads' own long sides: they tell the strip's middle where its edges do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reader.median import median
from reader.slot_view import SlotView
from reader.strip_edges import StripLine

Array = NDArray[np.float64]

CONTRAST_NEEDED = 0.08
"""Difference of a pad from what lies beside it, share of white."""
FARTHEST_MM = 1.2
"""The middle is moved by no more than this."""
AGREEING_MM = 0.25


def centred_on_pads(view: SlotView, line: StripLine, spans: Array) -> StripLine:
    """Return the line moved to the middle of the pads, where they agree on one.

    `spans` has each pad's middle and half length along the slot, shape (pads, 2).
    """
    offsets = [_offset(view, line, float(u), float(half)) for u, half in spans]
    told = np.array([o for o in offsets if o is not None])
    enough = 3 if line.sides_seen == 2 else 1
    if len(told) < enough:
        return line
    middle = float(np.median(told))
    spread = float(np.median(np.abs(told - middle)))
    if spread > AGREEING_MM or abs(middle) > FARTHEST_MM:
        return line
    return replace(line, middle_mm=line.middle_mm + middle)


def _offset(view: SlotView, line: StripLine, u: float, half: float) -> float | None:
    """Return how far a pad's middle lies off the line across; None where its sides don't show."""
    along = np.linspace(u - 0.6 * half, u + 0.6 * half, 9)
    across = np.arange(-half - 1.8, half + 1.81, 0.1)
    at = line.middle_at(along)[:, None] + across
    samples = view.sample(np.broadcast_to(along[:, None], at.shape), at)
    if not np.isfinite(samples).all():
        return None
    seen = median(samples)
    away = seen - median(seen[np.abs(across) < 0.5 * half])
    off = np.sqrt(np.sum(away * away, axis=1))
    sides = [_side(off[::sign], across[::sign] * sign, half) for sign in (-1, 1)]
    if sides[0] is None or sides[1] is None:
        return None
    width = sides[0] + sides[1]
    if not 0.75 * min(2 * half, line.width_mm) < width < 2 * half + 0.8:
        return None
    return (sides[1] - sides[0]) / 2


def _side(off: Array, outward: Array, half: float) -> float | None:
    """Return how far out a pad's side lies; `outward` rises along the samples."""
    beyond = off[(outward > half + 0.5) & (outward < half + 1.3)]
    level = float(median(beyond)) / 2
    if level < CONTRAST_NEEDED / 2:
        return None
    after = int(np.argmax((off > level) & (outward > 0)))
    if after == 0:
        return None
    a, b = off[after - 1], off[after]
    return float(outward[after - 1] + (level - a) / max(b - a, 1e-6) * 0.1)
