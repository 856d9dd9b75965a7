"""How the light falls on the card: read from the white between the patches.

The field is a smooth surface through the logarithm of the white's values: a plane, a wide bend
and a narrow one, so that a slope, a lamp's fall-off and a soft shadow all follow. The camera's
curve is the colour fit's business, so the field is told in codes: those white would have.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card, Rect
from reader.flatten import Flat
from reader.tone import srgb_decode, srgb_encode

Array = NDArray[np.float64]

CLIPPED_CODE = 0.993
"""Codes at or above this may have been cut off at 1 before JPEG moved them."""

PITCH_MM = 0.5
"""Distance of the points of white that are looked at."""

CELL_MM = 8.0
"""Side of the cells whose white is averaged."""

KEEP_OFF_MM = 0.6
"""White nearer than this to ink is left out: blur, sharpening and JPEG mix across edges."""

PLANE_SD, WIDE_SD, NARROW_SD, NOISE_SD = 0.6, 0.20, 0.05, 0.006
"""Spread of the log light: plane over 100 mm, wide bend, narrow bend, and a cell's own noise."""

WIDE_MM, NARROW_MM = 35.0, 11.0
"""Lengths of the two bends."""

HARD_EDGE_PER_MM = 0.075
"""A fall of the log light steeper than this over 2 mm is the edge of a hard shadow."""

UNEVEN_LOG = 0.55
"""A range of the log light over the card above this (1.7 times) deserves a remark."""


@dataclass(frozen=True, eq=False)
class Light:
    """The white of the card where it could be seen."""

    white_mm: Array
    """Places of the white cells, shape (n, 2)."""
    white_code: Array
    """Code values there, shape (n, 3)."""
    clipped_share: float = 0.0
    """Share of the white cells that are cut off at the top."""
    edges_mm: Array = field(default_factory=lambda: np.zeros((0, 2)))
    """Places (k, 2) on the white where the light falls off like the edge of a shadow."""
    reasons: tuple[str, ...] = ()

    @cached_property
    def _inverse(self) -> Array:
        """Inverse (n, n) of the covariance of the cells' log white."""
        inner = kinship(self.white_mm, self.white_mm)
        inner[np.diag_indices_from(inner)] += NOISE_SD**2
        return np.asarray(np.linalg.inv(inner), np.float64)

    @cached_property
    def _solved(self) -> Array:
        log = np.log(np.maximum(srgb_decode(self.white_code), 1e-4))
        return np.asarray(self._inverse @ log, np.float64)

    def uncertainty_at(self, at_mm: Array) -> Array:
        """Return the standard deviation (k,) of the log light at places (k, 2)."""
        kin = kinship(at_mm, self.white_mm)
        own = np.diag(kinship(at_mm, at_mm))
        spared = np.einsum("kn,nm,km->k", kin, self._inverse, kin, optimize=True)
        return np.asarray(np.sqrt(np.clip(own - spared, 1e-8, None)), np.float64)

    def code_at(self, at_mm: Array) -> Array:
        """Return the codes (k, 3) that white has at places (k, 2).

        Smoothed in the logarithm of plain sRGB: over a card the white's codes vary little enough
        that another curve would give the same surface.
        """
        return srgb_encode(np.exp(kinship(at_mm, self.white_mm) @ self._solved))


def kinship(first_mm: Array, second_mm: Array) -> Array:
    """Return the prior covariance (n, k) of the log light between places, level left open."""
    sizes = np.sum(first_mm**2, axis=1)[:, None] + np.sum(second_mm**2, axis=1)
    squared = np.maximum(sizes - 2.0 * first_mm @ second_mm.T, 0.0)
    plane = PLANE_SD**2 * (first_mm / 100.0) @ (second_mm / 100.0).T
    wide = WIDE_SD**2 * np.exp(-0.5 * squared / WIDE_MM**2)
    narrow = NARROW_SD**2 * np.exp(-0.5 * squared / NARROW_MM**2)
    return np.asarray(25.0 + plane + wide + narrow, np.float64)


