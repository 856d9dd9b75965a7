"""A state of the water as one normal distribution: mean, covariance, and how it is moved.

Everything that can be wrong has its own entry, the tub's volume and each product's strength among
them, so that what two doses have in common stays in common (an extended Kalman filter whose curved
steps are fitted over sigma points). Source key: jazwinski1970.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Belief:
    """Named entries with mean and covariance; changed in place, copied when a guess is wanted."""

    __slots__ = ("_found", "cov", "index", "mean")

    def __init__(self, priors: Mapping[str, tuple[float, float]]) -> None:
        """Start from independent entries, each a mean and a standard deviation."""
        self.index = {name: place for place, name in enumerate(priors)}
        """Where each entry stands; shared with copies, so it is never changed but made anew."""
        self._found: dict[tuple[str, ...], NDArray[np.intp]] = {}
        self.mean: Floats = np.array([mean for mean, _ in priors.values()], dtype=float)
        self.cov: Floats = np.diag([sd * sd for _, sd in priors.values()])

    def copy(self) -> Belief:
        """Return one that can be moved without moving this."""
        twin = Belief.__new__(Belief)
        twin.index, twin._found = self.index, self._found
        twin.mean, twin.cov = self.mean.copy(), self.cov.copy()
        return twin

    def add_entry(self, name: str, mean: float, sd: float) -> None:
        """Add an independent entry; nothing happens when it is there already."""
        if name in self.index:
            return
        size = len(self.mean)
        self.index, self._found = {**self.index, name: size}, {}
        cov = np.zeros((size + 1, size + 1))
        cov[:size, :size] = self.cov
        cov[size, size] = sd * sd
        self.mean, self.cov = np.append(self.mean, mean), cov

    def of(self, name: str) -> float:
        """Return the mean of an entry."""
        return self.mean.item(self.index[name])

    def sd(self, name: str) -> float:
        """Return the standard deviation of an entry."""
        place = self.index[name]
        return math.sqrt(max(self.cov.item(place, place), 0.0))

    def places(self, names: Iterable[str]) -> NDArray[np.intp]:
        """Return where entries stand."""
        key = tuple(names)
        if key not in self._found:
            self._found[key] = np.array([self.index[name] for name in key], dtype=np.intp)
        return self._found[key]

    def moments(self, weights: Mapping[str, float]) -> tuple[float, float]:
        """Return mean and variance of a weighted sum of entries."""
        if len(weights) == 1:
            ((name, factor),) = weights.items()
            place = self.index[name]
            return factor * self.mean.item(place), factor**2 * self.cov.item(place, place)
        parts = [(self.index[name], factor) for name, factor in weights.items()]
        mean = sum(factor * self.mean.item(place) for place, factor in parts)
        variance = sum(
            factor * other * self.cov.item(place, across)
            for place, factor in parts
            for across, other in parts
        )
        return mean, variance

    def renew(self, name: str, mean: float, sd: float) -> None:
        """Forget an entry: a new mean and spread, independent of all else."""
        place = self.index[name]
        self.mean[place] = mean
        self.cov[place, :] = 0.0
        self.cov[:, place] = 0.0
        self.cov[place, place] = sd * sd

    def tie(self, one: str, other: str, correlation: float) -> None:
        """Correlate two entries that were independent."""
        first, second = self.index[one], self.index[other]
        together = correlation * self.sd(one) * self.sd(other)
        self.cov[first, second] = self.cov[second, first] = together

    def shake(self, name: str, sd: float) -> None:
        """Add independent noise to an entry."""
        place = self.index[name]
        self.cov[place, place] += sd * sd

    def correct(self, weights: Mapping[str, float], mean: float, variance: float) -> None:
        """Give a weighted sum of entries a new mean and variance; the rest follows."""
        old_mean, old = self.moments(weights)
        if old <= 0.0:
            return
        gain = self.cov[:, self.places(weights)] @ np.fromiter(weights.values(), float) / old
        self.mean += gain * (mean - old_mean)
        self.cov += gain[:, None] * (gain * (variance - old))

    def shake_all(self, places: NDArray[np.intp], sds: Floats) -> None:
        """Add independent noise to the entries at these places."""
        self.cov[places, places] += sds * sds

    def move(
        self,
        rows: Mapping[str, Mapping[str, float]],
        noise: Mapping[str, float],
    ) -> None:
        """Make each named entry a weighted sum of old entries' deviations, plus noise (sd).

        Only the covariance is moved; set the means with `put`.
        """
        columns = list({name: None for row in rows.values() for name in row})
        factors = np.array([[row.get(name, 0.0) for name in columns] for row in rows.values()])
        self._transform(self.places(rows), self.places(columns), factors)
        for name, sd in noise.items():
            self.shake(name, sd)

    def _transform(
        self, places: NDArray[np.intp], columns: NDArray[np.intp], factors: Floats
    ) -> None:
        """Replace entries by factors times the deviations at columns."""
        across = factors @ self.cov.take(columns, axis=0)
        across[:, places] = across.take(columns, axis=1) @ factors.T
        for place, row in zip(places.tolist(), across, strict=True):
            self.cov[place] = row
        for place, row in zip(places.tolist(), across, strict=True):
            self.cov[:, place] = row

    def put(self, name: str, mean: float) -> None:
        """Set the mean of an entry."""
        self.mean[self.index[name]] = mean

    def bend(
        self,
        inputs: Sequence[str],
        outputs: Sequence[str],
        law: Callable[[Sequence[float]], Sequence[float]],
        noise: Mapping[str, float],
    ) -> None:
        """Move outputs by a curved law of the inputs, fitted over sigma points.

        Parameters
        ----------
        inputs, outputs
            Entry names; an output may be an input.
        law
            From values of the inputs to new values of the outputs.
        noise
            Standard deviation to add by output: what the law does not know.
        """
        columns, places = self.places(inputs), self.places(outputs)
        centre, cov = self.mean[columns], self.cov[columns[:, None], columns]
        sigma, root = sigma_points(centre, cov)
        values = np.array([law(point) for point in sigma.tolist()])
        mean = values.sum(axis=0) / len(values)
        # Regression of the outputs on the inputs over the points; what it leaves is noise.
        count = len(centre)
        half = 0.5 / count**0.5
        slope = np.linalg.solve(root.T, half * (values[:count] - values[count:])).T
        spread = values - mean
        left = (spread * spread).sum(axis=0) / len(values) - ((slope @ root) ** 2).sum(axis=1)
        self._transform(places, columns, slope)
        self._settle(outputs, mean.tolist(), np.maximum(left, 0.0).tolist(), noise)

    def follow(
        self,
        inputs: Sequence[str],
        outputs: Sequence[str],
        mean: Sequence[float],
        slope: Sequence[Sequence[float]],
        noise: Mapping[str, float],
    ) -> None:
        """Move outputs to a law's values, each with a row of slopes: where little bends."""
        columns, places = self.places(inputs), self.places(outputs)
        self._transform(places, columns, np.array(slope))
        self._settle(outputs, mean, [0.0] * len(outputs), noise)

    def _settle(
        self,
        outputs: Sequence[str],
        mean: Sequence[float],
        left: Sequence[float],
        noise: Mapping[str, float],
    ) -> None:
        for name, middle, variance in zip(outputs, mean, left, strict=True):
            place = self.index[name]
            self.mean[place] = middle
            self.cov[place, place] += variance + noise.get(name, 0.0) ** 2


def sigma_points(centre: Floats, cov: Floats) -> tuple[Floats, Floats]:
    """Return 2 n points of equal weight with this mean and covariance, and the root used."""
    size = len(centre)
    variances = cov.diagonal()
    floor = 1e-12 * max(float(variances.max()), 1e-12)
    root = cov.copy()
    root.reshape(-1)[:: size + 1] += np.maximum(1e-10 - variances, 0.0) + floor
    try:
        root = np.asarray(np.linalg.cholesky(root), dtype=np.float64)
    except np.linalg.LinAlgError:
        root = np.diag(np.sqrt(np.maximum(variances, 1e-10)))
    steps: Floats = float(np.sqrt(size)) * root.T
    return np.concatenate((centre + steps, centre - steps)), root
