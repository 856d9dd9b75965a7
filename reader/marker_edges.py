"""The edges of the markers, looked at across: where exactly they lie, and how sharp they are.

A marker's border is black and one cell wide, and white lies around it. Along each edge the grey is
sampled across, from the middle of the border outward; where it passes half its height lies the
edge, and how fast it rises tells the blur. Both edges of a marker move alike with blur and tone,
so the plane through them all does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.median import median
from reader.plane import Plane

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

LINES, SAMPLES = 9, 61
"""Lines across each edge, and samples on each."""
FEWEST_LINES = 5
CONTRAST_NEEDED = 20.0
"""Codes between black and white of an edge."""
CELLS = 6.0
"""Cells a marker's side has at least; the border is one of them."""


@dataclass(frozen=True, eq=False)
class MarkerEdges:
    """What was seen across the edges of some markers, four each, clockwise from the top."""

    plane: Plane
    starts: Array
    """Card places (4 n, 2) where the edges begin, as the layout has them."""
    along: Array
    length: Array
    values: Array
    """Greys, shape (4 n, LINES, SAMPLES), from inside outward."""

    @classmethod
    def seen(
        cls, grey: Grey, reduction: int, plane: Plane, corners_mm: Sequence[Array]
    ) -> MarkerEdges:
        """Return the edges of markers with these corners, (4, 2) each, seen through a plane."""
        starts = np.vstack(corners_mm)
        stops = np.vstack([np.roll(corners, -1, axis=0) for corners in corners_mm])
        length = np.linalg.norm(stops - starts, axis=1)
        along = (stops - starts) / length[:, None]
        outward = np.column_stack([along[:, 1], -along[:, 0]])
        across = _offsets(length)[:, None, :, None] * outward[:, None, None]
        down = _shares(length)[:, :, None, None] * along[:, None, None]
        at_mm = starts[:, None, None] + down + across
        at_px = (plane.to_photo(at_mm.reshape(-1, 2)) + 0.5) / reduction - 0.5
        places = at_px.reshape(len(starts) * LINES, SAMPLES, 2).astype(np.float32)
        x, y = cv2.split(places)
        values = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        shaped = values.reshape(len(starts), LINES, SAMPLES).astype(np.float64)
        return cls(plane, starts, along, length, shaped)

    def corners_px(self, known_px: Sequence[Array]) -> list[Array]:
        """Return the corners (4, 2) of each marker where its edges cross, in photo pixels.

        Where an edge can't be told the marker keeps the corners known.
        """
        offsets, told = self._offsets_mm()
        starts, ways = self._lines(_shares(self.length), offsets, told)
        ok = (told.sum(axis=1) >= FEWEST_LINES).reshape(-1, 4).all(axis=1)
        crossed = self.plane.to_photo(_crossings(starts, ways)).reshape(-1, 4, 2)
        return [
            new if good else known for new, good, known in zip(crossed, ok, known_px, strict=True)
        ]

    def blur_mm(self) -> float:
        """Return the standard deviation of the edges' spread, in the worse of two directions."""
        profiles = median(self.values, axis=1)
        step = 2.0 / (SAMPLES - 1) * self.length / CELLS
        spread = np.array([_spread(profile) for profile in profiles]) * step
        is_level = np.abs(self.along[:, 0]) > np.abs(self.along[:, 1])
        ways = [spread[is_level == way] for way in (True, False)]
        return max((float(np.nanmedian(w)) for w in ways if np.isfinite(w).any()), default=0.0)

    def _offsets_mm(self) -> tuple[Array, NDArray[np.bool_]]:
        """Return how far outward each line crosses the edge, and where that can be told."""
        calm = cv2.blur(self.values.reshape(-1, SAMPLES), (3, 1)).reshape(self.values.shape)
        low, high = calm[..., :8].mean(axis=2), calm[..., -8:].mean(axis=2)
        level = ((low + high) / 2)[..., None]
        after = np.argmax(calm >= level, axis=2)
        before = np.maximum(after - 1, 0)
        a = np.take_along_axis(calm, before[..., None], 2)[..., 0]
        b = np.take_along_axis(calm, after[..., None], 2)[..., 0]
        place = before + (level[..., 0] - a) / np.maximum(b - a, 1e-6)
        step = 2.0 / (SAMPLES - 1) * self.length / CELLS
        offsets = place * step[:, None] + _offsets(self.length)[:, :1]
        typical = median(offsets, axis=1)[:, None]
        told = (high - low > CONTRAST_NEEDED) & (after > 0) & (np.abs(offsets - typical) < 0.3)
        return offsets, told

    def _lines(self, shares: Array, offsets: Array, told: NDArray[np.bool_]) -> tuple[Array, Array]:
        """Return for each edge a place on it and its direction, by least squares."""
        count = np.maximum(told.sum(axis=1), 1)
        x = np.where(told, shares, 0.0)
        y = np.where(told, offsets, 0.0)
        x_mean, y_mean = x.sum(axis=1) / count, y.sum(axis=1) / count
        off = np.where(told, shares - x_mean[:, None], 0.0)
        slope = (off * y).sum(axis=1) / np.maximum((off**2).sum(axis=1), 1e-9)
        rest = y_mean - slope * x_mean
        outward = np.column_stack([self.along[:, 1], -self.along[:, 0]])
        return self.starts + rest[:, None] * outward, self.along + slope[:, None] * outward


def _offsets(length: Array) -> Array:
    return np.linspace(-0.9, 1.1, SAMPLES)[None] * (length / CELLS)[:, None]


def _shares(length: Array) -> Array:
    return np.linspace(0.12, 0.88, LINES)[None] * length[:, None]


def _crossings(starts: Array, ways: Array) -> Array:
    """Return where each edge crosses the one before it of the same marker, shape (4 n, 2)."""
    before = np.arange(len(starts)).reshape(-1, 4)[:, [3, 0, 1, 2]].ravel()
    p, d, q, e = starts[before], ways[before], starts, ways
    turn = d[:, 0] * e[:, 1] - d[:, 1] * e[:, 0]
    share = ((q - p)[:, 0] * e[:, 1] - (q - p)[:, 1] * e[:, 0]) / turn
    return np.asarray(p + share[:, None] * d)


def _spread(profile: Array) -> float:
    """Return the standard deviation of an edge's spread in steps; NaN where it can't be told.

    A profile rises from a quarter to three quarters of its height over 1.349 standard deviations,
    if the spread is that of a Gaussian.
    """
    low, high = profile[:8].mean(), profile[-8:].mean()
    if high - low < CONTRAST_NEEDED:
        return float("nan")
    crossed = [_first_above(profile, low + s * (high - low)) for s in (0.25, 0.75)]
    return max(crossed[1] - crossed[0], 0.0) / 1.349


def _first_above(profile: Array, level: float) -> float:
    """Return the place, in steps, where a rising profile crosses a level, from the middle out."""
    above = np.maximum.accumulate(profile) >= level
    place = int(np.argmax(above))
    if place == 0:
        return 0.0
    before, after = profile[place - 1], profile[place]
    return place - 1 + float((level - before) / max(after - before, 1e-9))
