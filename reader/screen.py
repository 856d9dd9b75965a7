"""A photo of a screen: the lines between its dots beat with the camera's own.

Paper has no such order: over many tiles of the card's white the middle power of a frequency is
hardly above that of its neighbours, while a display's pattern stands out tens of times or more.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.flatten import Flat
from reader.light import free_of_ink

TILE_PX, MOST_TILES, FEWEST_TILES = 48, 30, 4
"""Tiles of white, at most as many as need a few milliseconds."""

LOWEST_CYCLES = 5.0
"""Slower changes over a tile are the light's."""

PEAK, LEAST_CODE = 6.0, 5e-4
"""A frequency this many times stronger than its neighbours (paper: 1.3 to 5, screens: 12 to 400)
and of at least this amplitude in code (paper: up to 0.0004, screens: 0.001 to 0.009)."""


def looks_like_screen(flat: Flat, card: Card) -> bool:
    """Say whether the card's white carries the pattern of a display."""
    tiles = _tiles(flat, card)
    if len(tiles) < FEWEST_TILES:
        return False
    window = np.outer(np.hanning(TILE_PX), np.hanning(TILE_PX)).astype(np.float32)
    level = tiles - tiles.mean(axis=(1, 2), keepdims=True)
    found = np.fft.rfft2(level * window)
    power = _whole(np.median(found.real**2 + found.imag**2, axis=0).astype(np.float32))
    cycles = np.arange(TILE_PX) - TILE_PX // 2
    fast = np.hypot(cycles[:, None], cycles) > LOWEST_CYCLES
    stands_out = power > PEAK * cv2.medianBlur(power, 5)
    is_seen = np.sqrt(power) > LEAST_CODE * window.sum()
    return bool(np.any(stands_out & is_seen & fast))


def _whole(half: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the power of all frequencies, zero in the middle, from those of half of them."""
    rest = half[:, 1 : TILE_PX // 2][:, ::-1]
    mirrored = np.roll(rest[::-1], 1, axis=0)
    return np.ascontiguousarray(np.fft.fftshift(np.hstack([half, mirrored])), np.float32)


def _tiles(flat: Flat, card: Card) -> NDArray[np.float32]:
    """Return tiles (n, TILE_PX, TILE_PX) of luma that hold nothing but white."""
    free = free_of_ink(card, flat.rgb.shape[:2], flat.px_per_mm) & flat.inside
    counts = cv2.integral(free.view(np.uint8))
    height, width = (max(side - TILE_PX, 0) for side in free.shape)
    half = TILE_PX // 2

    def corners(down: int, right: int) -> NDArray[np.int32]:
        return np.asarray(counts[down:, right:][:height:half, :width:half], np.int32)

    whole = corners(TILE_PX, TILE_PX) - corners(0, TILE_PX) - corners(TILE_PX, 0) + corners(0, 0)
    places = np.argwhere(whole == TILE_PX**2) * half
    chosen = places[:: max(1, -(-len(places) // MOST_TILES))]
    luma = np.array([0.299, 0.587, 0.114], np.float32)
    cut = [flat.rgb[y : y + TILE_PX, x : x + TILE_PX] @ luma for y, x in chosen]
    return np.array(cut, np.float32).reshape(-1, TILE_PX, TILE_PX)
