"""From a pad's blocks to a smooth path in CIELAB over the value, with its own uncertainty.

The `step` coordinate s counts blocks: block i lies at s = i, and between blocks s is linear in
log(value + first step), for pH in the value itself. The path between blocks is the mean of
several interpolants, and their spread is its uncertainty. It goes on past the chart's ends,
shrinking as its last steps did, so that "beyond the chart" has a probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.lab import Cov
from calibration.splines import hermite, not_a_knot_slopes, pchip_slopes
from calibration.table import FROM_CHART, Block, PadChart

Array = NDArray[np.float64]

POINTS_PER_STEP = 60
"""Grid points between two blocks: a band's end is placed to about a hundredth of a step."""

BEYOND_STEPS = 2.0
"""How far past the chart's ends the path is continued."""

SHRINK = (0.35, 1.0)
"""Each continued step is at least and at most this share of the one before it."""

CONTINUED_ERROR = 0.3
"""Standard deviation of the continued path, as a share of how far it has been continued."""

SHIFTS = (0.5, 1.0, 3.0)
POWERS = (1.0, 1.5)
"""Scales that are averaged, each with a monotone and a free cubic: log((value / c)^p + f^p) for
these f and p, with c the first step; p over 1 is for dyes that turn slowly at first. On 119 dye
models the mean erred 0.020 blocks against 0.029 of one monotone cubic over log(value + c), and
unlike that it knows where it errs: none was off by more than four times the spread + 0.06."""

SPREAD_TO_COV = 2.0
"""From the mean square deviation of the interpolants to a variance: a table errs the same way in
every photo, so it had better err on the wide side."""

FROM_CHART_SD = (2.8, 4.2, 4.4)
"""Standard deviation in L, a, b between a maker's printed block and the pad of the lot in hand: his
press (1.7 median, 4 at 95 % in CIEDE2000), the lot (2 and 6; both assumptions), and the light,
which is known on the card only (1.2 in L, 1 to 2 in a and b on rendered photos). With the press
alone bands held 82 %."""

RESPONSE_SHARE, RESPONSE_PH = 0.04, 0.025
"""Strips of one lot turn at values that differ by some percent, at pH that differ by hundredths
(common practice, no source): what a value may be off by for that alone. Pads whose blocks lie close
together, alkalinity above all, are held by little else. A table with repeats has it in its
covariances."""

FROM_CHART_SHARE, FROM_CHART_PH = 0.09, 0.10
"""The same between the usual strip that a maker's chart shows and the lot in hand (assumption)."""

PRIOR_DOF = 8.0
"""Weight, in degrees of freedom, of the pooled covariance of all blocks in that of each."""


@dataclass(frozen=True, eq=False)
class Curve:
    """The path of one pad's colour over its value, on a grid that is even in steps."""

    chart: PadChart
    values: Array
    """Values of the blocks, rising, shape (n,)."""
    shift: float | None
    """u = log(value + shift); None: u is the value itself."""
    steps: Array
    """Grid: place in steps, shape (m,); block i lies at i."""
    grid_values: Array
    """Grid: value, shape (m,)."""
    path: Array
    """Grid: CIELAB, shape (3, m)."""
    cov: Array
    """Grid: the table's own covariance of one new strip's colour, its lower triangle by rows
    (LL, aL, aa, bL, ba, bb), shape (6, m)."""
    dof: float
    """Degrees of freedom behind that covariance; inf where it is an assumption."""
    has_repeats: bool
    """Whether the covariance holds the scatter of repeat photos (metamerism and strips)."""

    @property
    def last(self) -> int:
        """Place of the last block in steps."""
        return len(self.values) - 1


TRIANGLE = np.tril_indices(3)


def scale_shift(values: Array, unit: str) -> float | None:
    """Return the shift of the log scale: the first step; None for pH, which is a log already."""
    return None if unit.strip().casefold() == "ph" else float(values[1] - values[0])


