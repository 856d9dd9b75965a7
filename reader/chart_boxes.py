"""Colours of boxes anywhere in a photo that also shows the card: the chart printed on a bottle."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.card_check import check_card
from reader.colour_fit import fit_colour
from reader.find_card import CardSeen, find_card, why_no_card
from reader.flatten import flatten
from reader.light import light_field
from reader.photo import Photo, open_photo

Array = NDArray[np.float64]

MIDDLE = 0.5
"""Share of a box's sides that is read; its edge is white paper, print and a shaky thumb."""

SIDE = 24
"""Pixels along a side of the box as cut out."""

SMALL_PX = 12.0
"""A box with a shorter side in the photo has no middle to read."""

UNEVEN = 0.06
"""Scatter of code values within the middle above this: an edge or glare lies in the box."""

CUT_CODE = 0.985
"""Code values above this are cut off by the camera."""


@dataclass(frozen=True, eq=False)
class BoxColour:
    """One box: its colour, or why it has none."""

    lab: Array | None
    """CIELAB, D50 / 2 degree, shape (3,)."""
    cov: Array | None
    """Covariance [Lab units squared], shape (3, 3)."""
    reasons: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class BoxesSeen:
    """What was seen of the boxes in one photo."""

    card_found: bool
    boxes: tuple[BoxColour, ...]
    reasons: tuple[str, ...]
    """Codes of `reader.reasons` that hold for the whole photo."""


def read_boxes(data: bytes, card: Card, corners: Array) -> BoxesSeen:
    """Return the colours of boxes beside the card.

    Parameters
    ----------
    data
        The photo file's bytes.
    card
        The card in the photo.
    corners
        Corners of the boxes, clockwise from top left, as shares of the upright photo's width and
        height, shape (n, 4, 2).

    Raises
    ------
    PhotoError
        If the bytes are no image that can be read.
    """
    photo = open_photo(data)
    seen = find_card(photo, card)
    if seen is None:
        return BoxesSeen(False, (), why_no_card(photo, card))
    flat = flatten(photo, seen)
    light = light_field(flat, card)
    fit = fit_colour(flat, light, card)
    quads = np.asarray(corners, np.float64) * np.array(photo.size)
    cut = [box_code(photo, quad) for quad in quads]
    lab, cov = fit.read(np.array([code for code, _ in cut]), _beside(seen, quads))
    boxes = tuple(
        BoxColour(None, None, reasons) if reasons else BoxColour(own, spread, ())
        for (_, reasons), own, spread in zip(cut, lab, cov, strict=True)
    )
    check = check_card(fit, light, card)
    return BoxesSeen(True, boxes, (*photo.reasons, *seen.reasons, *light.reasons, *check.reasons))


def _beside(seen: CardSeen, quads: Array) -> Array:
    """Return the card's places (n, 2) nearest the boxes: the light there is the light we know."""
    at_mm = seen.plane.to_card(quads.mean(axis=1))
    return np.clip(at_mm, 0.0, np.array(seen.size_mm))


def box_code(photo: Photo, quad_px: Array) -> tuple[Array, tuple[str, ...]]:
    """Return the code (3,) of a box's middle, and what spoils it."""
    sides = np.linalg.norm(np.roll(quad_px, -1, axis=0) - quad_px, axis=1)
    inside = np.all((quad_px >= 0) & (quad_px < np.array(photo.size)))
    if not inside or sides.min() < SMALL_PX:
        return np.full(3, 0.5), ("too_small" if inside else "card_cut_off",)
    middle = quad_px.mean(axis=0) + MIDDLE * (quad_px - quad_px.mean(axis=0))
    there = (middle + 0.5) / photo.base - 0.5
    square = np.array([[0, 0], [SIDE - 1, 0], [SIDE - 1, SIDE - 1], [0, SIDE - 1]], np.float32)
    matrix = cv2.getPerspectiveTransform(there.astype(np.float32), square)
    cut = cv2.warpPerspective(np.ascontiguousarray(photo.pixels()), matrix, (SIDE, SIDE))
    code = photo.codes(cut).reshape(-1, 3).astype(np.float64)
    usual = np.median(code, axis=0)
    kept = code[np.abs(code - usual).max(axis=1) <= UNEVEN]
    if usual.max() >= CUT_CODE:
        return usual, ("clipped",)
    if len(kept) < 0.75 * len(code):
        return usual, ("uneven_pad",)
    return kept.mean(axis=0), ()