def light_field(flat: Flat, card: Card) -> Light:
    """Return the light over the card from the white between its patches."""
    points = _white_points(flat, card)
    cell_mm, cell_code, cut = _cells(points, card)
    share = float(cut.mean()) if len(cut) else 1.0
    if share < 0.8:
        cell_mm, cell_code = cell_mm[~cut], cell_code[~cut]
    if len(cell_mm) < 12:
        unknown = Light(np.zeros((1, 2)), np.full((1, 3), 0.9), share, np.zeros((0, 2)))
        return replace(unknown, reasons=("light_unknown",))
    keep = _kept(cell_mm, cell_code)
    cell_mm, cell_code = cell_mm[keep], cell_code[keep]
    edges_mm = _edges(points)
    return Light(cell_mm, cell_code, share, edges_mm, _remarks(cell_code, edges_mm))


def _remarks(code: Array, edges_mm: Array) -> tuple[str, ...]:
    """Return the reasons the light itself gives."""
    log = 2.2 * np.log(np.maximum(code.mean(axis=1), 1e-3))
    spread = float(np.quantile(log, 0.98) - np.quantile(log, 0.02))
    reasons = ["hard_shadow"] if len(edges_mm) >= 6 else []
    return (*reasons, "uneven_light") if spread > UNEVEN_LOG else tuple(reasons)


@dataclass(frozen=True, eq=False)
class _Points:
    """White paper, point by point."""

    key: NDArray[np.intp]
    """(n, 2): column and row in steps of the pitch."""
    code: Array
    """(n, 3): averaged over half a millimetre."""
    bright: Array
    """(n,): the mean of its channels."""
    cut: NDArray[np.bool_]
    """(n,): cut off at the top."""
    pitch_mm: float

    @property
    def at_mm(self) -> Array:
        """Return the places (n, 2)."""
        return np.asarray((self.key + 0.5) * self.pitch_mm)


