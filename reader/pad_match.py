"""Where along the strip its pads lie: the table's places laid over the strip's own colours.

A strip is plastic but for its pads. For each place of the tip the whole visible strip is explained
by one plastic colour and one colour a pad; the place that leaves the least unexplained is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

EDGE_MM = 0.6
"""Around an edge between pad and plastic nothing is expected: blur and tolerances."""
STRETCH = np.linspace(0.95, 1.05, 11)
"""Scales tried: a card printed too small or too large makes the strip look longer or shorter."""
STRETCH_SD = 0.012
TIP_SD_MM = 0.35
"""How well the tip's edge tells the tip: cut, thickness and shadow."""
MIXED = 0.06
"""A pad's place that varies by more than this (root mean square) shows more than one colour."""
NOISE = 0.03
"""Usual unevenness of a pad or of plastic, share of white."""


@dataclass(frozen=True)
class PadPlace:
    """Where the table says a pad lies."""

    pad: int
    """Place on the strip, 1 at the dipped tip."""
    centre_mm: float
    """From the dipped tip to the pad's middle."""
    size_mm: float
    """The pad's side."""


@dataclass(frozen=True, eq=False)
class Profile:
    """Colours along the strip's middle, evenly spaced."""

    at_mm: Array
    """Places from the view's zero, shape (n,)."""
    rgb: Array
    """Share of white, shape (n, 3); NaN where something lies over the strip."""
    start_mm: float
    """Where the strip begins to be seen; what lies before is not it."""
    stop_mm: float
    """Where it ends."""
    tip_seen: bool

    @cached_property
    def running(self) -> Array:
        """Count, sums and sums of squares of the colours before each place, shape (n + 1, 7)."""
        seen = np.asarray(np.isfinite(self.rgb).all(axis=1))
        clean = np.where(seen[:, None], self.rgb, 0.0)
        every = np.column_stack([seen, clean, clean**2])
        return np.vstack([np.zeros((1, 7)), np.cumsum(every, axis=0)])

    def mirrored(self, tip_seen: bool) -> Profile:
        """Return the profile as seen from the other end."""
        return Profile(-self.at_mm[::-1], self.rgb[::-1], -self.stop_mm, -self.start_mm, tip_seen)


@dataclass(frozen=True)
class Match:
    """The best place of the tip."""

    tip_mm: float
    stretch: float
    cost: float
    """Sum of squares left unexplained, weighed, with what tip and scale add."""
    explained: float
    """Share of the strip's colour changes that the table's pads explain, 0 to 1."""
    contrast: float
    """Root mean square difference of the pads from the plastic."""
    mixed: tuple[int, ...]
    """Pads whose place shows more than one colour."""


def best_match(profile: Profile, places: Sequence[PadPlace]) -> Match:
    """Return the place of the tip that explains the strip best."""
    reach = 2.5 if profile.tip_seen else 7.0
    tries = profile.start_mm + np.arange(-reach, reach + 0.01, 0.15)
    tips, stretches = (grid.ravel() for grid in np.meshgrid(tries, STRETCH))
    ordered = sorted(places, key=lambda p: p.centre_mm)
    fits = _fits(profile, ordered, tips, stretches)
    best = int(fits.cost.argmin())
    return Match(
        float(tips[best]),
        float(stretches[best]),
        float(fits.cost[best]),
        float(fits.explained[best]),
        float(fits.contrast[best]),
        tuple(p.pad for p, mixed in zip(ordered, fits.mixed[best], strict=True) if mixed),
    )


@dataclass(frozen=True, eq=False)
class _Fits:
    """How well each place tried explains the strip; one entry a trial."""

    cost: Array
    explained: Array
    contrast: Array
    mixed: NDArray[np.bool_]
    """Shape (trials, pads)."""


def _fits(profile: Profile, places: Sequence[PadPlace], tips: Array, stretches: Array) -> _Fits:
    middle, half = np.array([(p.centre_mm, p.size_mm / 2) for p in places]).T
    begins = tips[:, None] + stretches[:, None] * (middle - half)
    stops = tips[:, None] + stretches[:, None] * (middle + half)
    outer = np.minimum(profile.start_mm, tips)[:, None], np.full((len(tips), 1), profile.stop_mm)
    pads = _Sums.over(profile, begins, stops)
    gaps = _Sums.over(
        profile, np.hstack([outer[0], stops]), np.hstack([begins, outer[1]])
    ).together()
    rest = pads.scatter().sum(axis=1) + gaps.scatter()[:, 0]
    whole = pads.together().joined(gaps).scatter()[:, 0]
    hidden = (stops < profile.start_mm + EDGE_MM) | (begins > profile.stop_mm - EDGE_MM)
    step = float(profile.at_mm[1] - profile.at_mm[0])
    # Samples a step apart are not independent: count one a millimetre.
    cost = rest * step / (3 * NOISE**2) + 30.0 * hidden.sum(axis=1)
    cost = cost + ((stretches - 1) / STRETCH_SD) ** 2
    if profile.tip_seen:
        cost = cost + ((tips - profile.start_mm) / TIP_SD_MM) ** 2
    apart = np.sum((pads.mean() - gaps.mean()) ** 2, axis=2) * pads.count
    return _Fits(
        cost,
        1.0 - rest / np.maximum(whole, 1e-9),
        np.sqrt(apart.sum(axis=1) / np.maximum(3 * pads.count.sum(axis=1), 1)),
        pads.scatter() > 3 * MIXED**2 * np.maximum(pads.count, 1),
    )


@dataclass(frozen=True, eq=False)
class _Sums:
    """Count, sum and sum of squares of the profile over stretches of it, shape (trials, n)."""

    count: Array
    first: Array
    second: Array

    @classmethod
    def over(cls, profile: Profile, begins: Array, stops: Array) -> _Sums:
        """Return the sums between pairs of places, kept off the edges, within the strip."""
        step = float(profile.at_mm[1] - profile.at_mm[0])
        low = np.maximum(begins, profile.start_mm) + EDGE_MM
        high = np.minimum(stops, profile.stop_mm) - EDGE_MM
        n = len(profile.at_mm)
        i = np.clip(np.round((low - profile.at_mm[0]) / step).astype(int), 0, n)
        j = np.maximum(np.clip(np.round((high - profile.at_mm[0]) / step).astype(int), 0, n), i)
        sums = profile.running.take(j, axis=0) - profile.running.take(i, axis=0)
        return cls(sums[..., 0], sums[..., 1:4], sums[..., 4:])

    def together(self) -> _Sums:
        """Return the sums over all stretches of a trial as one."""
        return _Sums(
            self.count.sum(axis=1, keepdims=True),
            self.first.sum(axis=1, keepdims=True),
            self.second.sum(axis=1, keepdims=True),
        )

    def joined(self, other: _Sums) -> _Sums:
        """Return the sums of both."""
        return _Sums(self.count + other.count, self.first + other.first, self.second + other.second)

    def mean(self) -> Array:
        """Return the means, shape (trials, n, 3)."""
        return np.asarray(self.first / np.maximum(self.count, 1)[..., None])

    def scatter(self) -> Array:
        """Return the sums of squares about the means, channels added, shape (trials, n)."""
        squares = self.first**2 / np.maximum(self.count, 1)[..., None]
        return np.asarray(np.maximum(np.sum(self.second - squares, axis=2), 0.0))
