"""The slot and its surroundings, straightened along the slot and freed of the light's slope.

Places in the view: `u` runs along the slot in millimetres from its dip end, `v` across it from its
middle line, a quarter turn clockwise from `u` as the card is seen. Values are code values as a
share of the white paper's at that place, so that paper is about 1 in every channel.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.flatten import Flat
from reader.median import median

Array = NDArray[np.float64]
Picture = NDArray[np.float32]

STEP_MM = 0.2
"""Pitch of the view's samples."""
AHEAD_MM = 8.0
"""How far the view reaches beyond the slot's ends."""
ASIDE_MM = 9.5
"""How far the view reaches from the middle line to both sides."""
DIRECTIONS = {"left": (1.0, 0.0), "right": (-1.0, 0.0), "top": (0.0, 1.0), "bottom": (0.0, -1.0)}
"""From the dip end along the slot, on the card."""
NEUTRAL = 0.10
"""White dimmed by a shadow keeps its hue: the spread of its channels' logarithms stays below."""


@dataclass(frozen=True, eq=False)
class SlotView:
    """The straightened slot."""

    rgb: Picture
    """Share of white, shape (across, along, 3); NaN outside the photo."""
    u_mm: Array
    v_mm: Array
    length_mm: float
    half_mm: float
    """Half the slot's width."""
    margin_mm: float
    """Width of the white beside the slot."""
    white: Picture
    """Share of the smooth white seen on the two margins, shape (2, along, 3)."""
    near: Picture
    """The same right beside the slot, the mean over a millimetre."""
    white_code: float
    """Code value of the white, mean of the channels; low in dark photos."""
    origin_mm: Array
    along: Array
    across: Array

    def to_card(self, uv: Array) -> Array:
        """Return card places (..., 2) of view places (..., 2)."""
        return self.origin_mm + uv[..., :1] * self.along + uv[..., 1:] * self.across

    def sample(self, u: Array, v: Array) -> Picture:
        """Return values (..., 3) at view places of the same shape."""
        x = ((u - self.u_mm[0]) / STEP_MM).astype(np.float32)
        y = ((v - self.v_mm[0]) / STEP_MM).astype(np.float32)
        fill = (float("nan"),) * 3
        found = cv2.remap(self.rgb, x, y, cv2.INTER_LINEAR, borderValue=fill)
        return np.asarray(found, np.float32)


def slot_view(flat: Flat, card: Card) -> SlotView:
    """Return the slot's surroundings, straightened and divided by the white beside the slot."""
    x, y, width, height = card.slot.rect_mm
    along = np.array(DIRECTIONS[card.slot.dip_end])
    across = np.array([-along[1], along[0]])
    length, breadth = (width, height) if along[0] else (height, width)
    origin = np.array([x + width / 2, y + height / 2]) - along * length / 2
    u = np.arange(-AHEAD_MM, length + AHEAD_MM, STEP_MM)
    v = np.arange(-ASIDE_MM, ASIDE_MM + STEP_MM / 2, STEP_MM)
    rgb = _cut(flat, origin, along, across, u, v)
    margin = _margin_mm(card, origin, along, across, length, breadth / 2)
    smooth, white, near = _white(rgb, v, breadth / 2, margin)
    share = (rgb / np.maximum(smooth, 0.02)).astype(np.float32)
    level = float(np.nanmedian(smooth))
    return SlotView(
        share, u, v, length, breadth / 2, margin, white, near, level, origin, along, across
    )  # fmt: skip


def _cut(flat: Flat, origin: Array, along: Array, across: Array, u: Array, v: Array) -> Picture:
    start = flat.to_px(origin + u[0] * along + v[0] * across)
    step = STEP_MM * flat.px_per_mm
    matrix = np.column_stack([along * step, across * step, start])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    # Only the part of the card around the view is worked on, for the blur below.
    ends = start + np.array([[0, 0], [len(u), 0], [0, len(v)], [len(u), len(v)]]) @ matrix[:, :2].T
    low = np.clip(np.floor(ends.min(axis=0)).astype(int) - 4, 0, None)
    high = np.maximum(np.ceil(ends.max(axis=0)).astype(int) + 5, 1)
    source = flat.rgb[low[1] : high[1], low[0] : high[0]]
    matrix[:, 2] -= low
    if step >= 1.5:
        # Where several pixels fall on one sample, their mean is taken first.
        source = np.asarray(cv2.blur(source, (round(step), round(step))), np.float32)
    return np.asarray(
        cv2.warpAffine(
            source, matrix, (len(u), len(v)), flags=flags, borderValue=(float("nan"),) * 3
        ),
        np.float32,
    )


