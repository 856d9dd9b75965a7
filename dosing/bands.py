"""A value with its uncertainty, which may be wider on one side: the two-piece normal."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from dosing.analytes import ANALYTES, NORMAL_95
from dosing.log import Reading

CONFLICT = 2.6
"""Two readings further apart than this many of their joint deviations contradict each other."""


@dataclass(frozen=True)
class Band:
    """A most likely value with a standard deviation below it and one above it."""

    mode: float
    below: float
    above: float

    @property
    def mean(self) -> float:
        """Expected value of the two-piece normal."""
        return self.mode + math.sqrt(2.0 / math.pi) * (self.above - self.below)

    @property
    def sd(self) -> float:
        """Standard deviation of the two-piece normal."""
        gap = self.above - self.below
        return math.sqrt((1.0 - 2.0 / math.pi) * gap * gap + self.above * self.below)

    def share_below(self, value: float) -> float:
        """Probability that the truth lies below the value."""
        total = self.below + self.above
        if value < self.mode:
            return 2.0 * self.below / total * _normal((value - self.mode) / self.below)
        upper = _normal((value - self.mode) / self.above) - 0.5
        return (self.below + 2.0 * self.above * upper) / total

    def share_inside(self, low: float | None, high: float | None) -> float:
        """Probability that the truth lies between two limits; None leaves a side open."""
        under = 0.0 if low is None else self.share_below(low)
        over = 0.0 if high is None else 1.0 - self.share_below(high)
        return min(max(1.0 - under - over, 0.0), 1.0)

    def wider(self, sd: float) -> Band:
        """Return the band after an uncertainty of its own is added, such as drift with age."""
        if sd == 0.0:
            return self
        return Band(self.mode, math.hypot(self.below, sd), math.hypot(self.above, sd))

    def edges(self, deviations: float = NORMAL_95) -> tuple[float, float]:
        """Return low and high so many deviations away, never below zero."""
        return (
            max(0.0, self.mode - deviations * self.below),
            self.mode + deviations * self.above,
        )


def _normal(z: float) -> float:
    """Distribution function of the standard normal."""
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def band_of(reading: Reading) -> Band:
    """Return a reading's band from its 95 % edges.

    A low edge at zero says nothing of the lower side, so the upper side serves for both. An open
    side is as wide as the value itself: beyond the chart, no one knows how far.
    """
    least = 0.002 * max(reading.value, 0.05 * ANALYTES[reading.analyte].photo.fixed)
    above = reading.value if reading.high is None else (reading.high - reading.value) / NORMAL_95
    below = reading.value if reading.low is None else (reading.value - reading.low) / NORMAL_95
    if reading.low == 0.0 and reading.high is not None:
        below = max(below, above)
    return Band(reading.value, max(below, least, 1e-3), max(above, least, 1e-3))


def fused(earlier: Band, later: Band) -> tuple[Band, bool]:
    """Return what two readings of the same water say together, and whether they contradict.

    Weighted by inverse variance. Contradicting readings widen the band over both, so that a third
    must be taken.
    """
    return together((earlier, later))


def together(bands: Iterable[Band]) -> tuple[Band, bool]:
    """Return all bands fused in their order, and whether the last contradicts those before."""
    rest = iter(bands)
    band, contradicts = next(rest), False
    mean, variance, count = band.mean, band.sd**2, 1
    for later in rest:
        value, own = later.mean, later.sd**2
        gap, both, count = value - mean, variance + own, count + 1
        contradicts = gap * gap > CONFLICT**2 * both
        if contradicts:
            mean, variance = mean + 0.5 * gap, max(variance, own) + 0.25 * gap * gap
        else:
            mean, variance = (mean * own + value * variance) / both, variance * own / both
    sd = math.sqrt(variance)
    return (band if count == 1 else Band(mean, sd, sd)), contradicts
