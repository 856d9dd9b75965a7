"""Two lots compared: does a new lot, or a few strips of it, read as the old table says?

The test: each strip's colour is laid against the path of the old table at the water's known
value. Its shift along the path, in steps, is weighed by the scatter of single strips and by the
error of the table itself, which strips of one value share. The mean shift over its standard
error is compared with the normal quantile (Student's t where the scatter rests on few repeats).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution, t as student

from calibration.alike import reading_cov
from calibration.curve import Curve, cov_at, fit_curve, steps_at
from calibration.lab import Cov, Lab
from calibration.table import Block, Table

Array = NDArray[np.float64]

FALSE_ALARMS = 0.03
"""Chance that a lot just like the old one fails, over all its pads together."""

OTHER_DYE = 0.0001
"""A pad fails too when its colours lie this unlikely far beside the path (another dye), or this
unlikely far apart along it (the chart is stretched, or waters were exchanged)."""


@dataclass(frozen=True, eq=False)
class Strip:
    """One pad of one strip of the new lot, in water of known value."""

    pad: int
    value: float
    lab: Lab
    """CIELAB, D50 / 2 degree, shape (3,)."""
    name: str = ""


@dataclass(frozen=True)
class PadShift:
    """How far a pad of the new lot has moved along the old path."""

    pad: int
    analyte: str
    strips: int
    shift_steps: float
    """Mean shift along the path, in steps; positive reads too high."""
    low_steps: float
    high_steps: float
    """95 % band of the shift."""
    chance: float
    """Chance of a shift this large if nothing had changed (two-sided)."""
    off_path: float
    """Mean squared distance across the path over what is expected; about 1 for the same dye."""
    off_chance: float
    """Chance of colours this far beside the path for the same dye."""
    spread_chance: float
    """Chance of strips this far apart along the path, for one and the same shift."""
    passed: bool


@dataclass(frozen=True)
class LotComparison:
    """Whether the old table still holds for a new lot."""

    pads: tuple[PadShift, ...]
    passed: bool
    limit: float
    """A pad fails when its chance falls below this."""


@dataclass(frozen=True)
class _Seen:
    """One strip's shift along the path and its variances [steps, steps squared]."""

    shift: float
    strip_var: float
    table_var: float
    across: float
    value: float


def compare_strips(table: Table, strips: Sequence[Strip]) -> LotComparison:
    """Return whether strips of a new lot read as the old table says.

    Three strips or more, best in waters of different known values, for then the table's own
    errors at its blocks average out too.

    Raises
    ------
    ValueError
        If no strip shows a pad of the table.
    """
    charts = {chart.pad: fit_curve(chart) for chart in table.charts}
    by_pad: dict[int, list[Strip]] = defaultdict(list)
    for strip in strips:
        if strip.pad in charts:
            by_pad[strip.pad].append(strip)
    if not by_pad:
        raise ValueError("no strip shows a pad of this table; check the strip and its analytes")
    limit = FALSE_ALARMS / len(by_pad)  # Bonferroni: the lot as a whole keeps its chance
    pads = tuple(_pad_shift(charts[pad], by_pad[pad], limit) for pad in sorted(by_pad))
    return LotComparison(pads, all(pad.passed for pad in pads), limit)


def compare_tables(old: Table, new: Table) -> LotComparison:
    """Return whether a new lot's table says the same as the old one's.

    Raises
    ------
    ValueError
        If the tables have no pad with the same place and analyte in common.
    """
    same = {(chart.pad, chart.analyte, chart.unit) for chart in old.charts}
    strips = [
        Strip(chart.pad, block.value, block.lab)
        for chart in new.charts
        if (chart.pad, chart.analyte, chart.unit) in same
        for block in chart.blocks
        for _ in range(block.n)
    ]
    return compare_strips(old, strips)


