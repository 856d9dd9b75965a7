"""The card and the strip on it, painted flat: one number for the material of every point.

Beside the material lie three more layers: `shade` (multiplies the light that comes back), `turn`
(moves a pad towards its paler shade) and `shine` (mirrors the lamp).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from tests.render.spectra import Array
from tests.render.strips import StripKind

PAPER, BLACK, GROUND, BODY, DIRT = 0, 1, 2, 3, 4
FIRST_PATCH = 10
FIRST_PAD = 180
"""Materials of the pads of strip number s start at FIRST_PAD + 20 s."""


@dataclass(frozen=True)
class Lie:
    """How a strip lies on the card: where its dipped tip is, and which way it runs."""

    tip_mm: tuple[float, float]
    along: tuple[float, float]
    """Unit vector from the tip to the handle."""

    def at(self, along_mm: float, across_mm: float) -> tuple[float, float]:
        """Card mm of a place on the strip."""
        (x, y), (dx, dy) = self.tip_mm, self.along
        return x + along_mm * dx - across_mm * dy, y + along_mm * dy + across_mm * dx

    def box(self, start: float, end: float, half_width: float) -> Array:
        """Corners of a box on the strip, (4, 2) mm."""
        ends = ((start, -half_width), (end, -half_width), (end, half_width), (start, half_width))
        return np.array([self.at(a, c) for a, c in ends])


@dataclass(eq=False)
class Art:
    """The painted layers, `scale` pixels a millimetre; pixel (0, 0) has its corner at (0, 0) mm."""

    scale: float
    material: NDArray[np.uint8]
    shade: NDArray[np.float32]
    turn: NDArray[np.float32]
    shine: NDArray[np.float32]

    def px(self, at_mm: Array) -> NDArray[np.int32]:
        """Sixteenths of pixels for OpenCV's drawing."""
        return np.round((np.asarray(at_mm) * self.scale - 0.5) * 16).astype(np.int32)

    def fill(self, layer: NDArray[np.uint8], corners_mm: Array, value: int) -> None:
        """Fill a polygon."""
        cv2.fillPoly(layer, [self.px(corners_mm)], int(value), cv2.LINE_8, 4)

    def region(self, corners_mm: Array, margin_mm: float = 0.0) -> tuple[slice, slice]:
        """Rows and columns that hold the corners."""
        low = np.floor((corners_mm.min(axis=0) - margin_mm) * self.scale).astype(int)
        high = np.ceil((corners_mm.max(axis=0) + margin_mm) * self.scale).astype(int)
        rows, columns = self.material.shape
        return (
            slice(max(low[1], 0), min(max(high[1], 0), rows)),
            slice(max(low[0], 0), min(max(high[0], 0), columns)),
        )


def rectangle(rect_mm: Sequence[float]) -> Array:
    """Corners of x, y, width, height."""
    x, y, w, h = rect_mm
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])


def blank(card: Card, scale: float, rng: np.random.Generator) -> Art:
    """A sheet with the printed card: patches, slot, markers, small print."""
    columns, rows = (round(side * scale) for side in card.size_mm)
    art = Art(
        scale,
        np.full((rows, columns), PAPER, dtype=np.uint8),
        paper_grain(rows, columns, scale, rng),
        np.zeros((rows, columns), dtype=np.float32),
        np.zeros((rows, columns), dtype=np.float32),
    )
    for number, patch in enumerate(card.patches):
        art.fill(art.material, rectangle(patch.rect_mm), FIRST_PATCH + number)
    art.fill(art.material, rectangle(card.slot.rect_mm), GROUND)
    for marker in card.markers:
        paint_marker(art, marker.id, marker.dictionary, np.array(marker.corners_mm))
    small_print(art, card)
    return art


