"""What a phone does to sensor values: from linear raw to display-encoded code values.

White balance with an error, the maker's matrix, exposure, local tone mapping, a tone curve,
saturation and hue warps, sharpening. `develop` takes whole pictures, `develop_points` patches.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.render.camera import Camera
from tests.render.spectra import Array

Image = NDArray[np.float32]

LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
TABLE = 65536
"""Entries of the tone curve's table."""
BRIGHTEST = 4.0
"""Linear value at the table's end."""
TILE = 768
"""Side of the noise that is repeated [px]."""
BAND = 64
"""Rows worked on at once; divides TILE."""


@dataclass(frozen=True)
class Look:
    """One phone's processing of one photo."""

    level: float = 0.75
    """Linear value of the paper's white after exposure, where the light is strongest."""
    balance_error: tuple[float, float, float] = (1.0, 1.0, 1.0)
    warmth_left: float = 0.0
    """Share of the lamp's cast that stays in the picture."""
    veil: float = 0.005
    """Stray light in the lens, as a share of white."""
    gamma: float = 1.0
    contrast: float = 0.1
    shoulder: float = 0.2
    toe: float = 0.0
    bump: tuple[float, float] = (0.0, 0.5)
    saturation: float = 1.08
    chroma_roll: float = 0.1
    hue_warp: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    filmic: float = 0.0
    """Share of the other family's tone curve."""
    tone_mapping: float = 0.0
    """Exponent by which the surroundings' brightness is evened out."""
    sharpen: float = 0.5
    noise: float = 0.004
    """Noise of the sensor at white, relative."""
    quality: int = 90
    space: str = "sRGB"


def draw_look(rng: np.random.Generator, careless: bool, other: bool) -> Look:
    """Draw the processing of one photo."""
    rough = 1.0 if careless else 0.0
    look = Look(
        level=float(rng.uniform(0.42, 0.97) if careless else rng.uniform(0.55, 0.9)),
        balance_error=tuple(np.exp(rng.normal(0, 0.04, 3) * [1, 0, 1]).tolist()),
        veil=float(rng.uniform(0.002, 0.012 + 0.018 * rough)),
        gamma=float(np.exp(rng.normal(0, 0.05))),
        contrast=float(rng.uniform(-0.05, 0.18 + 0.1 * rough)),
        shoulder=float(rng.uniform(0.0, 0.35)),
        toe=float(rng.uniform(0.0, 0.02)),
        bump=(float(rng.normal(0, 0.008)), float(rng.uniform(0.25, 0.75))),
        saturation=float(rng.uniform(1.0, 1.2)),
        chroma_roll=float(rng.uniform(0.0, 0.3)),
        hue_warp=tuple(rng.normal(0, 0.05, 4).tolist()),
        tone_mapping=float(rng.uniform(0, 0.06 + 0.19 * rough)),
        sharpen=float(rng.uniform(0.2, 1.0)),
        noise=float(rng.uniform(0.002, 0.008 + 0.012 * rough)),
        quality=int(rng.integers(75 if careless else 84, 96)),
        space="Display P3" if rng.random() < 0.3 else "sRGB",
    )
    if other:
        warp = tuple(rng.normal(0, 0.08, 4).tolist())
        return replace(look, filmic=float(rng.uniform(0.5, 1.0)), contrast=0.0, hue_warp=warp)
    return look


def encoded(linear: Array) -> Array:
    """The sRGB transfer curve (IEC 61966-2-1), without clipping above 1."""
    high = 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, high)


def tone_curve(look: Look, linear: Array) -> Array:
    """From exposed linear values to code values, 0 to 1."""
    x = np.maximum(linear, 0.0) ** look.gamma
    knee = look.shoulder
    x = np.where(x > 0.6, 0.6 + (x - 0.6) / (1.0 + knee * np.maximum(x - 0.6, 0.0) / 0.4), x)
    t = np.minimum(encoded(x) * (1.0 - look.toe) + look.toe * (1.0 - np.exp(-8.0 * x)), 1.0)
    t = t - look.contrast * np.sin(2 * np.pi * t) / (2 * np.pi)
    height, place = look.bump
    t = t + height * np.exp(-0.5 * ((t - place) / 0.12) ** 2)
    if look.filmic:
        film = x * (2.51 * x + 0.03) / (x * (2.43 * x + 0.59) + 0.14)
        white = (2.51 + 0.03) / (2.43 + 0.59 + 0.14)
        t = (1 - look.filmic) * t + look.filmic * encoded(
            np.minimum(0.8 * film / white, 1.0)
        ) ** 0.9
    return np.clip(t, 0.0, 1.0)


def curve_table(look: Look) -> NDArray[np.float32]:
    """The tone curve over linear values from 0 to BRIGHTEST."""
    fine = np.linspace(0.0, 1.0, 4096) ** 2 * BRIGHTEST
    at = np.linspace(0.0, BRIGHTEST, TABLE)
    return np.interp(at, fine, tone_curve(look, fine)).astype(np.float32)