def _pad_shift(curve: Curve, strips: Sequence[Strip], limit: float) -> PadShift:
    seen = [_seen(curve, strip) for strip in strips]
    shift, variance = _pooled(seen)
    dof = curve.dof if curve.has_repeats else 30.0
    dof = min(max(dof * 2.0, 6.0), 200.0) + len(seen)  # scatter is pooled over the blocks
    sd = float(np.sqrt(variance))
    chance = float(2.0 * student.sf(abs(shift) / sd, dof))
    reach = float(student.ppf(0.975, dof)) * sd
    beside = float(np.mean([one.across for one in seen])) / 2.0
    off_chance = float(f_distribution.sf(beside, 2.0 * len(seen), dof))
    spread_chance = _spread_chance(seen, shift, dof)
    chart = curve.chart
    return PadShift(
        chart.pad,
        chart.analyte,
        len(seen),
        shift,
        shift - reach,
        shift + reach,
        chance,
        beside,
        off_chance,
        spread_chance,
        chance >= limit and min(off_chance, spread_chance) >= OTHER_DYE,
    )


def _spread_chance(seen: Sequence[_Seen], shift: float, dof: float) -> float:
    if len(seen) < 2:
        return 1.0
    square = sum((one.shift - shift) ** 2 / (one.strip_var + one.table_var) for one in seen)
    return float(f_distribution.sf(square / (len(seen) - 1), len(seen) - 1, dof))


def _pooled(seen: Sequence[_Seen]) -> tuple[float, float]:
    """Return the weighted mean shift and its variance; strips of one value share the table's."""
    groups: dict[float, list[_Seen]] = defaultdict(list)
    for one in seen:
        groups[one.value].append(one)
    means, variances = [], []
    for same in groups.values():
        weights = np.array([1.0 / one.strip_var for one in same])
        means.append(float(weights @ [one.shift for one in same] / weights.sum()))
        variances.append(1.0 / float(weights.sum()) + same[0].table_var)
    each = 1.0 / np.array(variances)
    return float(each @ means / each.sum()), float(1.0 / each.sum())


def _seen(curve: Curve, strip: Strip) -> _Seen:
    """Return the strip's shift along the path at its water's value (generalised least squares)."""
    s = float(steps_at(curve, strip.value))
    s = min(max(s, float(curve.steps[0])), float(curve.steps[-1]))
    single, table = _covs(curve, s)
    tangent = _tangent(curve, s)
    here = np.array([float(np.interp(s, curve.steps, x)) for x in curve.path])
    inverse = np.linalg.inv(single + table)
    weight = inverse @ tangent / float(tangent @ inverse @ tangent)
    off = strip.lab - here
    shift = float(weight @ off)
    rest = off - shift * tangent
    across = float(rest @ inverse @ rest)
    return _Seen(
        shift, float(weight @ single @ weight), float(weight @ table @ weight), across, strip.value
    )


def _covs(curve: Curve, s: float) -> tuple[Cov, Cov]:
    """Return a single strip's covariance and the table's own, (3, 3) each."""
    whole = cov_at(curve, s)
    if not curve.has_repeats:
        return reading_cov(curve) + whole / 2.0, whole / 2.0
    n = _strips_at(curve.chart.blocks, s)
    single = whole * n / (n + 1.0)
    return single + reading_cov(curve), whole / (n + 1.0)


def _strips_at(blocks: Sequence[Block], s: float) -> float:
    return float(np.interp(s, np.arange(len(blocks)), [block.n for block in blocks]))


def _tangent(curve: Curve, s: float) -> Array:
    """Return the path's direction [Lab units a step] over a quarter of a step each way."""
    low, high = (
        min(max(s + d, float(curve.steps[0])), float(curve.steps[-1])) for d in (-0.25, 0.25)
    )
    ends = [[float(np.interp(x, curve.steps, way)) for way in curve.path] for x in (low, high)]
    return np.asarray((np.array(ends[1]) - np.array(ends[0])) / (high - low))


def as_dict(found: LotComparison) -> dict[str, Any]:
    """Return the answer of `dipstep table compare --json`."""
    return {
        "passed": found.passed,
        "limit": found.limit,
        "pads": [
            {
                "pad": pad.pad,
                "analyte": pad.analyte,
                "strips": pad.strips,
                "shift_steps": round(pad.shift_steps, 3),
                "low_steps": round(pad.low_steps, 3),
                "high_steps": round(pad.high_steps, 3),
                "chance": float(f"{pad.chance:.3g}"),
                "off_path": round(pad.off_path, 2),
                "off_chance": float(f"{pad.off_chance:.3g}"),
                "spread_chance": float(f"{pad.spread_chance:.3g}"),
                "passed": pad.passed,
            }
            for pad in found.pads
        ],
    }
