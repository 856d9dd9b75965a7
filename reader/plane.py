"""Where a flat card lies in a photo: a homography, with one term for the lens's bow.

Card places are millimetres, photo places pixels of the photo's full size (pixel centres at whole
numbers). The lens term is the first of the usual radial series (Brown 1971): a place at radius r
from the middle of the photo, in units of half its diagonal, is moved outward by the factor
1 + bow r2.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BOW_SD = 0.04
"""Usual size of the bow of a phone's lens after its own correction; more is thought unlikely."""
MARKERS_FOR_BOW = 4
"""With fewer markers bow and tilt cannot be told apart."""
BOW_LIMIT = 0.2
SMALL_STEP = 3e-4
"""Relative to the numbers' sizes; the step after it would be about its square."""


@dataclass(frozen=True, eq=False)
class Plane:
    """From card millimetres to photo pixels and back."""

    matrix: Array
    """Homography from millimetres to pixels before the bow, shape (3, 3)."""
    bow: float
    middle: tuple[float, float]
    """Middle of the photo in pixels."""
    reach: float
    """Half the photo's diagonal in pixels."""

    def to_photo(self, at_mm: Array) -> Array:
        """Return the pixels (n, 2) of card places (n, 2)."""
        away = _moved(self.matrix, at_mm) - self.middle
        squared = np.sum(away**2, axis=1, keepdims=True) / self.reach**2
        return np.asarray(self.middle + away * (1 + self.bow * squared))

    def to_card(self, at_px: Array) -> Array:
        """Return the card places (n, 2) of pixels (n, 2)."""
        away = np.asarray(at_px, np.float64) - self.middle
        ideal = away.copy()
        for _ in range(8 if self.bow else 0):
            squared = np.sum(ideal**2, axis=1, keepdims=True) / self.reach**2
            ideal = away / (1 + self.bow * squared)
        return _moved(self._inverse, ideal + self.middle)

    def px_per_mm(self, at_mm: Array) -> Array:
        """Return how many photo pixels a millimetre has at places (n, 2): along x and y, (n, 2)."""
        here = self.to_photo(at_mm)
        steps = [np.linalg.norm(self.to_photo(at_mm + s) - here, axis=1) for s in np.eye(2) * 0.5]
        return np.stack(steps, axis=1) / 0.5

    def is_sound(self, size_mm: tuple[float, float]) -> bool:
        """Say whether the whole card lies before the camera and is not seen in a mirror."""
        x, y = size_mm
        ends = np.array([[0, 0], [x, 0], [x, y], [0, y]], np.float64)
        depth = ends @ self.matrix[2, :2] + self.matrix[2, 2]
        if not np.all(np.isfinite(self.matrix)) or depth.min() <= 0.05 * depth.max():
            return False
        return bool(np.linalg.det(self.matrix) > 0)

    def tilt_deg(self, at_mm: Array) -> float:
        """Return how far aside a card place (2,) is seen: the arc cosine of its foreshortening.

        Needs no focal length. Exact in the photo's middle; towards its edges a wide lens adds a
        little.
        """
        around = np.asarray(at_mm) + np.array([[-0.5, 0], [0.5, 0], [0, -0.5], [0, 0.5]])
        at_px = self.to_photo(around)
        longest, shortest = np.linalg.svd(
            np.column_stack([at_px[1] - at_px[0], at_px[3] - at_px[2]]), compute_uv=False
        )
        return float(np.degrees(np.arccos(np.clip(shortest / longest, 0, 1))))

    @cached_property
    def _inverse(self) -> Array:
        return np.asarray(np.linalg.inv(self.matrix), np.float64)


def _moved(matrix: Array, points: Array) -> Array:
    lifted = np.asarray(points, np.float64) @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(lifted[:, :2] / lifted[:, 2:])


