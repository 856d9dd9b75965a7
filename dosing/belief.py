"""A state of the water as one normal distribution: mean, covariance, and how it is moved.

Everything that can be wrong has its own entry, the tub's volume and each product's strength among
them, so that what two doses have in common stays in common (an extended Kalman filter whose curved
steps are fitted over sigma points). Source key: jazwinski1970.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


class Belief:
    """Named entries with mean and covariance; changed in place, copied when a guess is wanted."""

    __slots__ = ("cov", "index", "mean")

    def __init__(self, priors: Mapping[str, tuple[float, float]]) -> None:
        """Start from independent entries, each a mean and a standard deviation."""
        self.index = {name: place for place, name in enumerate(priors)}
        self.mean: Floats = np.array([mean for mean, _ in priors.values()], dtype=float)
        self.cov: Floats = np.diag([sd * sd for _, sd in priors.values()])

    def copy(self) -> Belief:
        """Return one that can be moved without moving this."""
        twin = Belief.__new__(Belief)
        twin.index, twin.mean, twin.cov = dict(self.index), self.mean.copy(), self.cov.copy()
        return twin

    def add_entry(self, name: str, mean: float, sd: float) -> None:
        """Add an independent entry; nothing happens when it is there already."""
        if name in self.index:
            return
        size = len(self.mean)
        self.index[name] = size
        cov = np.zeros((size + 1, size + 1))
        cov[:size, :size] = self.cov
        cov[size, size] = sd * sd
        self.mean, self.cov = np.append(self.mean, mean), cov

    def of(self, name: str) -> float:
        """Return the mean of an entry."""
        return float(self.mean[self.index[name]])

    def sd(self, name: str) -> float:
        """Return the standard deviation of an entry."""
        place = self.index[name]
        return float(np.sqrt(max(self.cov[place, place], 0.0)))

    def moments(self, weights: Mapping[str, float]) -> tuple[float, float]:
        """Return mean and variance of a weighted sum of entries."""
        places = [self.index[name] for name in weights]
        factors = np.fromiter(weights.values(), float)
        mean = float(factors @ self.mean[places])
        return mean, float(factors @ self.cov[np.ix_(places, places)] @ factors)

    def renew(self, name: str, mean: float, sd: float) -> None:
        """Forget an entry: a new mean and spread, independent of all else."""
        place = self.index[name]
        self.mean[place] = mean
        self.cov[place, :] = 0.0
        self.cov[:, place] = 0.0
        self.cov[place, place] = sd * sd

    def shake(self, name: str, sd: float) -> None:
        """Add independent noise to an entry."""
        place = self.index[name]
        self.cov[place, place] += sd * sd

    def correct(self, weights: Mapping[str, float], mean: float, variance: float) -> None:
        """Give a weighted sum of entries a new mean and variance; the rest follows."""
        old_mean, old = self.moments(weights)
        if old <= 0.0:
            return
        places = [self.index[name] for name in weights]
        gain = self.cov[:, places] @ np.fromiter(weights.values(), float) / old
        self.mean += gain * (mean - old_mean)
        self.cov += np.outer(gain, gain * (variance - old))

    def move(
        self,
        names: Sequence[str],
        rows: Mapping[str, Mapping[str, float]],
        noise: Mapping[str, float],
    ) -> None:
        """Make each named entry a linear sum of old entries' deviations, plus noise (sd).

        Only the covariance is moved; set the means with `place`.
        """
        size = len(self.mean)
        transform = np.zeros((len(names), size))
        for row, name in enumerate(names):
            for other, factor in rows[name].items():
                transform[row, self.index[other]] = factor
        places = [self.index[name] for name in names]
        across = transform @ self.cov
        within = across @ transform.T
        self.cov[places, :] = across
        self.cov[:, places] = across.T
        self.cov[np.ix_(places, places)] = within
        for name, sd in noise.items():
            self.shake(name, sd)

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
        places = [self.index[name] for name in inputs]
        centre, cov = self.mean[places], self.cov[np.ix_(places, places)]
        sigma, root = _sigma_points(centre, cov)
        values = np.array([law(point) for point in sigma.tolist()])
        mean = values.mean(axis=0)
        spread = values - mean
        # Regression of the outputs on the inputs over the points; what it leaves is noise.
        count = len(centre)
        half = 0.5 * np.sqrt(count) / count
        slope = np.linalg.solve(root.T, half * (spread[:count] - spread[count:])).T
        left = spread.T @ spread / len(values) - slope @ cov @ slope.T
        rows = {
            name: dict(zip(inputs, slope[row].tolist(), strict=True))
            for row, name in enumerate(outputs)
        }
        rest = {
            name: float(np.sqrt(max(left[row, row], 0.0) + noise.get(name, 0.0) ** 2))
            for row, name in enumerate(outputs)
        }
        self.move(outputs, rows, rest)
        self.mean[[self.index[name] for name in outputs]] = mean


def _sigma_points(centre: Floats, cov: Floats) -> tuple[Floats, Floats]:
    """Return 2 n points of equal weight with this mean and covariance, and the root used."""
    size = len(centre)
    jitter = 1e-12 * max(float(cov.diagonal().max()), 1e-12)
    spare = np.maximum(1e-10 - cov.diagonal(), 0.0) + jitter
    try:
        root = np.asarray(np.linalg.cholesky(cov + np.diag(spare)), dtype=np.float64)
    except np.linalg.LinAlgError:
        root = np.diag(np.sqrt(np.maximum(cov.diagonal(), 1e-10)))
    steps: Floats = float(np.sqrt(size)) * root.T
    return np.concatenate((centre + steps, centre - steps)), root
