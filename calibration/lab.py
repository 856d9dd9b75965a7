"""CIELAB D50 / 2 degree: from and to screen colours, and CIEDE2000, in plain numpy.

Written out here because importing a colour library costs about as long as reading a photo;
`tests/published` holds these formulas against the published values and the library.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import ArrayLike, NDArray

Lab = NDArray[np.float64]
Cov = NDArray[np.float64]

D50_XYZ = np.array([0.96422, 1.0, 0.82521])
"""White of CIE D50 / 2 degree, Y = 1 (ICC.1:2022, profile connection space)."""

SRGB_TO_XYZ_D50 = np.array(
    [
        [0.4360747, 0.3850649, 0.1430804],
        [0.2225045, 0.7168786, 0.0606169],
        [0.0139322, 0.0971045, 0.7141733],
    ]
)
"""sRGB primaries (IEC 61966-2-1) adapted from D65 to D50 by Bradford; B. Lindbloom's table."""

HEX = re.compile(r"#?([0-9a-fA-F]{6})")

EPSILON = 216.0 / 24389.0
KAPPA = 24389.0 / 27.0
"""The exact rationals of CIE 15:2018, section 8.2.1."""

BLACK_F = 16.0 / 116.0
"""f(0) of CIE 15:2018: no real colour has f(X/Xn) or f(Z/Zn) below it."""


def lab_from_xyz(xyz: ArrayLike) -> Lab:
    """Return CIELAB (D50 / 2 degree) of XYZ under D50 with Y = 1 for white; shape (..., 3)."""
    ratio = np.asarray(xyz, dtype=np.float64) / D50_XYZ
    f = np.where(ratio > EPSILON, np.cbrt(ratio), (KAPPA * ratio + 16.0) / 116.0)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def xyz_from_lab(lab: ArrayLike) -> NDArray[np.float64]:
    """Return XYZ under D50 (Y = 1 for white) of CIELAB; shape (..., 3)."""
    L, a, b = np.moveaxis(np.asarray(lab, dtype=np.float64), -1, 0)
    y = (L + 16.0) / 116.0
    f = np.stack([y + a / 500.0, y, y - b / 200.0], axis=-1)
    ratio = np.where(f**3 > EPSILON, f**3, (116.0 * f - 16.0) / KAPPA)
    return np.asarray(ratio * D50_XYZ)


def lab_from_hex(text: str) -> Lab:
    """Return CIELAB (D50 / 2 degree) of an sRGB colour such as `#c05a3c`; shape (3,).

    Raises
    ------
    ValueError
        If the text is not six hexadecimal digits, with or without `#`.
    """
    match = HEX.fullmatch(text.strip())
    if match is None:
        raise ValueError(f"{text!r} is not a colour; write six hexadecimal digits such as #c05a3c")
    code = np.array([int(match[1][i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return lab_from_xyz(SRGB_TO_XYZ_D50 @ linear)


def hex_from_lab(lab: ArrayLike) -> str:
    """Return the sRGB colour nearest to this CIELAB (D50), for screens; clipped to the gamut."""
    linear = np.clip(np.linalg.solve(SRGB_TO_XYZ_D50, xyz_from_lab(lab)), 0.0, 1.0)
    code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return "#" + "".join(f"{round(255.0 * float(c)):02x}" for c in code)


def is_possible(lab: ArrayLike) -> bool:
    """Say whether a surface can have this colour: L from 0 to 100, no negative X or Z.

    A tolerance of two units of lightness is left for an instrument's own error at black.
    """
    L, a, b = (float(x) for x in np.asarray(lab, dtype=np.float64))
    y = (L + 16.0) / 116.0
    slack = 2.0 / 116.0
    inside = 0.0 <= L <= 100.0 and abs(a) <= 128.0 and abs(b) <= 128.0
    return inside and min(y + a / 500.0, y - b / 200.0) >= BLACK_F - slack


def delta_e00(first: ArrayLike, second: ArrayLike) -> NDArray[np.float64]:
    """Return the CIEDE2000 difference of colours of shape (..., 3).

    References
    ----------
    .. [1] G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula",
       Color Res. Appl. 30 (1), 21-30, 2005, doi:10.1002/col.20070. Source key: sharma2005.
    """
    L1, a1, b1 = np.moveaxis(np.asarray(first, dtype=np.float64), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(second, dtype=np.float64), -1, 0)
    mean_c7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2.0) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(mean_c7 / (mean_c7 + 25.0**7))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = _hue(a1, b1), _hue(a2, b2)
    grey = c1 * c2 == 0.0
    turn = np.where(grey, 0.0, (h2 - h1 + 180.0) % 360.0 - 180.0)
    turn = np.where(~grey & (h2 - h1 == 180.0), 180.0, turn)
    hue = _mean_hue(h1, h2, grey)
    return _weighted(L1, L2, c1, c2, turn, hue)


def _hue(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.degrees(np.arctan2(b, a)) % 360.0


def _mean_hue(
    h1: NDArray[np.float64], h2: NDArray[np.float64], grey: NDArray[np.bool_]
) -> NDArray[np.float64]:
    total = h1 + h2
    over = np.where(total < 360.0, total + 360.0, total - 360.0)
    mean = np.where(np.abs(h1 - h2) <= 180.0, total, over) / 2.0
    return np.where(grey, total, mean)


def _weighted(
    L1: NDArray[np.float64],
    L2: NDArray[np.float64],
    c1: NDArray[np.float64],
    c2: NDArray[np.float64],
    turn: NDArray[np.float64],
    hue: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Weigh the differences of lightness, chroma and hue: equations 16 to 22 of the paper."""
    L, c = (L1 + L2) / 2.0, (c1 + c2) / 2.0
    t = (
        1.0
        - 0.17 * np.cos(np.radians(hue - 30.0))
        + 0.24 * np.cos(np.radians(2.0 * hue))
        + 0.32 * np.cos(np.radians(3.0 * hue + 6.0))
        - 0.20 * np.cos(np.radians(4.0 * hue - 63.0))
    )
    light = (L2 - L1) / (1.0 + 0.015 * (L - 50.0) ** 2 / np.sqrt(20.0 + (L - 50.0) ** 2))
    chroma = (c2 - c1) / (1.0 + 0.045 * c)
    arc = 2.0 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2.0)) / (1.0 + 0.015 * c * t)
    rotate = -np.sin(np.radians(60.0 * np.exp(-(((hue - 275.0) / 25.0) ** 2))))
    rotate = rotate * 2.0 * np.sqrt(c**7 / (c**7 + 25.0**7))
    square = light**2 + chroma**2 + arc**2 + rotate * chroma * arc
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))