def _white_points(flat: Flat, card: Card) -> _Points:
    """Return the white paper of the card, half a millimetre a point."""
    free = free_of_ink(card, flat.rgb.shape[:2], flat.px_per_mm)
    step = max(1, round(PITCH_MM * flat.px_per_mm))
    shape = (flat.rgb.shape[1] // step, flat.rgb.shape[0] // step)
    smooth = cv2.resize(
        flat.rgb[: shape[1] * step, : shape[0] * step], shape, interpolation=cv2.INTER_AREA
    )
    half = step // 2
    free = free[half::step, half::step][: shape[1], : shape[0]]
    cut = flat.clipped[half::step, half::step][: shape[1], : shape[0]]
    r, g, b = cv2.split(smooth)
    seen = free & (np.minimum(np.minimum(r, g), b) > 0.02)  # False for NaN, too
    cut = cut | (np.maximum(np.maximum(r, g), b) >= CLIPPED_CODE)
    rows, columns = np.nonzero(seen)
    code = smooth[rows, columns].astype(np.float64)
    key = np.stack([columns, rows], axis=1)
    return _Points(key, code, code @ np.full(3, 1 / 3), cut[rows, columns], step / flat.px_per_mm)


@lru_cache(maxsize=8)
def free_of_ink(card: Card, shape: tuple[int, int], px_per_mm: float) -> NDArray[np.bool_]:
    """Return True (h, w) where the layout leaves the card white."""
    free = np.zeros(shape, np.uint8)
    rim = round(1.5 * px_per_mm)
    free[rim : shape[0] - rim, rim : shape[1] - rim] = 1
    for x, y, width, height in _inked(card):
        low = np.floor((np.array([x, y]) - KEEP_OFF_MM) * px_per_mm).astype(int)
        high = np.ceil((np.array([x + width, y + height]) + KEEP_OFF_MM) * px_per_mm).astype(int)
        free[max(low[1], 0) : high[1] + 1, max(low[0], 0) : high[0] + 1] = 0
    kept = free.astype(bool)
    kept.flags.writeable = False
    return kept


def _inked(card: Card) -> list[Rect]:
    """Return the rectangles of the card that are printed, as far as the layout tells."""
    markers = []
    for marker in card.markers:
        corners = np.array(marker.corners_mm)
        low, size = corners.min(axis=0), np.ptp(corners, axis=0)
        markers.append((float(low[0]), float(low[1]), float(size[0]), float(size[1])))
    return [*markers, *(p.rect_mm for p in card.patches), card.slot.rect_mm]


def _cells(points: _Points, card: Card) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Return places (m, 2) and codes (m, 3) of cells, and which are cut off.

    Small print makes points darker, so a cell's code is that of the points from two to four
    fifths up in brightness.
    """
    at_mm, code = points.at_mm, points.code
    columns = int(np.ceil(card.size_mm[0] / CELL_MM)) + 1
    cell = (at_mm * (1 / CELL_MM)).astype(int) @ np.array([1, columns])
    order = np.argsort(cell + 0.3 * points.bright)
    first = np.flatnonzero(np.diff(cell[order], prepend=-1))
    count = np.diff(first, append=len(cell))
    first, count = first[count >= 6], count[count >= 6]
    spread = np.array([0.4, 0.5, 0.6, 0.7, 0.8])
    picks = order[first[:, None] + (count[:, None] * spread).astype(int)]
    return at_mm[picks].mean(axis=1), code[picks].mean(axis=1), points.cut[picks].any(axis=1)


def _kept(at_mm: Array, code: Array) -> NDArray[np.bool_]:
    """Return True (n,) for cells that lie on the smooth surface through the others."""
    log = 2.2 * np.log(np.maximum(code, 1e-3))
    kin = kinship(at_mm, at_mm)
    keep = np.ones(len(at_mm), bool)
    for _ in range(3):
        inner = kin[np.ix_(keep, keep)] + NOISE_SD**2 * np.eye(int(keep.sum()))
        off = np.abs(log - kin[:, keep] @ np.linalg.solve(inner, log[keep])).max(axis=1)
        kept = off < max(0.02, 5.0 * 1.48 * float(np.median(off[keep])))
        if kept.sum() < 12 or np.array_equal(kept, keep):
            return keep
        keep = kept
    return keep


def _edges(points: _Points) -> Array:
    """Return places (k, 2) where the white's brightness falls like the edge of a shadow.

    Looks for a steep fall over 2 mm with level ground on both sides: small print and dirt are
    darker than both their sides, a soft shadow is not level.
    """
    if not len(points.key):
        return np.zeros((0, 2))
    table = np.full(points.key.max(axis=0)[::-1] + 1, np.nan)
    columns, rows = points.key.T
    table[rows, columns] = 2.2 * np.log(np.maximum(points.bright, 1e-3))
    reach = max(2, round(2.0 / points.pitch_mm))
    return np.concatenate([_steps(table, reach, axis, points.pitch_mm) for axis in (0, 1)])


def _steps(table: Array, reach: int, axis: int, pitch_mm: float) -> Array:
    """Return places (k, 2) mm of steep falls along an axis of a log table, level on both sides."""
    t = table if axis == 1 else np.ascontiguousarray(table.T)
    span = 5 * reach
    width = t.shape[1] - span
    if width <= 0:
        return np.zeros((0, 2))
    fall = np.abs(t[:, 3 * reach :][:, :width] - t[:, 2 * reach :][:, :width])
    rows, columns = np.nonzero(fall > HARD_EDGE_PER_MM * reach * pitch_mm)
    # Few places fall steeply: only there it is worth while to look along both sides.
    along = t[rows[:, None], columns[:, None] + np.arange(span + 1)]
    most = 0.3 * fall[rows, columns, None]
    before = np.abs(along[:, : 2 * reach + 1] - along[:, 2 * reach, None]) < most
    after = np.abs(along[:, 3 * reach :] - along[:, 3 * reach, None]) < most
    level = before.all(axis=1) & after.all(axis=1)
    rows, columns = rows[level], columns[level]
    places = np.stack([columns + 2.5 * reach, rows], axis=1) * pitch_mm
    return places if axis == 1 else places[:, ::-1]
