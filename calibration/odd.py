"""Strips in waters of known value that are not what they were told to be: odd or exchanged."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution

from calibration.alike import PHOTO_SD
from calibration.lab import Cov, Lab, delta_e00

Array = NDArray[np.float64]

ODD_DE00 = 3.0
"""A strip nearer its fellows than this is not named, however little they differ: photos of good
strips differ so much now and then, and the biweight takes its pull away all the same."""

PRIOR_DOF = 2.0
"""Weight, in degrees of freedom, of the usual scatter of photos where there are few repeats."""

LOOKS_LIKE_DE00, LOOKS_LIKE_SHARE = 3.0, 0.5
"""A strip set aside looks like those of another value when it lies this near their mean, or at no
more than this share of its distance from its own fellows'."""


class Strip(Protocol):
    """One pad of one strip, in water of known value."""

    @property
    def photo(self) -> str:
        """Return the photo's name."""

    @property
    def pad(self) -> int:
        """Return the pad's number."""

    @property
    def value(self) -> float:
        """Return the value that was told."""

    @property
    def lab(self) -> Lab:
        """Return the colour seen, CIELAB, shape (3,)."""


def find_odd(entries: Sequence[Strip], chance: float) -> dict[int, float]:
    """Return the places of strips unlike their fellows, each with its distance.

    Each strip is held against the mean of the others of its value, under the scatter of all
    others (Hotelling's T square of a deleted residual). First the furthest of every value are left
    out together and taken in again, the nearest first, so that two odd strips of different values
    cannot hide each other; then the rest, one at a time, until none lies further off than by the
    `chance` given.

    References
    ----------
    .. [1] R. D. Cook, S. Weisberg, "Residuals and Influence in Regression", Chapman and Hall
       1982, section 2.2.2 (outlier test by the deleted residual). Source key: cook1982.
    """
    odd = _odd_together(entries, chance)
    while True:
        left = [i for i in range(len(entries)) if i not in odd]
        squares, dof = _deleted_squares([entries[i] for i in left])
        if not len(squares) or squares.max() <= 0.0:
            return odd
        worst = int(squares.argmax())
        if f_distribution.sf(*as_f(float(squares[worst]), dof)) > chance:
            return odd
        odd[left[worst]] = float(np.sqrt(squares[worst]))


def _odd_together(entries: Sequence[Strip], chance: float) -> dict[int, float]:
    """Return strips, one a value at most, that lie off from all that are not such."""
    out = _furthest(entries)
    while out:
        kept = [entry for i, entry in enumerate(entries) if i not in out]
        scatter, dof = pooled_scatter(kept)
        squares = {i: _square(entries[i], kept, scatter) for i in out}
        nearest = min(out, key=lambda i: squares[i])
        if f_distribution.sf(*as_f(squares[nearest], dof)) <= chance:
            return {i: float(np.sqrt(square)) for i, square in squares.items()}
        out.remove(nearest)
    return {}


def _furthest(entries: Sequence[Strip]) -> set[int]:
    """Return the place of the strip furthest from the median of its value, where it has three."""
    groups: dict[float, list[int]] = defaultdict(list)
    for i, entry in enumerate(entries):
        groups[entry.value].append(i)
    found = set()
    for places in groups.values():
        labs = np.array([entries[i].lab for i in places])
        off = np.linalg.norm((labs - np.median(labs, axis=0)) / PHOTO_SD, axis=1)
        if len(places) > 2:
            found.add(places[int(off.argmax())])
    return found


def _square(entry: Strip, kept: Sequence[Strip], scatter: Cov) -> float:
    """Return T square of a strip against others of its value; 0 where it lies near them."""
    fellows = np.array([other.lab for other in kept if other.value == entry.value])
    off = entry.lab - fellows.mean(axis=0)
    if delta_e00(entry.lab, entry.lab - off) < ODD_DE00:
        return 0.0
    return float(off @ np.linalg.solve(scatter * (1.0 + 1.0 / len(fellows)), off))


def as_f(square: float, dof: float) -> tuple[float, float, float]:
    """Return Hotelling's T square of three coordinates as an F value with its dof."""
    return square * (dof - 2.0) / (3.0 * dof), 3.0, dof - 2.0


