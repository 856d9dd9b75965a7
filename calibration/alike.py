"""Where a chart cannot be told apart: neighbours too alike, folds, blocks out of order."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calibration.curve import Curve, cov_at
from calibration.lab import Cov, delta_e00
from calibration.table import FROM_CHART, PadChart

Array = NDArray[np.float64]

PHOTO_SD = (0.5, 0.8, 0.8)
"""What one well-taken photo with a measured card adds in L, a, b: pixels and card fit.
From our own simulation (card residuals of about 0.6 median, 1.9 at 95 % in CIEDE2000)."""

DYE_SD = (0.4, 2.2, 2.6)
"""What dye and ink add where no repeats are in the table: they match under one light only.
From our own simulation over daylight and household lamps."""

ALIKE = 1.5
"""Two values look alike when their colours lie nearer than this many standard deviations of a
reading: a colour midway fits both."""

FOLD_GAP_STEPS = 0.75
"""Values further apart than this are two values, not one value read inexactly."""

POINTS_PER_STEP = 20

SHORTER = 0.85
"""Blocks are out of order when another order makes the path shorter than this share of it ..."""

SHORTER_BY = 4.0
"""... and by at least this many Lab units."""


@dataclass(frozen=True)
class Step:
    """From one block to the next."""

    start: float
    end: float
    delta_e00: float
    """CIEDE2000 between the two blocks."""
    separation: float
    """Distance in standard deviations of a reading."""

    @property
    def alike(self) -> bool:
        """Say whether the two blocks look alike in a photo."""
        return self.separation < ALIKE


def reading_cov(curve: Curve) -> Cov:
    """Return what a usual photo adds to the table's own covariance, shape (3, 3)."""
    dye = 0.0 if curve.has_repeats else 1.0
    return np.diag(np.square(PHOTO_SD) + dye * np.square(DYE_SD))


def cov_of_photo(curve: Curve, step: float) -> Cov:
    """Return the covariance (3, 3) of a usual photo's colour at a place, the table's own with it.

    A printed chart errs by as much at its neighbours, so what it errs by makes none alike.
    """
    if curve.chart.kind == FROM_CHART:
        return reading_cov(curve)
    return reading_cov(curve) + cov_at(curve, step)


def steps(curve: Curve) -> tuple[Step, ...]:
    """Return the steps between neighbouring blocks."""
    blocks = curve.chart.blocks
    found = []
    for i, (one, two) in enumerate(pairwise(blocks)):
        cov = cov_of_photo(curve, i) / 2 + cov_of_photo(curve, i + 1) / 2
        away = float(np.sqrt((two.lab - one.lab) @ np.linalg.solve(cov, two.lab - one.lab)))
        found.append(Step(one.value, two.value, float(delta_e00(one.lab, two.lab)), away))
    return tuple(found)


def alike_pairs(curve: Curve) -> tuple[Array, NDArray[np.bool_]]:
    """Return places on the chart in steps (k,) and which pairs of them look alike (k, k).

    Only pairs more than `FOLD_GAP_STEPS` apart count.
    """
    s = np.linspace(0.0, curve.last, curve.last * POINTS_PER_STEP + 1)
    labs = np.stack([np.interp(s, curve.steps, x) for x in curve.path], axis=-1)
    covs = np.array([cov_of_photo(curve, x) for x in s])
    off = labs[:, None] - labs[None]
    square = np.einsum("ijk,ikl,ijl->ij", off, np.linalg.inv(covs), off)
    square = np.maximum(square, square.T)
    return s, (square < ALIKE**2) & (np.abs(s[:, None] - s[None]) > FOLD_GAP_STEPS + 1e-9)


def alike_share(curve: Curve) -> float:
    """Return the share of the chart whose colour fits a second value as well, 0 to 1."""
    _, pairs = alike_pairs(curve)
    return float(pairs.any(axis=1).mean())


def worst_fold(curve: Curve) -> tuple[float, float] | None:
    """Return the two values furthest apart in steps whose colours look alike, or None."""
    s, pairs = alike_pairs(curve)
    if not pairs.any():
        return None
    gap = np.where(pairs, np.abs(s[:, None] - s[None]), -1.0)
    i, j = sorted(int(x) for x in np.unravel_index(int(gap.argmax()), gap.shape))
    low, high = np.interp([s[i], s[j]], curve.steps, curve.grid_values)
    return float(low), float(high)


def out_of_order(chart: PadChart) -> tuple[float, ...]:
    """Return the values whose colours make a shorter path in another place, or nothing.

    One block moved elsewhere (a mistyped value) and two blocks exchanged are tried; from end to
    end is no move, for a path may well come round.
    """
    labs = np.array([block.lab for block in chart.blocks])
    if len(labs) < 3:
        return ()
    now = _length(labs, range(len(labs)))
    length, moved = min(
        ((_length(labs, order), moved) for order, moved in _orders(len(labs))),
        key=lambda found: (found[0], len(found[1])),
    )
    if length > SHORTER * now or length > now - SHORTER_BY:
        return ()
    return tuple(chart.blocks[i].value for i in moved)


def _length(labs: Array, order: range | list[int]) -> float:
    return float(np.linalg.norm(np.diff(labs[list(order)], axis=0), axis=1).sum())


def _orders(n: int) -> list[tuple[list[int], tuple[int, ...]]]:
    found: list[tuple[list[int], tuple[int, ...]]] = []
    for i in range(n):
        rest = [k for k in range(n) if k != i]
        for at in range(n):
            if at != i and {i, at} != {0, n - 1}:
                found.append(([*rest[:at], i, *rest[at:]], (i,)))
        for j in range(i + 1, n):
            swapped = list(range(n))
            swapped[i], swapped[j] = j, i
            found.append((swapped, (i, j)))
    return found
