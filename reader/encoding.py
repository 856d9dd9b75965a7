"""How a file's code values stand to light: the ICC profile of a photo, read in float.

Cameras write sRGB or Display P3; editors also Adobe RGB. All three are matrix/TRC profiles
(ICC.1:2022, 8.3.3): three curves and the colorants' XYZ under D50. They are brought to the
sRGB primaries and curve without clamping, so that colours outside sRGB stay what they are.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float32]
Curve = Callable[[NDArray[np.float64]], NDArray[np.float64]]

SRGB_TO_XYZ_D50 = np.array(
    [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
)
"""Linear sRGB to XYZ adapted to D50 (IEC 61966-2-1 primaries, Bradford): ICC.1 practice."""

STEPS = 65536
"""Entries of the tables that stand for the curves: a fine step of 16 bits."""

KNEE = np.float32(0.0031308)
"""Linear value up to which sRGB's curve is a straight line (IEC 61966-2-1)."""
PART = 32768
"""So many values at a time stay in the processor's cache."""


@dataclass(frozen=True, eq=False)
class Encoding:
    """A matrix/TRC colour space of a file."""

    name: str
    matrix: NDArray[np.float64]
    """Linear values of the file to linear sRGB, shape (3, 3)."""
    curves: NDArray[np.float64]
    """Linear value at STEPS evenly spaced code values 0 to 1, one row a channel."""
    is_srgb: bool = False

    def codes(self, values: Values) -> Values:
        """Return code values of the file as sRGB code values, unclamped; shape (..., 3)."""
        if self.is_srgb:
            return values
        linear = np.empty_like(values)
        for channel in range(3):
            linear[..., channel] = _look_up(self._decoding[channel], values[..., channel], 1.0)
        return self._encoded(linear)

    def codes_of(self, pixels: NDArray[Any]) -> Values:
        """Return whole numbers of the file, 8 or 16 bits, as sRGB code values (..., 3)."""
        top = int(np.iinfo(pixels.dtype).max)
        if self.is_srgb:
            return np.asarray(np.multiply(pixels, np.float32(1.0 / top)), np.float32)
        if pixels.dtype != np.uint8:
            return self.codes(pixels.astype(np.float32) * np.float32(1.0 / top))
        codes = np.empty(pixels.shape, np.float32)
        every, told = pixels.reshape(-1, 1, 3), codes.reshape(-1, 1, 3)
        # Whole steps over the picture would each fetch its megabytes from memory anew.
        for start in range(0, len(every), PART // 3):
            part = slice(start, start + PART // 3)
            told[part] = self._encoded(np.asarray(cv2.LUT(every[part], self._bytes), np.float32))
        return codes

    def _encoded(self, linear: Values) -> Values:
        """Return linear values of the file (..., 3) as sRGB code values."""
        mixed = cv2.transform(linear.reshape(-1, 1, 3), self.matrix)
        return encode_srgb(np.asarray(mixed, np.float32).reshape(linear.shape))

    @cached_property
    def _bytes(self) -> Values:
        """Linear values of each code of 8 bits, shape (1, 256, 3)."""
        nearest = np.rint(np.linspace(0, STEPS - 1, 256)).astype(int)
        return np.ascontiguousarray(self._decoding[:, nearest].T[None])

    @cached_property
    def _decoding(self) -> Values:
        return self.curves.astype(np.float32)


def encode_srgb(linear: Values) -> Values:
    """Return linear values as sRGB code values (IEC 61966-2-1), odd below zero, beyond 1 too."""
    flat = np.ascontiguousarray(linear, np.float32).reshape(-1)
    codes = np.empty_like(flat)
    for start in range(0, len(flat), PART):
        part, out = flat[start : start + PART], codes[start : start + PART]
        np.multiply(cv2.pow(part, 1 / 2.4).reshape(-1), np.float32(1.055), out=out)
        out -= np.float32(0.055)
        dark = np.flatnonzero(part <= KNEE)
        out[dark] = _dark_codes(part[dark])
    return codes.reshape(linear.shape)


def _dark_codes(linear: Values) -> Values:
    """Return the codes of linear values below the knee, few in a photo; some below zero."""
    size = np.abs(linear)
    code = np.where(size <= KNEE, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    return np.asarray(np.copysign(code, linear), np.float32)


def srgb_decoded(codes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return sRGB code values 0 to 1 as linear values (IEC 61966-2-1)."""
    low = codes <= 0.04045
    return np.where(low, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def _look_up(table: Values, at: Values, top: float) -> Values:
    """Return the nearest entries of a table that is spread evenly over 0 to `top`."""
    scale = np.float32((len(table) - 1) / top)
    place = np.clip(at * scale + np.float32(0.5), 0, len(table) - 1).astype(np.uint16)
    return np.asarray(table.take(place), np.float32)


SRGB = Encoding("sRGB", np.eye(3), np.tile(srgb_decoded(np.linspace(0, 1, STEPS)), (3, 1)), True)
"""What a file without a profile is taken to be."""


@lru_cache(maxsize=16)
def read_profile(profile: bytes | None) -> Encoding:
    """Return the encoding of an ICC profile; sRGB where there is none that we can read.

    Only RGB matrix/TRC profiles are read. Others are rare in photos, and the card's own
    patches make up for a wrong guess but for clipping.
    """
    try:
        return _matrix_profile(profile or b"") or SRGB
    except (struct.error, ValueError, KeyError, IndexError, OverflowError):
        return SRGB


def _matrix_profile(profile: bytes) -> Encoding | None:
    if len(profile) < 132 or profile[16:20] != b"RGB " or profile[20:24] != b"XYZ ":
        return None
    tags = _tags(profile)
    colorants = np.column_stack([_xyz(tags[c + b"XYZ"]) for c in (b"r", b"g", b"b")])
    codes = np.linspace(0.0, 1.0, STEPS)
    curves = np.vstack([_curve(tags[c + b"TRC"])(codes) for c in (b"r", b"g", b"b")])
    matrix = np.linalg.inv(SRGB_TO_XYZ_D50) @ colorants
    if not np.all(np.isfinite(curves)) or abs(np.linalg.det(matrix)) < 1e-3:
        return None
    if np.abs(matrix - np.eye(3)).max() < 2e-3 and np.abs(curves - SRGB.curves).max() < 2e-3:
        return SRGB
    return Encoding("ICC profile", matrix, curves)


def _tags(profile: bytes) -> dict[bytes, bytes]:
    """Return the profile's tags by signature (ICC.1:2022, 7.3)."""
    (count,) = struct.unpack_from(">I", profile, 128)
    if count > 200:
        raise ValueError("too many tags")
    found = {}
    for i in range(count):
        signature, start, size = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        found[signature] = profile[start : start + size]
    return found


def _xyz(tag: bytes) -> NDArray[np.float64]:
    """Return an XYZType tag (ICC.1:2022, 10.31)."""
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536.0


def _curve(tag: bytes) -> Curve:
    """Return a curveType or parametricCurveType tag (ICC.1:2022, 10.6 and 10.18)."""
    if tag[:4] == b"curv":
        return _sampled_curve(tag)
    if tag[:4] == b"para":
        return _parametric_curve(tag)
    raise ValueError("unknown curve type")


def _sampled_curve(tag: bytes) -> Curve:
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return lambda codes: codes
    if count > 65536:
        raise ValueError("curve too long")
    values = np.array(struct.unpack_from(f">{count}H", tag, 12), dtype=np.float64)
    if count == 1:
        gamma = float(values[0]) / 256.0
        return lambda codes: codes**gamma
    at = np.linspace(0.0, 1.0, count)
    return lambda codes: np.interp(codes, at, values / 65535.0)


PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
"""Numbers that follow each function type of a parametricCurveType."""


def _parametric_curve(tag: bytes) -> Curve:
    (kind,) = struct.unpack_from(">H", tag, 8)
    numbers: list[Any] = [v / 65536.0 for v in struct.unpack_from(f">{PARAMETERS[kind]}i", tag, 12)]
    gamma, a, b, c, d, e, f = _padded(kind, numbers)
    return lambda codes: np.where(
        codes >= d, np.maximum(a * codes + b, 0.0) ** gamma + e, c * codes + f
    )


def _padded(kind: int, numbers: list[Any]) -> tuple[float, ...]:
    """Return g, a, b, c, d, e, f of the general form for each of the five function types."""
    gamma = numbers[0]
    if kind == 0:
        return gamma, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
    a, b = numbers[1], numbers[2]
    if kind == 1:
        return gamma, a, b, 0.0, -b / a, 0.0, 0.0
    if kind == 2:
        return gamma, a, b, 0.0, -b / a, numbers[3], numbers[3]
    c, d = numbers[3], numbers[4]
    return (gamma, a, b, c, d, *((0.0, 0.0) if kind == 3 else (numbers[5], numbers[6])))