def _deleted_squares(entries: Sequence[Strip]) -> tuple[Array, float]:
    """Return T square of each strip against the others, (n,), and the dof of the scatter.

    A strip alone at its value has none (0), nor has one near its fellows.
    """
    labs = np.array([entry.lab for entry in entries])
    values = np.array([entry.value for entry in entries])
    same = values[:, None] == values[None]
    count = same.sum(axis=1)
    off = labs - same @ labs / count[:, None]
    scatter, dof = pooled_scatter(entries)
    spare = np.maximum(count - 1.0, 1.0)
    without = scatter * dof - (count / spare)[:, None, None] * off[:, :, None] * off[:, None, :]
    deleted = off * (count / spare)[:, None]  # from the mean of the others
    near = delta_e00(labs, labs - deleted) < ODD_DE00
    cov = without / (dof - 1.0) * (1.0 + 1.0 / spare)[:, None, None]
    squares = np.einsum("ni,ni->n", deleted, np.linalg.solve(cov, deleted[:, :, None])[..., 0])
    return np.where((count > 1) & ~near, squares, 0.0), dof - 1.0


def pooled_scatter(entries: Sequence[Strip]) -> tuple[Cov, float]:
    """Return the covariance of strips about their value's mean, (3, 3), and its dof.

    The usual scatter of photos enters with `PRIOR_DOF`, so that few strips give no false zero.
    """
    groups: dict[float, list[Lab]] = defaultdict(list)
    for entry in entries:
        groups[entry.value].append(entry.lab)
    total = PRIOR_DOF * np.diag(np.square(PHOTO_SD))
    dof = PRIOR_DOF
    for labs in groups.values():
        off = np.array(labs) - np.mean(labs, axis=0)
        total = total + off.T @ off
        dof += len(labs) - 1.0
    return total / dof, dof


def looks_like(entry: Strip, fellows: Sequence[Strip], odd: Collection[int]) -> float | None:
    """Return the other value whose strips a pad set aside looks like, or None.

    `fellows` are all strips of its pad, `odd` the places among them of those set aside.
    """
    groups: dict[float, list[Lab]] = defaultdict(list)
    for i, other in enumerate(fellows):
        if i not in odd:
            groups[other.value].append(other.lab)
    away = {
        value: float(delta_e00(entry.lab, np.mean(labs, axis=0))) for value, labs in groups.items()
    }
    own = away.pop(entry.value, np.inf)
    if not away:
        return None
    nearest = min(away, key=lambda value: away[value])
    far = max(LOOKS_LIKE_DE00, LOOKS_LIKE_SHARE * own) if np.isfinite(own) else LOOKS_LIKE_DE00
    return nearest if away[nearest] < far else None


def wrong_photos(
    entries: Sequence[Strip], odd_pads: Mapping[str, Collection[int]]
) -> tuple[str, ...]:
    """Return the photos more than half of whose known pads, two at least, were set aside."""
    known: dict[str, set[int]] = defaultdict(set)
    for entry in entries:
        known[entry.photo].add(entry.pad)
    return tuple(
        photo
        for photo, pads in odd_pads.items()
        if len(pads) >= 2 and 2 * len(pads) > len(known[photo])
    )


def exchanged(likes: Mapping[str, Mapping[int, tuple[float, float]]]) -> list[tuple[str, str]]:
    """Return pairs of photos each of which looks, pad by pad, like the other's value.

    `likes`: by photo and pad the value that was told, and the value it looks like. A photo is in
    one pair at most, the one with most pads that agree.
    """
    names, found = sorted(likes), []
    for i, one in enumerate(names):
        for two in names[i + 1 :]:
            both = likes[one].keys() & likes[two].keys()
            crossed = [pad for pad in both if likes[one][pad] == likes[two][pad][::-1]]
            if crossed and 2 * len(crossed) > len(both):
                found.append((-len(crossed), one, two))
    pairs: list[tuple[str, str]] = []
    for _, one, two in sorted(found):
        if not any({one, two} & set(pair) for pair in pairs):
            pairs.append((one, two))
    return pairs