def fit_curve(chart: PadChart) -> Curve:
    """Return the smooth path of a chart with at least two blocks."""
    values = np.array([block.value for block in chart.blocks])
    labs = np.array([block.lab for block in chart.blocks])
    shift = scale_shift(values, chart.unit)
    u = to_scale(values, shift)
    steps = _grid(u, shift)
    grid_values = from_scale(_at_scale(steps, u), shift)
    grid_values[np.searchsorted(steps, np.arange(len(values)))] = values  # to the last digit
    path, shape_cov = _path(steps, grid_values, values, labs, shift)
    spread, dof, has_repeats = _spread(chart)
    if not has_repeats:
        turns = _response_cov(steps, grid_values, path, u, shift, chart.kind == FROM_CHART)
        shape_cov = shape_cov + turns
    cov = (_between(steps, spread) + shape_cov)[:, TRIANGLE[0], TRIANGLE[1]]
    packed = [np.ascontiguousarray(a) for a in (values, steps, grid_values, path.T, cov.T)]
    for array in packed:
        array.setflags(write=False)
    values, steps, grid_values, path, cov = packed
    return Curve(chart, values, shift, steps, grid_values, path, cov, dof, has_repeats)


def to_scale(values: ArrayLike, shift: float | None) -> Array:
    """Return the place of values on the scale on which the path is smooth."""
    v = np.asarray(values, dtype=np.float64)
    return v if shift is None else np.log(v + shift)


def from_scale(u: Array, shift: float | None) -> Array:
    """Return the values at these places; none is negative."""
    return np.maximum(u if shift is None else np.exp(u) - shift, 0.0)


def steps_at(curve: Curve, values: ArrayLike) -> Array:
    """Return the place of values in steps, linear in the scale past the ends too."""
    u, nodes = to_scale(values, curve.shift), to_scale(curve.values, curve.shift)
    i = np.clip(np.searchsorted(nodes, u, side="right") - 1, 0, len(nodes) - 2)
    return np.asarray(i + (u - nodes[i]) / (nodes[i + 1] - nodes[i]))


def value_at(curve: Curve, steps: ArrayLike) -> Array:
    """Return the values at places in steps."""
    u = _at_scale(np.asarray(steps, dtype=np.float64), to_scale(curve.values, curve.shift))
    return from_scale(u, curve.shift)


def lab_at(curve: Curve, values: ArrayLike) -> Array:
    """Return the path's CIELAB at values, shape (..., 3)."""
    s = steps_at(curve, values)
    return np.stack([np.interp(s, curve.steps, x) for x in curve.path], axis=-1)


def cov_at(curve: Curve, steps: float) -> Cov:
    """Return the table's own covariance at a place in steps, shape (3, 3)."""
    cov = np.empty((3, 3))
    cov[TRIANGLE] = [np.interp(steps, curve.steps, x) for x in curve.cov]
    cov.T[TRIANGLE] = cov[TRIANGLE]
    return cov


def _grid(u: Array, shift: float | None) -> Array:
    """Return places in steps from below the first block (never under value 0) to past the last."""
    floor = 0.0 if shift is None else math.log(shift)
    below = min(BEYOND_STEPS, max(0.0, (u[0] - floor) / (u[1] - u[0])))
    count = math.ceil(below * POINTS_PER_STEP - 1e-9)
    low = np.linspace(-below, 0.0, count + 1)[:-1]
    last = len(u) - 1
    return np.concatenate(
        [low, np.arange(0, round((last + BEYOND_STEPS) * POINTS_PER_STEP) + 1) / POINTS_PER_STEP]
    )


def _at_scale(steps: Array, u: Array) -> Array:
    i = np.clip(np.floor(steps).astype(int), 0, len(u) - 2)
    return np.asarray(u[i] + (steps - i) * (u[i + 1] - u[i]))


def _path(
    steps: Array, grid_values: Array, values: Array, labs: Array, shift: float | None
) -> tuple[Array, Array]:
    """Return the path on the grid, (m, 3), and the covariance of its shape, (m, 3, 3)."""
    last = len(values) - 1
    inside = np.clip(grid_values, values[0], values[-1])
    all_ = np.array(
        [
            x
            for f in SHIFTS
            for p in POWERS
            for x in _interpolants(inside, values, labs, shift, f, p)
        ]
        if shift is not None
        else _interpolants(inside, values, labs, None, 1.0, 1.0)
    )
    path = all_.mean(axis=0)
    off = all_ - path
    cov = SPREAD_TO_COV * np.einsum("kmi,kmj->mij", off, off) / len(all_)
    for end, past, inner in ((0, -steps, 1), (last, steps - last, last - 1)):
        out = past > 0
        going = _continued(past[out], labs, end, inner)
        path[out] = labs[end] + going
        variance = np.sum((CONTINUED_ERROR * going) ** 2, axis=1)
        cov[out] = variance[:, None, None] * np.eye(3)
    return path, cov


