"""From a pad's colour with its covariance to a value with a band, along the chart's path.

The prior is flat on the step scale and reaches past the chart's ends. The likelihood of each
place on the path is that of the colour seen there, under the measurement's covariance plus the
table's own (normal, or Student t where the covariances rest on few degrees of freedom).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.curve import TRIANGLE, Curve
from calibration.lab import Cov, Lab
from calibration.table import FROM_CHART

Array = NDArray[np.float64]

OFF_CURVE_CHANCE = 0.01
"""`off_curve`: a colour this far from the path is seen in fewer than this share of good pads
(chi-square with two degrees of freedom: across the path). Pads bleached to a quarter of their dye
lie from 3.05 standard deviations on; a chance of 0.002 begins at 3.5 and let some of them pass."""

OFF_CURVE_SQUARE = -2.0 * math.log(OFF_CURVE_CHANCE)

WIDE_STEPS = 1.5
"""`wide_band`: the band is wider than this many steps of the chart ..."""

ASTRAY_STEPS, ASTRAY_CHANCE = 1.0, 0.01
"""... or the value is more than one step off with more than this probability."""

SECOND_PEAK_MASS = 0.025
"""`two_values`: a second peak of the posterior holds at least this probability ..."""

VALLEY = 0.5
"""... and the posterior falls between the peaks below this share of the smaller one."""

LEAST_DOF = 3.0

FLOOR_SD = 0.1
"""No colour is known better than this [Lab units]."""


@dataclass(frozen=True, eq=False)
class Posterior:
    """What the colour says about the value: probability on the curve's grid."""

    steps: Array
    """Place in steps, shape (m,)."""
    values: Array
    """Value, shape (m,)."""
    density: Array
    """Probability density over steps [1 / step], shape (m,)."""
    cumulative: Array
    """Probability up to each place, shape (m,), from 0 to 1."""
    distance: float
    """Mahalanobis distance of the colour from the nearest place of the path."""


@dataclass(frozen=True)
class Estimate:
    """A value with its band, in the unit of the chart."""

    value: float
    low: float | None
    """Lower end of the band; None where it is open."""
    high: float | None
    """Upper end of the band; None where it is open."""
    confidence: float
    reasons: tuple[str, ...]
    """Codes from `calibration.reasons`."""
    steps: float
    """Width of the band in steps of the chart; an open end counts to the chart's end."""
    at: float
    """Place of the value in steps: block i lies at i."""
    distance: float
    """Mahalanobis distance of the colour from the path."""
    seen: Posterior | None = field(default=None, repr=False, compare=False)
    """What the colour says about every value of the chart."""

    def chance_above(self, limit: float) -> float:
        """Return how likely the value is above a limit; past the chart's end nobody knows: 1."""
        if self.seen is None or (self.high is None and limit >= self.value):
            return 1.0
        upto = float(np.interp(limit, self.seen.values, self.seen.cumulative))
        return 1.0 - upto