def paper_grain(
    rows: int, columns: int, scale: float, rng: np.random.Generator
) -> NDArray[np.float32]:
    """Fine unevenness of print and paper, about half a per cent."""
    fine = rng.standard_normal((rows // 2 + 1, columns // 2 + 1), dtype=np.float32)
    cloud = rng.standard_normal((24, 36), dtype=np.float32)
    grain = cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_LINEAR) * 0.006
    return 1.0 + grain + cv2.resize(cloud, (columns, rows), interpolation=cv2.INTER_CUBIC) * 0.002


def paint_marker(art: Art, number: int, dictionary: str, corners_mm: Array) -> None:
    """Paint a coded marker module by module."""
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    modules = book.markerSize + 2
    code = cv2.aruco.generateImageMarker(book, number, modules)
    unit = np.array([[0, 0], [modules, 0], [modules, modules], [0, modules]], dtype=np.float32)
    plane = cv2.getPerspectiveTransform(unit, corners_mm.astype(np.float32))
    art.fill(art.material, corners_mm, BLACK)
    for row, column in np.argwhere(code > 127):
        cell = rectangle((float(column), float(row), 1.0, 1.0))
        art.fill(art.material, cv2.perspectiveTransform(cell[None], plane)[0], PAPER)


def taken(card: Card) -> list[Array]:
    """Everything printed that small print must not touch."""
    rects = [rectangle(p.rect_mm) for p in card.patches] + [rectangle(card.slot.rect_mm)]
    return rects + [np.array(marker.corners_mm) for marker in card.markers]


def small_print(art: Art, card: Card) -> None:
    """A line of type and a ruler where the card leaves room."""
    width, height = card.size_mm
    boxes = [(c.min(axis=0) - 1.5, c.max(axis=0) + 1.5) for c in taken(card)]

    def room(rect: tuple[float, float, float, float]) -> bool:
        x, y, w, h = rect
        return all(x + w < a[0] or x > b[0] or y + h < a[1] or y > b[1] for a, b in boxes)

    spots = [
        (x, y, 34.0, 6.0) for y in (height - 13.0, 5.0, 9.0) for x in np.arange(16, width - 36, 2.0)
    ]
    place = next((spot for spot in spots if room(spot)), None)
    if place is None:
        return
    at = (int(place[0] * art.scale), int((place[1] + 4.0) * art.scale))
    cv2.putText(
        art.material, card.design, at, cv2.FONT_HERSHEY_SIMPLEX, 0.11 * art.scale, BLACK,
        max(1, round(0.25 * art.scale)), cv2.LINE_8,
    )  # fmt: skip
    for tick in range(21):
        x, long = place[0] + tick, 1.2 if tick % 5 == 0 else 0.7
        art.fill(art.material, rectangle((x, place[1] + 5.0, 0.15, long)), BLACK)


def lay(
    card: Card, kind: StripKind, offset_mm: tuple[float, float], askew_deg: float, reverse: bool
) -> Lie:
    """How a strip lies in the slot: `offset_mm` along and across, turned by `askew_deg`."""
    x, y, w, h = card.slot.rect_mm
    ends = {
        "left": ((x, y + h / 2), (1.0, 0.0), w),
        "right": ((x + w, y + h / 2), (-1.0, 0.0), w),
        "top": ((x + w / 2, y), (0.0, 1.0), h),
        "bottom": ((x + w / 2, y + h), (0.0, -1.0), h),
    }
    (x, y), (dx, dy), length = ends[card.slot.dip_end]
    start = 1.5 + offset_mm[0]
    if reverse:
        x, y, dx, dy = x + dx * length, y + dy * length, -dx, -dy
    tip = np.array([x + start * dx - offset_mm[1] * dy, y + start * dy + offset_mm[1] * dx])
    angle = np.radians(askew_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    # Turned about the strip's middle, as strips rock in a slot.
    middle = tip + np.array([dx, dy]) * kind.length_mm / 2
    along = turn @ np.array([dx, dy])
    tip = middle - along * kind.length_mm / 2
    return Lie((float(tip[0]), float(tip[1])), (float(along[0]), float(along[1])))


def paint_strip(
    art: Art, kind: StripKind, lie: Lie, number: int, shine: float, rng: np.random.Generator
) -> None:
    """Paint a strip with its pads, the shadow of its thickness, and wet shine on the pads."""
    body = lie.box(0.0, kind.length_mm, kind.width_mm / 2)
    cast_shadow(art, body, rng)
    art.fill(art.material, body, BODY)
    where = art.region(body)
    art.shine[where][art.material[where] == BODY] += 0.02 * rng.random()
    for pad in range(1, len(kind.pads) + 1):
        centre = kind.centre_mm(pad)
        half = min(kind.pad_mm, kind.width_mm) / 2
        paint_pad(
            art,
            lie.box(centre - half, centre + half, half),
            FIRST_PAD + 20 * number + pad - 1,
            shine,
            rng,
        )


def cast_shadow(art: Art, body: Array, rng: np.random.Generator) -> None:
    """The strip stands a little over the card: a soft dark line along one side."""
    angle = rng.uniform(0, 2 * np.pi)
    lift = rng.uniform(0.2, 0.6)
    moved = body + lift * np.array([np.cos(angle), np.sin(angle)])
    rows, columns = art.region(np.vstack([body, moved]), 1.5)
    mask = np.zeros(art.material.shape, dtype=np.uint8)
    art.fill(mask, moved, 255)
    soft = cv2.GaussianBlur(mask[rows, columns], (0, 0), 0.22 * art.scale)
    inside = np.zeros_like(mask)
    art.fill(inside, body, 255)
    dark = rng.uniform(0.15, 0.45) * (soft / 255.0) * (inside[rows, columns] == 0)
    art.shade[rows, columns] *= (1.0 - dark).astype(np.float32)


def paint_pad(
    art: Art, corners: Array, material: int, shine: float, rng: np.random.Generator
) -> None:
    """One pad: fibre, a drift of its colour, a darker rim, and patches of shine."""
    art.fill(art.material, corners, material)
    rows, columns = art.region(corners)
    inside = art.material[rows, columns] == material
    height, width = inside.shape
    if height < 2 or width < 2:
        return
    fibre = rng.standard_normal((height, width), dtype=np.float32)
    fibre = cv2.GaussianBlur(fibre, (0, 0), max(0.07 * art.scale, 0.4))
    fibre *= rng.uniform(0.006, 0.02) / max(float(fibre.std()), 1e-6)
    x, y = np.linspace(-0.5, 0.5, width), np.linspace(-0.5, 0.5, height)
    slope = rng.normal(0.0, 0.25, 2)
    drift = (slope[0] * x[None, :] + slope[1] * y[:, None]).astype(np.float32)
    edge = np.maximum(np.abs(x)[None, :], np.abs(y)[:, None])
    rim = (-0.12 * np.clip((edge - 0.43) / 0.07, 0.0, 1.0)).astype(np.float32)
    art.shade[rows, columns][inside] *= (1.0 + fibre + rim)[inside]
    art.turn[rows, columns][inside] = drift[inside]
    blots = rng.standard_normal((5, 5), dtype=np.float32)
    blots = np.maximum(cv2.resize(blots, (width, height), interpolation=cv2.INTER_CUBIC), 0.0)
    level = abs(rng.normal(0.0, shine)) * (0.6 + 0.4 * blots)
    art.shine[rows, columns][inside] = level.astype(np.float32)[inside]