def _margin_mm(
    card: Card, origin: Array, along: Array, across: Array, length: float, half: float
) -> float:
    """Return how much white lies between the slot's long sides and the next patch."""
    rects = np.array([patch.rect_mm for patch in card.patches]).reshape(-1, 4)
    ends = np.stack([rects[:, :2], rects[:, :2] + rects[:, 2:]], axis=1) - origin
    u, v = np.sort(ends @ along, axis=1), np.sort(ends @ across, axis=1)
    beside = (u[:, 1] > 0) & (u[:, 0] < length)
    gaps = np.maximum(v[:, 0], -v[:, 1])[beside] - half
    return max(float(gaps.min(initial=ASIDE_MM - half)), 1.0)


def _white(rgb: Picture, v: Array, half: float, margin: float) -> tuple[Picture, Picture, Picture]:
    """Return the white at every place, and what the margins show as a share of the smooth white.

    The white is smooth along the slot; a shadow that dims all channels alike is followed.
    """
    sides, shares, near = [], [], []
    for sign in (-1, 1):
        band = (sign * v > half + 0.6) & (sign * v < half + max(margin - 0.6, 1.0))
        seen = _upper(rgb[band][::2])
        smooth = _smooth(seen)
        ratio = np.log(np.maximum(seen / smooth, 1e-3))
        dims = np.ptp(ratio, axis=1) < NEUTRAL
        dims &= (ratio.mean(axis=1) > np.log(0.35)) & np.isfinite(ratio).all(axis=1)
        shade = np.where(dims, np.exp(ratio.mean(axis=1)), 1.0)
        sides.append(smooth * _calm(shade)[:, None])
        shares.append(seen / smooth)
        beside = (sign * v > half + 0.5) & (sign * v < half + 1.5)
        near.append(rgb[beside].mean(axis=0) / smooth)
    share = np.clip((v + half) / (2 * half), 0, 1)[:, None, None]
    white = sides[0] * (1 - share) + sides[1] * share
    return (
        white.astype(np.float32),
        np.stack(shares).astype(np.float32),
        np.stack(near).astype(np.float32),
    )


def _upper(band: Picture) -> Array:
    """Return the upper quartile across a band, shape (along, 3)."""
    place = int(0.7 * (len(band) - 1))
    return np.asarray(np.partition(band, place, axis=0)[place], np.float64)


def _calm(values: Array, width: int = 9) -> Array:
    """Return a running median along the slot."""
    half = width // 2
    padded = np.pad(values, half, mode="edge")
    return median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)


def _smooth(seen: Array) -> Array:
    """Return a parabola along the slot through the logs, robust to what is not paper."""
    x = np.linspace(-1, 1, len(seen))
    powers = np.stack([np.ones_like(x), x, x**2], axis=1)
    log = np.log(np.maximum(seen, 1e-3))
    good = np.isfinite(log).all(axis=1)
    if good.sum() < 10:
        return np.ones_like(seen)
    log[~good] = 0.0
    bright = log.mean(axis=1)
    weight = good * (bright > np.median(bright[good]) - 0.25)
    for _ in range(6):
        square = powers.T @ (powers * weight[:, None]) + 1e-6 * np.eye(3)
        curve = powers @ np.linalg.solve(square, powers.T @ (log * weight[:, None]))
        off = np.abs(log - curve).max(axis=1)
        weight = good / (1 + (off / 0.04) ** 2) ** 2
    return np.asarray(np.exp(np.clip(curve, np.log(0.02), np.log(2.0))))