def estimate(
    curve: Curve, lab: ArrayLike, cov: ArrayLike, confidence: float = 0.95, dof: float = math.inf
) -> Estimate:
    """Return the value at a colour, with the shortest band of values that holds `confidence`.

    Parameters
    ----------
    curve
        The pad's path, from `fit_curve`.
    lab
        CIELAB (D50 / 2 degree), shape (3,).
    cov
        Covariance of `lab` [Lab units squared], shape (3, 3).
    confidence
        Probability that the band holds, between 0 and 1.
    dof
        Degrees of freedom behind `cov`; infinite for a known covariance.

    Raises
    ------
    ValueError
        If colour or covariance are not finite numbers of the right shape, or confidence is not
        between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence {confidence!r} must lie between 0 and 1, for example 0.95")
    seen = posterior(curve, lab, cov, dof)
    past_low, past_high = _past_ends(curve, seen)
    low, high = _band(seen, confidence, curve.last, past_low, past_high)
    at = _place(curve, seen, low, high)
    value = float(np.interp(at, seen.steps, seen.values))
    reasons = _reasons(curve, seen, at, low, high)
    return Estimate(
        value,
        None if low is None else float(np.interp(low, seen.steps, seen.values)),
        None if high is None else float(np.interp(high, seen.steps, seen.values)),
        confidence,
        reasons,
        _width(curve, low, high),
        at,
        seen.distance,
        seen,
    )


def posterior(curve: Curve, lab: ArrayLike, cov: ArrayLike, dof: float = math.inf) -> Posterior:
    """Return the probability of each place on the path, given a colour; see `estimate`."""
    colour, own = _checked(lab, cov)
    total = curve.cov + own[TRIANGLE][:, None]
    square, log_det = _mahalanobis(total, colour[:, None] - curve.path)
    best = int(square.argmin())
    nearest = float(square[best])
    heat = max(1.0, nearest / OFF_CURVE_SQUARE)  # a misfit says the covariance is too small
    if heat > 1.0:
        square = square / heat
    trace = float(total[0, best] + total[2, best] + total[5, best])
    nu = _joint_dof(curve, float(np.trace(own)), trace, dof)
    if math.isinf(nu):
        log_p = -0.5 * (square + log_det)
    else:
        log_p = -0.5 * log_det - 0.5 * (nu + 3.0) * np.log1p(square / nu)
    p = np.exp(log_p - log_p.max())
    gap = np.diff(curve.steps)
    mass = np.concatenate([[0.0], np.cumsum(0.5 * (p[1:] + p[:-1]) * gap)])
    return Posterior(
        curve.steps, curve.grid_values, p / mass[-1], mass / mass[-1], math.sqrt(nearest)
    )


def _checked(lab: ArrayLike, cov: ArrayLike) -> tuple[Lab, Cov]:
    colour = np.asarray(lab, dtype=np.float64)
    own = np.asarray(cov, dtype=np.float64)
    if colour.shape != (3,) or own.shape != (3, 3):
        shapes = f"{colour.shape} and {own.shape}"
        raise ValueError(f"colour and covariance have shapes {shapes}; they must be (3,), (3, 3)")
    if not (np.isfinite(colour).all() and np.isfinite(own).all()):
        raise ValueError("colour or covariance is not finite; leave such a pad out")
    own = 0.5 * (own + own.T)
    if np.linalg.eigvalsh(own)[0] < -1e-9 * max(1.0, float(np.trace(own))):
        raise ValueError("the covariance has a negative variance; check how it was made")
    return colour, own + FLOOR_SD**2 * np.eye(3)


def _mahalanobis(cov: Array, off: Array) -> tuple[Array, Array]:
    """Return squared distances and log determinants, by Cholesky written out; shapes (m,)."""
    ll, al, aa, bl, ba, bb = cov
    l00 = np.sqrt(ll)
    l10, l20 = al / l00, bl / l00
    l11 = np.sqrt(aa - l10 * l10)
    l21 = (ba - l20 * l10) / l11
    l22 = np.sqrt(bb - l20 * l20 - l21 * l21)
    z0 = off[0] / l00
    z1 = (off[1] - l10 * z0) / l11
    z2 = (off[2] - l20 * z0 - l21 * z1) / l22
    return z0 * z0 + z1 * z1 + z2 * z2, 2.0 * np.log(l00 * l11 * l22)


def _joint_dof(curve: Curve, mine: float, all_: float, dof: float) -> float:
    """Return the degrees of freedom of the summed covariance (Welch and Satterthwaite).

    References
    ----------
    .. [1] B. L. Welch, "The generalization of Student's problem when several different
       population variances are involved", Biometrika 34, 28-35, 1947. Source key: welch1947.
    """
    loss = mine**2 / max(dof, LEAST_DOF) + (all_ - mine) ** 2 / max(curve.dof, LEAST_DOF)
    return math.inf if loss == 0.0 else all_**2 / loss


def _past_ends(curve: Curve, seen: Posterior) -> tuple[bool, bool]:
    """Say whether the value more likely lies past the first, past the last block."""
    below, upto = np.interp([0.0, curve.last], seen.steps, seen.cumulative)
    return bool(below > 0.5), bool(1.0 - upto > 0.5)


def _band(
    seen: Posterior, confidence: float, last: float, past_low: bool, past_high: bool
) -> tuple[float | None, float | None]:
    """Return the band's ends in steps; None where open. The closed end stays on the chart then."""
    if past_high:
        return min(float(np.interp(1.0 - confidence, seen.cumulative, seen.steps)), last), None
    if past_low:
        return None, max(float(np.interp(confidence, seen.cumulative, seen.steps)), 0.0)
    low, high = _shortest(seen, confidence)
    ends_inside = high < seen.steps[-1] - 1e-9
    starts_inside = low > seen.steps[0] + 1e-9 or seen.values[0] == 0.0
    return (low if starts_inside else None), (high if ends_inside else None)


