"""A plain picture of a card with a strip, drawn straight: something to read before a photo comes.

It is no photo and tells nothing of how well photos are read.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card, Lab, Marker, Rect
from reader.lab import srgb_from_lab
from reader.pad_match import PadPlace

PX_PER_MM = 12
MARGIN_MM = 15
STRIP_WIDTH_MM = 5.0
STRIP_LENGTH_MM = 80.0
WHITE: Lab = (95.0, 0.0, 0.0)
TABLE_TOP: Lab = (60.0, 2.0, 8.0)
SLOT_GROUND: Lab = (45.0, -2.0, -8.0)

Picture = NDArray[np.uint8]


def draw_practice(card: Card, pads: Sequence[tuple[PadPlace, Lab]]) -> bytes:
    """Return a JPEG of the card with a strip of these pads, seen from straight above."""
    width, height = (round((side + 2 * MARGIN_MM) * PX_PER_MM) for side in card.size_mm)
    picture = np.full((height, width, 3), _code(TABLE_TOP), np.uint8)
    _fill(picture, (0.0, 0.0, *card.size_mm), WHITE)
    for patch in card.patches:
        _fill(picture, patch.rect_mm, patch.lab)
    for marker in card.markers:
        _mark(picture, marker)
    _fill(picture, card.slot.rect_mm, card.slot.ground_lab or SLOT_GROUND)
    _fill(picture, _on_strip(card, 0.0, STRIP_LENGTH_MM), WHITE)
    for place, lab in pads:
        half = 0.5 * place.size_mm
        _fill(picture, _on_strip(card, place.centre_mm - half, place.centre_mm + half), lab)
    _, data = cv2.imencode(".jpg", cv2.GaussianBlur(picture, (0, 0), 1.0)[:, :, ::-1])
    return data.tobytes()


def _on_strip(card: Card, start: float, end: float) -> Rect:
    """Return the rectangle from start to end along the strip, from its dipped tip [mm]."""
    x, y, width, height = card.slot.rect_mm
    across = 0.5 * ((height if width > height else width) - STRIP_WIDTH_MM)
    if card.slot.dip_end in ("left", "right"):
        left = x + start if card.slot.dip_end == "left" else x + width - end
        return left, y + across, end - start, STRIP_WIDTH_MM
    top = y + start if card.slot.dip_end == "top" else y + height - end
    return x + across, top, STRIP_WIDTH_MM, end - start


def _code(lab: Lab) -> NDArray[np.float64]:
    return np.round(255.0 * np.clip(srgb_from_lab(np.array(lab)), 0.0, 1.0))


def _fill(picture: Picture, rect_mm: Rect, lab: Lab) -> None:
    x, y, width, height = rect_mm
    left, right = (round((MARGIN_MM + at) * PX_PER_MM) for at in (x, x + width))
    top, bottom = (round((MARGIN_MM + at) * PX_PER_MM) for at in (y, y + height))
    picture[top:bottom, left:right] = _code(lab)


def _mark(picture: Picture, marker: Marker) -> None:
    (x, y), _, (right, _), _ = marker.corners_mm
    side = round((right - x) * PX_PER_MM)
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, marker.dictionary))
    code = cv2.aruco.generateImageMarker(dictionary, marker.id, side)
    left, top = (round((MARGIN_MM + at) * PX_PER_MM) for at in (x, y))
    picture[top : top + side, left : left + side] = np.asarray(code)[:, :, None]
