"""The card as if it lay on a scanner: straight, at a fixed number of pixels a millimetre."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.find_card import CardSeen
from reader.photo import Photo
from reader.plane import Plane

FINEST_PX_PER_MM = 6.0
"""A pad of 5 mm then has 30 pixels a side; more only costs time."""
ENOUGH_PX_PER_MM = 4.5
"""The small decode serves as long as it has this many pixels a millimetre."""


@dataclass(frozen=True, eq=False)
class Flat:
    """The card's picture in its own millimetres.

    Pixel (i, j) is centred at ((i + 0.5) / px_per_mm, (j + 0.5) / px_per_mm) mm.
    """

    rgb: NDArray[np.float32]
    """sRGB code values, 1.0 = full code, unclamped, shape (h, w, 3); NaN outside the photo."""
    px_per_mm: float
    photo_px_per_mm: float
    """What the photo really resolves at the slot, in full-size pixels a millimetre."""
    inside: NDArray[np.bool_]
    """Where the card lies inside the photo, shape (h, w)."""
    clipped: NDArray[np.bool_]
    """Where a channel of the file is at the top of its range, shape (h, w)."""
    blur_mm: float
    """Standard deviation of the spread of an edge in the photo."""

    def to_px(self, at_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return pixel places (x, y) of card places (..., 2)."""
        return np.asarray(at_mm, np.float64) * self.px_per_mm - 0.5


def flatten(photo: Photo, seen: CardSeen, px_per_mm: float | None = None) -> Flat:
    """Return the card seen straight from above.

    Parameters
    ----------
    photo
        The photo `seen` was found in.
    seen
        Where the card lies.
    px_per_mm
        Resolution wanted; by default the photo's own, at most `FINEST_PX_PER_MM`.
    """
    reduction = _reduction(photo, seen, px_per_mm)
    resolution = px_per_mm or min(FINEST_PX_PER_MM, max(seen.px_per_mm / reduction, 3.0))
    size = (round(seen.size_mm[0] * resolution), round(seen.size_mm[1] * resolution))
    pixels = photo.pixels(reduction)
    straight = _straightened(pixels, reduction, seen.plane, size, resolution)
    inside = _inside(photo, seen.plane, size, resolution)
    top = 1.0 if straight.dtype == np.float32 else np.iinfo(straight.dtype).max
    rgb = photo.codes(straight)
    if not inside.all():
        rgb = np.where(inside[..., None], rgb, np.float32(np.nan))
    rgb.flags.writeable = False
    return Flat(
        rgb=rgb,
        px_per_mm=resolution,
        photo_px_per_mm=seen.px_per_mm,
        inside=inside,
        clipped=cv2.inRange(straight, (0, 0, 0), (top * 0.995,) * 3) == 0,
        blur_mm=seen.blur_mm,
    )


def _reduction(photo: Photo, seen: CardSeen, px_per_mm: float | None) -> int:
    """Return the smallest decode that still has the pixels needed."""
    wanted = px_per_mm or ENOUGH_PX_PER_MM
    best = 1
    for reduction in (2, 4, 8):
        floor = FINEST_PX_PER_MM if reduction > photo.base else wanted
        if seen.px_per_mm / reduction >= floor:
            best = reduction
    return best


def _straightened(
    pixels: NDArray[Any], reduction: int, plane: Plane, size: tuple[int, int], px_per_mm: float
) -> NDArray[Any]:
    """Return the card resampled; a lens's bow needs a map, else a homography does."""
    if abs(plane.bow) < 1e-5:
        matrix = _flat_to_pixels(plane, reduction, px_per_mm)
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return np.asarray(cv2.warpPerspective(pixels, matrix, size, flags=flags))
    x, y = cv2.split(_places(plane, size, px_per_mm, reduction))
    # Places to a 32nd of a pixel do, and take half the time.
    fixed, weights = cv2.convertMaps(x, y, cv2.CV_16SC2)
    return np.asarray(cv2.remap(pixels, fixed, weights, cv2.INTER_LINEAR))


def _flat_to_pixels(plane: Plane, reduction: int, px_per_mm: float) -> NDArray[np.float64]:
    """Return the homography from flat pixels to decoded pixels, half pixels minded."""
    shift, per = 0.5 / px_per_mm, 1 / px_per_mm
    to_mm = np.array([[per, 0, shift], [0, per, shift], [0, 0, 1]])
    k = 1 / reduction
    to_decoded = np.array([[k, 0, 0.5 * k - 0.5], [0, k, 0.5 * k - 0.5], [0, 0, 1]])
    return np.asarray(to_decoded @ plane.matrix @ to_mm)


def _places(
    plane: Plane, size: tuple[int, int], px_per_mm: float, reduction: int
) -> NDArray[np.float32]:
    """Return places (h, w, 2) of flat pixels in the decoded photo, worked out on every 8th only."""
    step = 8
    columns, rows = (np.arange(-1, n // step + 2, dtype=np.float64) for n in size)
    grid = np.stack(np.meshgrid(columns, rows), axis=2).reshape(-1, 2)
    # The middle of each cell of 8 x 8 pixels, one cell more all round; between them linear.
    coarse = plane.to_photo((grid + 0.5) * step / px_per_mm)
    coarse = (coarse + 0.5) / reduction - 0.5
    shaped = coarse.reshape(len(rows), len(columns), 2).astype(np.float32)
    fine = cv2.resize(shaped, None, fx=step, fy=step, interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine[step : step + size[1], step : step + size[0]], np.float32)


def _inside(
    photo: Photo, plane: Plane, size: tuple[int, int], px_per_mm: float
) -> NDArray[np.bool_]:
    """Return where flat pixels lie in the photo."""
    width, height = photo.size
    ends = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]]) / px_per_mm
    at_px = plane.to_photo(ends)
    if np.all((at_px >= 0) & (at_px <= (width - 1, height - 1))):
        return np.ones((size[1], size[0]), bool)
    places = _places(plane, size, px_per_mm, 1)
    return np.asarray(np.all((places >= -0.5) & (places <= (width - 0.5, height - 0.5)), axis=2))