def _shortest(seen: Posterior, confidence: float) -> tuple[float, float]:
    """Return the ends, in steps, of the shortest interval of values that holds `confidence`."""
    c, v, s = seen.cumulative, seen.values, seen.steps
    starts = int(np.searchsorted(c, 1.0 - confidence, side="right"))
    ends = np.interp(c[:starts] + confidence, c, s)
    widths = np.interp(ends, s, v) - v[:starts]
    i = int(np.argmin(widths))
    return float(s[i]), float(ends[i])


def _place(curve: Curve, seen: Posterior, low: float | None, high: float | None) -> float:
    """Return the value's place: the posterior mean, held inside the chart and the band."""
    weights = seen.density * np.gradient(seen.steps)
    mean = float(seen.steps @ weights / weights.sum())
    mean = min(mean, float(curve.last)) if high is None else mean
    mean = max(mean, 0.0) if low is None else mean
    mean = mean if low is None else max(mean, low)
    return mean if high is None else min(mean, high)


def _width(curve: Curve, low: float | None, high: float | None) -> float:
    left = 0.0 if low is None else low
    right = float(curve.last) if high is None else high
    return max(right - left, 0.0)


def _reasons(
    curve: Curve, seen: Posterior, at: float, low: float | None, high: float | None
) -> tuple[str, ...]:
    found = []
    if low is None or high is None:
        found.append("beyond_chart")
    if seen.distance**2 > OFF_CURVE_SQUARE:
        found.append("off_curve")
    if _two_peaks(seen):
        found.append("two_values")
    if _is_wide(curve, seen, at, low, high):
        found.append("wide_band")
    if curve.chart.kind == FROM_CHART:
        found.append(FROM_CHART)
    return tuple(found)


def _is_wide(
    curve: Curve, seen: Posterior, at: float, low: float | None, high: float | None
) -> bool:
    inside = np.clip([at - ASTRAY_STEPS, at + ASTRAY_STEPS], seen.steps[0], seen.steps[-1])
    under, upto = np.interp(inside, seen.steps, seen.cumulative)
    astray = (0.0 if low is None else under) + (0.0 if high is None else 1.0 - upto)
    return _width(curve, low, high) > WIDE_STEPS or astray > ASTRAY_CHANCE


def _two_peaks(seen: Posterior) -> bool:
    """Say whether a second peak stands apart from the highest and holds enough probability."""
    p = seen.density
    rises = np.flatnonzero((p[1:-1] > p[:-2]) & (p[1:-1] >= p[2:])) + 1
    peaks = [*([0] if p[0] > p[1] else []), *rises, *([len(p) - 1] if p[-1] > p[-2] else [])]
    top = int(np.argmax(p))
    return any(_apart(seen, top, int(peak)) for peak in peaks if peak != top)


def _apart(seen: Posterior, top: int, other: int) -> bool:
    p = seen.density
    left, right = min(top, other), max(top, other)
    valley = left + int(np.argmin(p[left : right + 1]))
    below = float(seen.cumulative[valley])
    mass = below if other < top else 1.0 - below
    return bool(p[valley] < VALLEY * p[other] and mass > SECOND_PEAK_MASS)
