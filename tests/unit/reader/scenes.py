"""Simple pictures of the card for tests of geometry: flat colours, no optics but what is asked."""

from __future__ import annotations

import io
from dataclasses import dataclass, field

import cv2
import numpy as np
from PIL import Image

from reader.card import Card, standard_card

FINE = 20.0
"""Pixels a millimetre of the drawing that is warped into the picture."""


def srgb(lab):
    """CIELAB (D50) to sRGB codes 0 to 255, roughly: colours need not be right here."""
    fy = (lab[0] + 16) / 116
    f = np.array([fy + lab[1] / 500, fy, fy - lab[2] / 200])
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * [0.9642, 1.0, 0.8249]
    to_rgb = np.array([[3.134, -1.617, -0.491], [-0.979, 1.916, 0.033], [0.072, -0.229, 1.405]])
    linear = np.clip(to_rgb @ xyz, 0, 1)
    return 255 * np.where(linear > 0.0031, 1.055 * linear ** (1 / 2.4) - 0.055, 12.92 * linear)


def fill(picture, rect, colour):
    x, y, w, h = (round(v * FINE) for v in rect)
    picture[y : y + h, x : x + w] = colour


def draw_card(card: Card | None = None, ground=(96, 104, 118)) -> np.ndarray:
    """The bare layout, FINE pixels a millimetre."""
    card = card or standard_card()
    size = [round(v * FINE) for v in card.size_mm]
    picture = np.full((size[1], size[0], 3), 243, np.uint8)
    for patch in card.patches:
        fill(picture, patch.rect_mm, srgb(patch.lab))
    fill(picture, card.slot.rect_mm, ground)
    for marker in card.markers:
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, marker.dictionary))
        (x, y), _, (right, _), _ = marker.corners_mm
        side = round((right - x) * FINE)
        code = cv2.aruco.generateImageMarker(dictionary, marker.id, side)
        code = np.where(code > 127, 243, 25).astype(np.uint8)
        row, column = round(y * FINE), round(x * FINE)
        picture[row : row + side, column : column + side] = code[..., None]
    return picture


@dataclass
class Strip:
    """A strip to lay on the card; places along it from the dipped tip."""

    centres: tuple[float, ...] = (4.0, 14.0, 24.0, 34.0, 44.0, 54.0)
    side: float = 5.0
    width: float = 5.0
    length: float = 82.0
    colours: tuple[tuple[int, int, int], ...] = (
        (222, 190, 205), (190, 140, 170), (224, 150, 90), (120, 160, 120), (130, 80, 140),
        (230, 180, 130),
    )  # fmt: skip
    white: tuple[int, int, int] = (236, 236, 231)
    along: float = 0.0
    across: float = 0.0
    turn_deg: float = 0.0
    reversed: bool = False
    covers: list = field(default_factory=list)


def strip_to_card(card: Card, strip: Strip) -> np.ndarray:
    """The rigid motion (2, 3) from strip places (along from the tip, across from the middle)."""
    x, y, w, h = card.slot.rect_mm
    middle = np.array([x + w / 2, y + h / 2])
    direction = {"left": (1, 0), "right": (-1, 0), "top": (0, 1), "bottom": (0, -1)}
    u = np.array(direction[card.slot.dip_end], float)
    length = w if u[0] else h
    c, s = np.cos(np.radians(strip.turn_deg)), np.sin(np.radians(strip.turn_deg))
    turned = np.array([[c, -s], [s, c]]) @ u
    normal = np.array([-turned[1], turned[0]])
    sign = -1 if strip.reversed else 1
    tip = middle + u * strip.along + np.array([-u[1], u[0]]) * strip.across
    tip = tip - sign * turned * min(strip.length, length) / 2
    return np.column_stack([sign * turned, sign * normal, tip])


