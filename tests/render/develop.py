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
TABLE = 4096
"""Entries of the tone curve's table, over the square root of the linear value."""
BRIGHTEST = 4.0
"""Linear value at the table's end."""


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
    """The tone curve over sqrt(linear / BRIGHTEST)."""
    at = np.linspace(0.0, 1.0, TABLE) ** 2 * BRIGHTEST
    return tone_curve(look, at).astype(np.float32)


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
    place = np.sqrt(np.clip(linear, 0.0, BRIGHTEST) / BRIGHTEST) * (TABLE - 1)
    index = place.astype(np.int32)
    np.minimum(index, TABLE - 2, out=index)
    table = curve_table(look)
    low = table[index]
    code = low + (table[index + 1] - low) * (place - index)
    return coloured(code.astype(np.float32), look)


def develop_points(
    raw: Array, camera: Camera, white_raw: Array, look: Look, warm: float = 0.0
) -> NDArray[np.float32]:
    """Code values 0 to 1 of patches whose raw values have the paper's white at `white_raw`."""
    exposed = (raw + look.veil * white_raw) * look.level
    clipped = np.minimum(exposed / white_raw.max(), 1.05) * white_raw.max()
    linear = clipped @ balanced_matrix(camera, white_raw, look, warm).T
    return np.clip(toned(linear.astype(np.float32), look), 0.0, 1.0)


def even_out(linear: Image, look: Look) -> Image:
    """Local tone mapping: lift what lies in dark surroundings."""
    if look.tone_mapping <= 0.0:
        return linear
    height, width = linear.shape[:2]
    small = cv2.resize(
        linear, (max(width // 16, 8), max(height // 16, 8)), interpolation=cv2.INTER_AREA
    )
    grey = np.maximum(small @ LUMA, 0.003)
    sigma = 0.07 * max(grey.shape)
    around = np.exp(cv2.GaussianBlur(np.log(grey).astype(np.float32), (0, 0), sigma))
    gain = (around / np.quantile(around, 0.8)) ** -look.tone_mapping
    full = cv2.resize(gain.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    return linear * full[..., None]


def sharpened(code: Image, look: Look) -> Image:
    """Unsharp masking on the luma, as phones do."""
    if look.sharpen <= 0.0:
        return code
    grey = cv2.transform(code, LUMA[None, :])
    detail = grey - cv2.GaussianBlur(grey, (0, 0), 1.2)
    np.clip(detail, -0.06, 0.06, out=detail)
    return code + (look.sharpen * detail)[..., None]


def noisy(raw: Image, look: Look, white: float, rng: np.random.Generator) -> Image:
    """Shot and read noise after the phone's own denoising: correlated over about two pixels."""
    height, width = raw.shape[:2]
    tile = rng.standard_normal((768, 768, 3), dtype=np.float32)
    tile = cv2.GaussianBlur(tile, (0, 0), 0.7)
    tile /= tile.std()
    repeats = (-(-height // 768), -(-width // 768), 1)
    grain = np.tile(tile, repeats)[:height, :width]
    share = np.maximum(raw, 0.0) / white
    sd = look.noise * white * np.sqrt(share + 0.02)
    return raw + grain * sd


def develop(
    raw: Image,
    camera: Camera,
    white_raw: Array,
    look: Look,
    warm: float,
    rng: np.random.Generator,
) -> Image:
    """Raw (h, w, 3) to code values 0 to 1; `white_raw` is the paper where the light is best."""
    white = float(white_raw[1])
    exposed = (raw + np.float32(look.veil) * white_raw.astype(np.float32)) * np.float32(look.level)
    exposed = noisy(exposed, look, white, rng)
    np.clip(exposed, 0.0, 1.05 * float(white_raw.max()), out=exposed)
    matrix = balanced_matrix(camera, white_raw, look, warm).astype(np.float32)
    linear = even_out(cv2.transform(exposed, matrix), look)
    code = sharpened(toned(linear, look), look)
    return np.clip(code, 0.0, 1.0)