def straight_plane(at_mm: Array, at_px: Array, size_px: tuple[int, int]) -> Plane | None:
    """Return the plane through pairs of places by linear least squares, without bow."""
    middle = ((size_px[0] - 1) / 2, (size_px[1] - 1) / 2)
    reach = float(np.hypot(*size_px)) / 2
    shift = at_mm.mean(axis=0)
    x, y = (at_mm - shift).T / 50.0
    u, v = (at_px - middle).T / reach
    one, zero = np.ones_like(x), np.zeros_like(x)
    rows = np.vstack(
        [
            np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y]),
            np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y]),
        ]
    )
    solved, _, rank, _ = np.linalg.lstsq(rows, np.concatenate([u, v]), rcond=None)
    if rank < 8:
        return None
    to_unit = np.array([[1, 0, -shift[0]], [0, 1, -shift[1]], [0, 0, 50.0]]) / 50.0
    to_px = np.array([[reach, 0, middle[0]], [0, reach, middle[1]], [0, 0, 1.0]])
    matrix = to_px @ np.append(solved, 1.0).reshape(3, 3) @ to_unit
    if not np.all(np.isfinite(matrix)) or abs(matrix[2, 2]) < 1e-9:
        return None
    return Plane(matrix / matrix[2, 2], 0.0, middle, reach)


def fit_plane(at_mm: Array, at_px: Array, size_px: tuple[int, int]) -> Plane | None:
    """Return the plane through corner places (n, 2), robust to a few bad ones.

    With at least `MARKERS_FOR_BOW` markers (4 corners each) the lens's bow is fitted too.
    """
    start = straight_plane(at_mm, at_px, size_px)
    if start is None:
        return None
    with_bow = len(at_mm) >= 4 * MARKERS_FOR_BOW
    return _refined(start, at_mm, at_px, with_bow)


def _refined(start: Plane, at_mm: Array, at_px: Array, with_bow: bool) -> Plane:
    """Return the plane after a few steps of weighted Gauss-Newton (Huber's weights)."""
    scale = np.append(np.abs(start.matrix.ravel()[:8]) + 1e-9, 0.01)[: 9 if with_bow else 8]
    numbers = np.append(start.matrix.ravel()[:8], 0.0)[: len(scale)]

    def plane_of(values: Array) -> Plane:
        bow = float(values[8]) if with_bow else 0.0
        return Plane(np.append(values[:8], 1.0).reshape(3, 3), bow, start.middle, start.reach)

    for _ in range(6):
        places, slopes = _places_and_slopes(plane_of(numbers), at_mm)
        scaled = slopes[:, : len(scale)] * scale
        step = _step((places - at_px).ravel(), scaled, numbers, scale, with_bow)
        numbers = numbers - step
        numbers[8:] = np.clip(numbers[8:], -BOW_LIMIT, BOW_LIMIT)
        if np.abs(step / scale).max() < SMALL_STEP:
            break
    return plane_of(numbers)


def _places_and_slopes(plane: Plane, at_mm: Array) -> tuple[Array, Array]:
    """Return photo places (n, 2) and their slopes (2 n, 9) by the matrix's numbers and the bow."""
    lifted = np.column_stack([at_mm, np.ones(len(at_mm))])
    moved = lifted @ plane.matrix.T
    over = lifted / moved[:, 2:]
    ideal = moved[:, :2] / moved[:, 2:]
    away = ideal - plane.middle
    squared = np.sum(away**2, axis=1) / plane.reach**2
    by_matrix = np.zeros((len(at_mm), 2, 8))
    by_matrix[:, 0, :3] = by_matrix[:, 1, 3:6] = over
    by_matrix[:, :, 6:] = -ideal[:, :, None] * over[:, None, :2]
    grown = (1 + plane.bow * squared)[:, None]
    bent = (2 * plane.bow / plane.reach**2) * away[:, :, None] * away[:, None, :]
    bent[:, [0, 1], [0, 1]] += grown
    slopes = np.concatenate([bent @ by_matrix, (away * squared[:, None])[:, :, None]], axis=2)
    return plane.middle + away * grown, slopes.reshape(-1, 9)


def _step(here: Array, scaled: Array, numbers: Array, scale: Array, with_bow: bool) -> Array:
    """Return the step from misses `here` (2 n,) with slopes (2 n, k) by numbers over `scale`."""
    size = np.linalg.norm(here.reshape(-1, 2), axis=1)
    spread = max(1.4826 * float(np.median(size)), 0.05)
    weight = np.repeat(1 / np.maximum(size / (2 * spread), 1.0), 2) / spread**2
    square = scaled.T @ (scaled * weight[:, None])
    pull = scaled.T @ (here * weight)
    if with_bow:
        square[8, 8] += (scale[8] / BOW_SD) ** 2
        pull[8] += numbers[8] * scale[8] / BOW_SD**2
    damped = square + np.eye(len(scale)) * 1e-9 * np.trace(square) / len(scale)
    return np.asarray(np.linalg.lstsq(damped, pull, rcond=None)[0]) * scale
