"""A card and a strip drawn flat from the layout alone: no spectra, no paper, no ink.

The other renderer knows our own print; this one knows what anyone can read in the layout file. It
shares nothing with the other but the strips' dyes, so that what reads one is tried on the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from tests.render.pads import Pads
from tests.render.spectra import Array, colour, lab_d50
from tests.render.strips import FAMILIES, StripKind

Image = NDArray[np.float32]

ASIDE_MM = 45.0
"""Drawn around the card, where strips may stick out."""
D50_XY = (0.3457, 0.3585)
FINE = 16
"""Places are given to OpenCV in sixteenths of a pixel."""


@dataclass(frozen=True)
class OwnPads(Pads):
    """Pads of a strip that is put together here from dyes of several makes."""

    own: StripKind = FAMILIES["reedmere"]

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", self.own)


@dataclass(frozen=True, eq=False)
class Paint:
    """Something over card and strip: it covers, shines or shades."""

    corners_mm: Array
    how: str
    """`cover` by a CIELAB colour, `shine` (adds a share of white), `shade` (takes a share off)."""
    value: float | tuple[float, float, float]
    soft_mm: float = 0.05


@dataclass(frozen=True, eq=False)
class Sheet:
    """What lies before the camera, flat."""

    card: Card
    printed: dict[str, Array]
    """CIELAB of the patches as printed."""
    pads: OwnPads
    values: tuple[float, ...]
    paper_lab: tuple[float, float, float] = (95.0, 0.0, 1.0)
    black_lab: tuple[float, float, float] = (16.0, 0.0, 0.0)
    slot_lab: tuple[float, float, float] | None = (46.0, -2.0, -8.0)
    """None: bare paper."""
    slot_line_mm: float = 0.0
    """Width of a line round the slot."""
    plastic_lab: tuple[float, float, float] = (92.5, 0.0, 2.0)
    handle_lab: tuple[float, float, float] | None = None
    handle_mm: float = 14.0
    """Length of the coloured handle at the far end."""
    tip_mm: float = 1.5
    """From the slot's dip end to the strip's tip."""
    across_mm: float = 0.0
    askew_deg: float = 0.0
    shadow: float = 0.25
    has_strip: bool = True
    has_card: bool = True
    is_reversed: bool = False
    laid: OwnPads | None = None
    """The strip that really lies there, where it is not the one asked for."""
    second: tuple[float, float, float] | None = None
    """Tip, place across and turn of a second strip."""
    strength: tuple[float, ...] = ()
    """Share of its dye left on each pad."""
    copied: dict[str, Array] | None = None
    """Colours of the patches on the card that is shown, where it is not the one measured."""
    over: tuple[Paint, ...] = ()

    def lab_of(self, pad: int) -> Array:
        """True CIELAB of a pad, counted from 0."""
        pads = self.laid or self.pads
        kind = pads.kind.pads[pad]
        if not self.strength:
            return pads.lab(kind.analyte, self.values[pad])
        return lab_d50(pads.reflectance(kind.analyte, self.values[pad], self.strength[pad]))

    def strip_places(self, at: Array) -> Array:
        """Card mm of places on the strip: along from the tip, across from its middle, (n, 2)."""
        x, y, w, h = self.card.slot.rect_mm
        ends = {
            "left": ((x, y + h / 2), (1, 0)), "right": ((x + w, y + h / 2), (-1, 0)),
            "top": ((x + w / 2, y), (0, 1)), "bottom": ((x + w / 2, y + h), (0, -1)),
        }  # fmt: skip
        start, along = (np.array(v, float) for v in ends[self.card.slot.dip_end])
        aside = np.array([-along[1], along[0]])
        half = (self.laid or self.pads).kind.length_mm / 2
        turn = np.radians(self.askew_deg)
        u, v = np.asarray(at, float).T - np.array([[half], [0.0]])
        if self.is_reversed:
            u, v = -u, -v
        u, v = half + np.cos(turn) * u - np.sin(turn) * v, np.sin(turn) * u + np.cos(turn) * v
        return start + np.outer(u + self.tip_mm, along) + np.outer(v + self.across_mm, aside)


def linear(lab: Array, space: str = "sRGB") -> Array:
    """Linear RGB of CIELAB under D50, white 1; not clipped."""
    xyz = colour.Lab_to_XYZ(np.asarray(lab, float), D50_XY)
    return np.asarray(colour.XYZ_to_RGB(xyz, space, D50_XY, "Bradford"))


def drawn(sheet: Sheet, scale: float, space: str = "sRGB") -> tuple[Image, Image]:
    """Linear RGB (h, w, 3) and opacity (h, w) of card and strip, `ASIDE_MM` around the card."""
    size = [round((side + 2 * ASIDE_MM) * scale) for side in sheet.card.size_mm]
    rgb = np.zeros((size[1], size[0], 3), np.float32)
    there = np.zeros((size[1], size[0]), np.float32)

    def fill(corners_mm: Array, lab: Array | tuple[float, ...]) -> None:
        at = np.round(((np.asarray(corners_mm) + ASIDE_MM) * scale - 0.5) * FINE).astype(np.int32)
        value = tuple(linear(np.asarray(lab), space).tolist())
        # Drawn aliased: the warp and the lens smooth it.
        cv2.fillPoly(rgb, [at], value, cv2.LINE_8, 4)
        cv2.fillPoly(there, [at], 1.0, cv2.LINE_8, 4)

    width, height = sheet.card.size_mm
    if sheet.has_card:
        fill(rect((0, 0, width, height)), sheet.paper_lab)
        for patch in sheet.card.patches:
            fill(rect(patch.rect_mm), (sheet.copied or sheet.printed)[patch.id])
        draw_slot(sheet, fill)
        for marker in sheet.card.markers:
            draw_marker(sheet, fill, marker)
    if sheet.has_strip:
        draw_strip(sheet, fill, rgb, scale)
    if sheet.second is not None:
        tip, across, turn = sheet.second
        draw_strip(replace(sheet, tip_mm=tip, across_mm=across, askew_deg=turn), fill, rgb, scale)
    for paint in sheet.over:
        lay_over(rgb, there, paint, scale, space)
    return rgb, there


def lay_over(rgb: Image, there: Image, paint: Paint, scale: float, space: str) -> None:
    """Cover, shine or shade a part of the sheet."""
    mask = np.zeros(there.shape, np.float32)
    at = np.round(((paint.corners_mm + ASIDE_MM) * scale - 0.5) * FINE).astype(np.int32)
    cv2.fillPoly(mask, [at], 1.0, cv2.LINE_8, 4)
    mask = cv2.GaussianBlur(mask, (0, 0), max(paint.soft_mm * scale, 0.3))
    if paint.how == "shine":
        rgb += np.float32(paint.value) * mask[..., None]
    elif paint.how == "shade":
        rgb *= 1 - np.float32(paint.value) * mask[..., None]
    else:
        lab = linear(np.asarray(paint.value), space).astype(np.float32)
        rgb += mask[..., None] * (lab - rgb)
        np.maximum(there, mask, out=there)


def draw_slot(sheet, fill) -> None:
    x, y, w, h = sheet.card.slot.rect_mm
    line = sheet.slot_line_mm
    if line:
        fill(rect((x, y, w, h)), sheet.black_lab)
    inner = rect((x + line, y + line, w - 2 * line, h - 2 * line))
    fill(inner, sheet.slot_lab or sheet.paper_lab)


def draw_marker(sheet, fill, marker) -> None:
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, marker.dictionary))
    cells = book.markerSize + 2
    code = cv2.aruco.generateImageMarker(book, marker.id, cells)
    corners = np.array(marker.corners_mm, float)
    right, down = (corners[1] - corners[0]) / cells, (corners[3] - corners[0]) / cells
    fill(corners, sheet.black_lab)
    for row, column in np.argwhere(code > 127):
        start = corners[0] + column * right + row * down
        fill(np.array([start, start + right, start + right + down, start + down]), sheet.paper_lab)


def draw_strip(sheet, fill, rgb, scale) -> None:
    kind = (sheet.laid or sheet.pads).kind
    body = sheet.strip_places(box(0.0, kind.length_mm, kind.width_mm / 2))
    if sheet.shadow:
        moved = np.round(((body + 0.35 + ASIDE_MM) * scale - 0.5) * FINE).astype(np.int32)
        mask = np.zeros(rgb.shape[:2], np.float32)
        cv2.fillPoly(mask, [moved], 1.0, cv2.LINE_8, 4)
        rgb *= (1 - sheet.shadow * cv2.GaussianBlur(mask, (0, 0), 0.3 * scale))[..., None]
    fill(body, sheet.plastic_lab)
    if sheet.handle_lab:
        start = kind.length_mm - sheet.handle_mm
        fill(sheet.strip_places(box(start, kind.length_mm, kind.width_mm / 2)), sheet.handle_lab)
    for pad in range(len(kind.pads)):
        centre, half = kind.centre_mm(pad + 1), kind.pad_mm / 2
        aside = min(half, kind.width_mm / 2)
        fill(sheet.strip_places(box(centre - half, centre + half, aside)), sheet.lab_of(pad))


def rect(xywh) -> Array:
    """Corners of x, y, width, height."""
    x, y, w, h = xywh
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], float)


def box(start: float, stop: float, half: float) -> Array:
    """Corners of a box on the strip."""
    return np.array([[start, -half], [stop, -half], [stop, half], [start, half]], float)
