"""A photo of a screen: the lines between its dots beat with the camera's own.

Paper has no such order: over many tiles of the card's white the middle power of a frequency is
hardly above that of its neighbours, while a display's pattern stands out tens of times or more.
"""

from __future__ import annotations

import cv2
import numpy as np

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
    window = np.outer(np.hanning(TILE_PX), np.hanning(TILE_PX))
    level = tiles - tiles.mean(axis=(1, 2), keepdims=True)
    power = np.median(np.abs(np.fft.fft2(level * window)) ** 2, axis=0)
    power = np.fft.fftshift(power).astype(np.float32)
    cycles = np.arange(TILE_PX) - TILE_PX // 2
    fast = np.hypot(cycles[:, None], cycles) > LOWEST_CYCLES
    stands_out = power > PEAK * cv2.medianBlur(power, 5)
    is_seen = np.sqrt(power) > LEAST_CODE * window.sum()
    return bool(np.any(stands_out & is_seen & fast))


def _tiles(flat: Flat, card: Card) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Return tiles (n, TILE_PX, TILE_PX) of luma that hold nothing but white."""
    free = free_of_ink(card, flat.rgb.shape[:2], flat.px_per_mm) & flat.inside
    counts = cv2.integral(free.astype(np.uint8))
    steps = [range(0, side - TILE_PX, TILE_PX // 2) for side in free.shape]
    places = [
        (y, x)
        for y in steps[0]
        for x in steps[1]
        if counts[y + TILE_PX, x + TILE_PX] - counts[y, x + TILE_PX]
        - counts[y + TILE_PX, x] + counts[y, x] == TILE_PX**2
    ]  # fmt: skip
    chosen = places[:: max(1, -(-len(places) // MOST_TILES))]
    luma = np.array([0.299, 0.587, 0.114], np.float32)
    cut = [flat.rgb[y : y + TILE_PX, x : x + TILE_PX] @ luma for y, x in chosen]
    return np.array(cut, np.float64).reshape(-1, TILE_PX, TILE_PX)
