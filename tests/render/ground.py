"""What the card lies on: wood, stone, towel, plastic, lawn, tiles, chequered cloth.

A ground is two colours and a field between them that repeats, painted at a few pixels a millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.render.spectra import WAVES_NM, Array, bell, step

KINDS = ("wood", "stone", "towel", "plastic", "lawn", "tiles", "cloth")
SCALE = 2.5
"""Pixels a millimetre of the field."""
SIDE = 1024


@dataclass(frozen=True, eq=False)
class Ground:
    """Two reflectances and the field between them, 0 to 1, that repeats at its edges."""

    kind: str
    dark: Array
    bright: Array
    field: NDArray[np.float32]


def clouds(rng: np.random.Generator, sigma_x: float, sigma_y: float) -> NDArray[np.float32]:
    """Noise of a grain size, repeating at the edges, sd 1."""
    noise = rng.standard_normal((SIDE, SIDE), dtype=np.float32)
    wave = np.fft.rfft2(noise)
    fy = np.fft.fftfreq(SIDE)[:, None]
    fx = np.fft.rfftfreq(SIDE)[None, :]
    wave *= np.exp(-2 * np.pi**2 * ((sigma_x * fx) ** 2 + (sigma_y * fy) ** 2))
    smooth = np.fft.irfft2(wave, s=(SIDE, SIDE)).astype(np.float32)
    return smooth / float(smooth.std())


def squash(noise: NDArray[np.float32], gain: float) -> NDArray[np.float32]:
    """From noise to 0..1."""
    return (1.0 / (1.0 + np.exp(-gain * noise))).astype(np.float32)


def wood(rng: np.random.Generator) -> NDArray[np.float32]:
    """Grain along x, and gaps between boards."""
    grain = 0.6 * clouds(rng, 80, 1.2) + 0.5 * clouds(rng, 160, 6) + 0.12 * clouds(rng, 2, 0.6)
    field = squash(grain, 1.1)
    board = SIDE // int(rng.integers(3, 6))
    gap = (np.arange(SIDE) % board) < 5
    field[gap] *= 0.15
    return field


def stone(rng: np.random.Generator) -> NDArray[np.float32]:
    """Speckles of several sizes."""
    return squash(
        0.5 * clouds(rng, 40, 40) + 0.5 * clouds(rng, 6, 6) + 0.5 * clouds(rng, 1.0, 1.0), 1.0
    )


def towel(rng: np.random.Generator) -> NDArray[np.float32]:
    """Loops in rows, and a stripe here and there."""
    x = np.arange(SIDE)
    loops = np.sin(2 * np.pi * x / 8)[None, :] * np.sin(2 * np.pi * x / 8)[:, None]
    field = squash(0.9 * loops.astype(np.float32) + 0.7 * clouds(rng, 1.5, 1.5), 1.0)
    stripe = (x % 512) < int(rng.integers(30, 120))
    field[:, stripe] *= rng.uniform(0.2, 0.8)
    return field


def plastic(rng: np.random.Generator) -> NDArray[np.float32]:
    """Nearly even, a little worn."""
    return squash(0.3 * clouds(rng, 120, 120) + 0.12 * clouds(rng, 1.0, 1.0), 1.0)


def lawn(rng: np.random.Generator) -> NDArray[np.float32]:
    """Blades in many directions."""
    field = np.zeros((SIDE, SIDE), dtype=np.float32)
    for _ in range(7000):
        x, y = rng.integers(0, SIDE, 2)
        angle, long = rng.uniform(0, np.pi), rng.uniform(12, 45)
        to = (int(x + long * np.cos(angle)), int(y + long * np.sin(angle)))
        cv2.line(field, (int(x), int(y)), to, float(rng.random()), 2, cv2.LINE_AA)
    return cv2.GaussianBlur(field, (0, 0), 0.8)


def tiles(rng: np.random.Generator) -> NDArray[np.float32]:
    """Squares with joints: edges that look like markers' edges."""
    side = SIDE // int(rng.integers(4, 40))
    x = np.arange(SIDE)
    joint = ((x % side) < 5)[None, :] | ((x % side) < 5)[:, None]
    field = np.clip(0.8 + 0.05 * clouds(rng, 60, 60), 0, 1)
    return np.where(joint, 0.1, field).astype(np.float32)


def cloth(rng: np.random.Generator) -> NDArray[np.float32]:
    """A chequered table cloth: dark squares of a marker's size."""
    side = SIDE // (2 * int(rng.integers(6, 20)))
    x = (np.arange(SIDE) // side) % 2
    both = (x[None, :] + x[:, None]) / 2.0
    return np.clip(both + 0.06 * clouds(rng, 1, 1), 0, 1).astype(np.float32)


PAINT = {
    "wood": wood, "stone": stone, "towel": towel, "plastic": plastic,
    "lawn": lawn, "tiles": tiles, "cloth": cloth,
}  # fmt: skip


def colours(kind: str, rng: np.random.Generator) -> tuple[Array, Array]:
    """Reflectances of the dark and the bright colour."""
    red_end = step(rng.uniform(540, 600), rng.uniform(30, 60))
    if kind == "wood":
        deep = rng.uniform(0.04, 0.15)
        return deep + 0.10 * red_end, 2.2 * deep + 0.35 * red_end
    if kind == "stone":
        grey = rng.uniform(0.08, 0.3)
        return grey * (0.9 + 0.1 * red_end), grey * 1.8 * (0.95 + 0.1 * red_end)
    if kind == "lawn":
        leaf = 0.05 + 0.16 * bell(552, 30) + 0.35 * step(700, 10)
        return 0.3 * leaf, leaf * rng.uniform(0.9, 1.5)
    if kind == "tiles":
        return np.full(WAVES_NM.shape, 0.25), rng.uniform(0.4, 0.85) * (0.95 + 0.05 * red_end)
    hue = bell(rng.uniform(440, 640), 45) * rng.uniform(0.1, 0.5)
    base = rng.uniform(0.04, 0.5)
    if kind == "cloth":
        return 0.05 + 0.4 * red_end, np.full(WAVES_NM.shape, 0.75)
    return 0.6 * (base + hue), np.clip(1.1 * base + 1.2 * hue, 0, 0.9)


def draw(rng: np.random.Generator, kind: str | None = None) -> Ground:
    """Draw a ground."""
    name = kind or KINDS[int(rng.integers(len(KINDS)))]
    dark, bright = colours(name, rng)
    return Ground(name, dark, bright, PAINT[name](rng))