def balanced_matrix(camera: Camera, white_raw: Array, look: Look, warm: float) -> Array:
    """3x3 from raw to linear display values: white balance, then the maker's matrix."""
    left = look.warmth_left * warm
    gains = np.asarray(look.balance_error) / white_raw ** (1.0 - left)
    gains = gains / gains[1] / white_raw[1]
    return camera.matrix(warm, look.space) * gains[None, :]


def coloured(code: Image, look: Look) -> Image:
    """Saturation and hue warps on code values, (n, 3) or (h, w, 3)."""
    grey = code @ LUMA
    red = code[..., 0] - grey
    blue = code[..., 2] - grey
    size = np.abs(red) + np.abs(blue)
    gain = look.saturation / (1.0 + look.chroma_roll * size)
    a, b, c, d = look.hue_warp
    new_red = red * gain + a * blue * (0.3 + size) + b * red * np.abs(blue)
    new_blue = blue * gain + c * red * (0.3 + size) + d * blue * np.abs(red)
    green = -(LUMA[0] * new_red + LUMA[2] * new_blue) / LUMA[1]
    return np.stack([grey + new_red, grey + green, grey + new_blue], axis=-1).astype(np.float32)


def toned(linear: Image, look: Look) -> Image:
    """Tone curve by table, then colour; any shape (..., 3)."""
    place = np.clip(linear * np.float32((TABLE - 1) / BRIGHTEST), 0.0, TABLE - 1)
    return coloured(curve_table(look)[place.astype(np.uint16)], look)


def develop_points(
    raw: Array, camera: Camera, white_raw: Array, look: Look, warm: float = 0.0
) -> NDArray[np.float32]:
    """Code values 0 to 1 of patches whose raw values have the paper's white at `white_raw`."""
    exposed = (raw + look.veil * white_raw) * look.level
    clipped = np.minimum(exposed / white_raw.max(), 1.05) * white_raw.max()
    linear = clipped @ balanced_matrix(camera, white_raw, look, warm).T
    return np.clip(toned(linear.astype(np.float32), look), 0.0, 1.0)


def evening(linear: Image, look: Look) -> Image:
    """Gains of local tone mapping for a coarse picture: lift what lies in dark surroundings."""
    grey = np.maximum(linear @ LUMA, 0.003)
    around = cv2.GaussianBlur(np.log(grey).astype(np.float32), (0, 0), 0.07 * max(grey.shape))
    around = np.exp(around)
    return ((around / np.quantile(around, 0.8)) ** -look.tone_mapping).astype(np.float32)


def sharpening(code: Image, look: Look) -> Image:
    """What unsharp masking adds to the luma, as phones do, (h, w)."""
    grey = cv2.transform(code, LUMA[None, :])
    detail = grey - cv2.GaussianBlur(grey, (0, 0), 1.2)
    return np.clip(detail, -0.06, 0.06, out=detail) * np.float32(look.sharpen)


def grain(width: int, rng: np.random.Generator) -> Image:
    """Noise after the phone's own denoising, correlated over about two pixels; tiled, sd 1."""
    tile = rng.standard_normal((TILE, TILE, 3), dtype=np.float32)
    tile = cv2.GaussianBlur(tile, (0, 0), 0.7)
    tile /= tile.std()
    return np.tile(tile, (1, -(-width // TILE), 1))[:, :width]


def develop(
    raw: Image,
    camera: Camera,
    white_raw: Array,
    look: Look,
    warm: float,
    rng: np.random.Generator,
) -> NDArray[np.uint8]:
    """Raw (h, w, 3) to 8-bit code values; `white_raw` is the paper where the light is best.

    Works through bands of rows, which stay in the processor's cache.
    """
    height, width = raw.shape[:2]
    white, top = np.float32(white_raw[1]), np.float32(1.05 * white_raw.max())
    matrix = balanced_matrix(camera, white_raw, look, warm).astype(np.float32)
    veil = (look.veil * white_raw).astype(np.float32)
    coarse = cv2.resize(raw, (width // 16, height // 16), interpolation=cv2.INTER_AREA)
    coarse = np.minimum((coarse + veil) * np.float32(look.level), top)
    gain = evening(cv2.transform(coarse, matrix), look)
    gain = cv2.resize(gain, (width, height), interpolation=cv2.INTER_LINEAR)
    noise = grain(width, rng)
    code = np.empty_like(raw)
    for start in range(0, height, BAND):
        rows = slice(start, start + BAND)
        exposed = (raw[rows] + veil) * np.float32(look.level)
        sd = np.sqrt(np.maximum(exposed, 0.0) * white + 0.02 * white**2) * np.float32(look.noise)
        exposed += noise[start % TILE :][: len(exposed)] * sd
        np.clip(exposed, 0.0, top, out=exposed)
        linear = cv2.transform(exposed, matrix) * gain[rows][..., None]
        code[rows] = toned(linear, look)
    sharp = sharpening(code, look)
    pixels = np.empty(code.shape, dtype=np.uint8)
    for start in range(0, height, BAND):
        rows = slice(start, start + BAND)
        band = (code[rows] + sharp[rows][..., None]) * np.float32(255.0)
        pixels[rows] = np.clip(np.rint(band), 0, 255)
    return pixels
