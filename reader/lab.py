"""CIELAB under D50 / 2 degree: the only module of the reader that calls colour-science.

Every colour that leaves the reader goes through colour-science here. The formulas of the inner
loop, which the fit of the camera calls some hundred times a photo, are written out for arrays
and derivatives; tests hold them to colour-science.
"""

from __future__ import annotations

import warnings
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

D50_XY = (0.3457, 0.3585)
"""Chromaticity of D50, 2 degree observer, as CIE 15 and ICC round it."""

D50_XYZ = np.array([0.3457 / 0.3585, 1.0, (1.0 - 0.3457 - 0.3585) / 0.3585])
"""White of D50 with Y = 1, from `D50_XY`."""

SRGB_TO_XYZ_D50 = np.array(
    [
        [0.436076040396, 0.385168377527, 0.143100342504],
        [0.222455343142, 0.716918409582, 0.060628539085],
        [0.013900077380, 0.097085575965, 0.714075120486],
    ]
)
"""Linear sRGB to XYZ under D50, IEC 61966-2-1 primaries adapted by Bradford (colour-science)."""

_EPSILON = (6.0 / 29.0) ** 3
_SLOPE = (29.0 / 6.0) ** 2 / 3.0


class LabRangeError(ValueError):
    """A number that cannot be a CIELAB colour; says which."""


@cache
def colour_science() -> Any:
    """Return colour-science; it warns at import of plotting libraries that we do not use."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def checked(lab: Array) -> Array:
    """Return `lab` (..., 3) unchanged; raise `LabRangeError` where it is no CIELAB colour."""
    lab = np.asarray(lab, dtype=np.float64)
    inside = np.isfinite(lab) & (np.abs(lab) < 400.0)
    if lab.shape[-1:] != (3,) or not inside.all():
        raise LabRangeError(
            f"{lab[~inside][:3].tolist() if lab.shape else lab} is no CIELAB colour; "
            "give L, a, b as three finite numbers, L from 0 to 100"
        )
    return lab


def lab_from_xyz(xyz: Array) -> Array:
    """Return CIELAB (D50) of XYZ (..., 3) under D50 with white's Y = 1, by colour-science."""
    lab = colour_science().XYZ_to_Lab(np.asarray(xyz, np.float64), np.array(D50_XY))
    return np.asarray(lab, np.float64)


def xyz_from_lab(lab: Array) -> Array:
    """Return XYZ (..., 3) under D50, white's Y = 1, of CIELAB (D50), by colour-science."""
    xyz = colour_science().Lab_to_XYZ(checked(lab), np.array(D50_XY))
    return np.asarray(xyz, np.float64)


def adapted_to_d50(xyz: Array, white_xyz: Array) -> Array:
    """Return XYZ seen under `white_xyz` as XYZ under D50, by the Bradford transform."""
    adapted = colour_science().chromatic_adaptation(
        np.asarray(xyz, np.float64), np.asarray(white_xyz, np.float64), D50_XYZ,
        method="Von Kries", transform="Bradford",
    )  # fmt: skip
    return np.asarray(adapted, np.float64)


def srgb_from_lab(lab: Array) -> Array:
    """Return display sRGB codes (..., 3), cut to 0..1, of CIELAB (D50), for pictures."""
    colour = colour_science()
    codes = colour.XYZ_to_sRGB(
        xyz_from_lab(lab), illuminant=np.array(D50_XY), chromatic_adaptation_transform="Bradford"
    )
    return np.asarray(np.clip(codes, 0.0, 1.0), np.float64)


def delta_e00(first: Array, second: Array) -> Array:
    """Return the CIEDE2000 difference of two CIELAB colours (..., 3), by colour-science.

    References
    ----------
    .. [1] G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula",
       Color Res. Appl. 30 (1), 21-30, 2005, doi:10.1002/col.20070.
    """
    difference = colour_science().delta_E(checked(first), checked(second), method="CIE 2000")
    return np.asarray(difference, np.float64)


def fast_lab(xyz: Array) -> Array:
    """Return CIELAB (D50) of XYZ (..., 3); a line below the knee, so defined below zero too."""
    t = xyz / D50_XYZ
    f = np.where(t > _EPSILON, np.cbrt(np.maximum(t, _EPSILON)), _SLOPE * t + 4.0 / 29.0)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)], axis=-1)


def lab_slopes(xyz: Array) -> Array:
    """Return the derivative (..., 3, 3) of CIELAB by XYZ at XYZ (..., 3)."""
    t = xyz / D50_XYZ
    df = np.where(t > _EPSILON, np.maximum(t, _EPSILON) ** (-2.0 / 3.0) / 3.0, _SLOPE) / D50_XYZ
    slopes = np.zeros((*xyz.shape, 3))
    slopes[..., 0, 1] = 116.0 * df[..., 1]
    slopes[..., 1, 0], slopes[..., 1, 1] = 500.0 * df[..., 0], -500.0 * df[..., 1]
    slopes[..., 2, 1], slopes[..., 2, 2] = 200.0 * df[..., 1], -200.0 * df[..., 2]
    return slopes


def tolerance_scale(lab: Array) -> Array:
    """Return (..., 3, 3) that turns a small CIELAB difference into CIEDE2000-like units.

    Rows are lightness, chroma and hue divided by CIEDE2000's weights SL, SC, SH; the rotation
    term of blues and the stretch of a near grey are left out, for it only weights the fit.
    """
    lightness, a, b = lab[..., 0], lab[..., 1], lab[..., 2]
    chroma, hue = np.hypot(a, b), np.arctan2(b, a)
    t = (
        1.0 - 0.17 * np.cos(hue - np.pi / 6) + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.pi / 30) - 0.20 * np.cos(4 * hue - 63 * np.pi / 180)
    )  # fmt: skip
    off = (lightness - 50.0) ** 2
    s_l = 1.0 + 0.015 * off / np.sqrt(20.0 + off)
    s_c, s_h = 1.0 + 0.045 * chroma, 1.0 + 0.015 * chroma * t
    scale = np.zeros((*lab.shape, 3))
    scale[..., 0, 0] = 1.0 / s_l
    scale[..., 1, 1], scale[..., 1, 2] = np.cos(hue) / s_c, np.sin(hue) / s_c
    scale[..., 2, 1], scale[..., 2, 2] = -np.sin(hue) / s_h, np.cos(hue) / s_h
    return scale