def lay_strip(picture: np.ndarray, strip: Strip, card: Card | None = None) -> np.ndarray:
    """The drawing with a strip on it."""
    move = strip_to_card(card or standard_card(), strip)

    def quad(left, right, half, colour):
        corners = np.array([[left, -half], [right, -half], [right, half], [left, half]])
        at_mm = corners @ move[:, :2].T + move[:, 2]
        cv2.fillConvexPoly(
            picture, np.round(at_mm * FINE * 256).astype(np.int32), colour, cv2.LINE_AA, 8
        )

    quad(0.0, strip.length, strip.width / 2, strip.white)
    for centre, colour in zip(strip.centres, strip.colours, strict=False):
        quad(
            centre - strip.side / 2,
            centre + strip.side / 2,
            min(strip.side, strip.width) / 2,
            colour,
        )
    for left, right, colour in strip.covers:
        quad(left, right, 9.0, colour)
    return picture


def pose(
    size_px, card: Card, share=0.7, tilt_deg=10.0, around_deg=30.0, turn_deg=4.0, shift=(0, 0)
):
    """The homography from millimetres to pixels of a camera that looks down at the card."""
    width, height = size_px
    focal = 0.75 * max(size_px)
    t, a, r = np.radians([tilt_deg, around_deg, turn_deg])
    axis = np.array([np.cos(a), np.sin(a), 0.0])
    tilt, _ = cv2.Rodrigues(axis * t)
    turn, _ = cv2.Rodrigues(np.array([0, 0, r]))
    rotation = tilt @ turn
    distance = focal * card.size_mm[0] / (share * width)
    centre = np.array([*card.size_mm, 0.0]) / 2
    place = np.array([shift[0], shift[1], distance]) - rotation @ centre
    camera = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    matrix = camera @ np.column_stack([rotation[:, :2], place])
    return matrix / matrix[2, 2]


def bowed(matrix, at_mm, size_px, bow):
    """Photo places of card places through a lens with this bow."""
    points = np.asarray(at_mm, float) @ matrix[:, :2].T + matrix[:, 2]
    points = points[:, :2] / points[:, 2:]
    middle = (np.array(size_px) - 1) / 2
    away = points - middle
    return middle + away * (
        1 + bow * np.sum(away**2, 1, keepdims=True) / (np.hypot(*size_px) / 2) ** 2
    )


def take(
    drawing, matrix, size_px, bow=0.0, blur=0.8, noise=2.0, gain=1.0, seed=1, around=(120, 110, 95)
):
    """The picture a camera takes of the drawing, RGB uint8."""
    over = 2 if max(size_px) < 2500 else 1
    big = (size_px[0] * over, size_px[1] * over)
    scale = np.array([[1 / FINE, 0, 0.5 / FINE], [0, 1 / FINE, 0.5 / FINE], [0, 0, 1]])
    up = np.array([[over, 0, (over - 1) / 2], [0, over, (over - 1) / 2], [0, 0, 1]])
    flags = cv2.INTER_AREA
    seen = cv2.warpPerspective(drawing, up @ matrix @ scale, big, flags=flags, borderValue=around)
    if bow:
        seen = _bow(seen, bow)
    seen = cv2.resize(seen, size_px, interpolation=cv2.INTER_AREA)
    if blur:
        seen = cv2.GaussianBlur(seen, (0, 0), blur)
    grain = np.random.default_rng(seed).normal(0, noise, seen.shape) if noise else 0.0
    return np.clip(seen * gain + grain, 0, 255).astype(np.uint8)


def _bow(picture, bow):
    height, width = picture.shape[:2]
    middle, reach = np.array([(width - 1) / 2, (height - 1) / 2]), np.hypot(width, height) / 2
    y, x = np.mgrid[:height, :width].astype(np.float32)
    away = np.dstack([x, y]) - middle
    ideal = away.copy()
    for _ in range(8):
        ideal = away / (1 + bow * np.sum(ideal**2, 2, keepdims=True) / reach**2)
    return cv2.remap(picture, (ideal + middle).astype(np.float32), None, cv2.INTER_LINEAR)


def jpeg(picture, quality=92):
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG", quality=quality)
    return out.getvalue()


def png(picture):
    return cv2.imencode(".png", picture[:, :, ::-1])[1].tobytes()
