"""How far to trust a chart between its blocks: blocks left out, and bands to expect."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calibration.alike import reading_cov
from calibration.curve import Curve, fit_curve, steps_at
from calibration.estimate import Estimate, estimate


@dataclass(frozen=True)
class LeftOut:
    """What a block would have been read as by the chart without it."""

    value: float
    read: Estimate
    off_steps: float
    """Read minus true, in steps of the whole chart."""
    held: bool
    """Whether the band holds the block's value."""
    at_end: bool
    """The first or last block: the shortened chart ends before it."""


@dataclass(frozen=True)
class ExpectedBand:
    """The band that a pad of exactly this value would get in a usual photo."""

    value: float
    read: Estimate


def left_out(curve: Curve) -> tuple[LeftOut, ...]:
    """Return each block as read without it; nothing for a chart of two blocks."""
    blocks = curve.chart.blocks
    if len(blocks) < 3:
        return ()
    found = []
    for i, block in enumerate(blocks):
        rest = replace(curve.chart, blocks=(*blocks[:i], *blocks[i + 1 :]))
        read = estimate(fit_curve(rest), block.lab, reading_cov(curve))
        off = float(steps_at(curve, read.value)) - i
        found.append(
            LeftOut(block.value, read, off, holds(read, block.value), i in (0, len(blocks) - 1))
        )
    return tuple(found)


def holds(read: Estimate, value: float) -> bool:
    """Say whether the band holds the value; an open end holds everything beyond."""
    return (read.low is None or read.low <= value) and (read.high is None or value <= read.high)


def expected_bands(curve: Curve) -> tuple[ExpectedBand, ...]:
    """Return the bands to expect at every block and midway between blocks."""
    found = []
    for s in np.arange(0, 2 * curve.last + 1) / 2:
        lab = [float(np.interp(s, curve.steps, x)) for x in curve.path]
        value = float(np.interp(s, curve.steps, curve.grid_values))
        found.append(ExpectedBand(value, estimate(curve, lab, reading_cov(curve))))
    return tuple(found)