def _response_cov(
    steps: Array, grid_values: Array, path: Array, u: Array, shift: float | None, printed: bool
) -> Array:
    """Return the covariance (m, 3, 3) of strips that turn at somewhat other values."""
    share, ph = (RESPONSE_SHARE, RESPONSE_PH)
    if printed:
        share, ph = math.hypot(share, FROM_CHART_SHARE), math.hypot(ph, FROM_CHART_PH)
    on_scale = (
        np.full(len(steps), ph) if shift is None else share * grid_values / (grid_values + shift)
    )
    off_steps = on_scale / np.diff(u)[np.clip(np.floor(steps).astype(int), 0, len(u) - 2)]
    moved = np.gradient(path, steps, axis=0) * off_steps[:, None]
    return np.asarray(moved[:, :, None] * moved[:, None, :])


def _interpolants(
    at: Array, values: Array, labs: Array, shift: float | None, factor: float, power: float
) -> list[Array]:
    """Return the path at values by a monotone and a free cubic on one scale, each (m, 3)."""

    def scale(v: Array) -> Array:
        return v if shift is None else np.log((v / shift) ** power + factor**power)

    u, nodes = scale(at), scale(values)
    both = (pchip_slopes, not_a_knot_slopes)
    return [hermite(u, nodes, labs, slopes(nodes, labs)) for slopes in both]


def _continued(past: Array, labs: Array, end: int, inner: int) -> Array:
    """Return how far the path goes beyond an end: each step shrinks as the last two did."""
    step = labs[end] - labs[inner]
    ratio = SHRINK[1]
    if len(labs) > 2:
        before = np.linalg.norm(labs[inner] - labs[2 * inner - end])
        ratio = float(np.linalg.norm(step) / before) if before > 0 else ratio
    ratio = min(max(ratio, SHRINK[0]), SHRINK[1])
    reach = past if ratio > 0.999 else ratio * (1 - ratio**past) / (1 - ratio)
    return np.asarray(reach[:, None] * step)


def _spread(chart: PadChart) -> tuple[Array, float, bool]:
    """Return the blocks' covariance of a new strip's colour (n, 3, 3), its dof, any repeats."""
    base = np.zeros((3, 3))
    if chart.kind == FROM_CHART:
        base = np.diag(np.square(FROM_CHART_SD))
    spread = np.repeat(base[None], len(chart.blocks), axis=0)
    repeats = [block for block in chart.blocks if block.cov is not None]
    if not repeats:
        return spread, math.inf, False
    pooled, total = pooled_cov(repeats)
    for i, block in enumerate(chart.blocks):
        spread[i] += shrunk(block, pooled, total) * (1.0 + 1.0 / block.n)
    own = float(np.mean([block.n - 1 for block in repeats]))
    return spread, own + min(PRIOR_DOF, max(total - own, 0.0)), True


def pooled_cov(repeats: list[Block]) -> tuple[Cov, float]:
    """Return the covariance pooled over blocks and its degrees of freedom."""
    weights = np.array([block.n - 1.0 for block in repeats])
    covs = np.array([block.cov for block in repeats])
    return np.einsum("i,ijk->jk", weights / weights.sum(), covs), float(weights.sum())


def shrunk(block: Block, pooled: Cov, total: float) -> Cov:
    """Return a block's covariance drawn towards the pooled one, the more the fewer its strips."""
    own = 0.0 if block.cov is None else block.n - 1.0
    others = min(PRIOR_DOF, total)
    mine = pooled if block.cov is None else block.cov
    return np.asarray((own * mine + others * pooled) / (own + others))


def _between(steps: Array, at_blocks: Array) -> Array:
    """Return covariances on the grid, linear between blocks and constant past the ends."""
    last = len(at_blocks) - 1
    inside = np.clip(steps, 0.0, last)
    i = np.minimum(np.floor(inside).astype(int), last - 1)
    t = (inside - i)[:, None, None]
    return np.asarray((1 - t) * at_blocks[i] + t * at_blocks[i + 1])
