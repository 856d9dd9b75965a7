"""The wavelengths, the standard observer and the colour of a reflectance.

Everything the renderer knows of colour starts here: spectra on one grid, CIE 1931 2 degree observer
and the illuminant data as colour-science carries them. Nothing is shared with the reader.
"""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
from numpy.typing import NDArray

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour

Array = NDArray[np.float64]

WAVES_NM = np.arange(380.0, 731.0, 5.0)
"""The grid of all spectra: 380 to 730 nm in steps of 5 nm, 71 values."""


def on_grid(sd: object) -> Array:
    """Return a spectrum of colour-science on `WAVES_NM`, zero where it is not tabled."""
    waves = np.asarray(sd.wavelengths, dtype=float)  # type: ignore[attr-defined]
    values = np.asarray(sd.values, dtype=float)  # type: ignore[attr-defined]
    return np.interp(WAVES_NM, waves, values, left=0.0, right=0.0)


@cache
def observer() -> Array:
    """CIE 1931 2 degree colour matching functions, shape (71, 3)."""
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    waves = np.asarray(cmfs.wavelengths, dtype=float)
    return np.stack([np.interp(WAVES_NM, waves, cmfs.values[:, i]) for i in range(3)], axis=1)


@cache
def d50() -> Array:
    """CIE standard illuminant D50, shape (71,), green-weighted mean of 1."""
    power = on_grid(colour.SDS_ILLUMINANTS["D50"])
    return power / (power @ observer()[:, 1])


def xyz_d50(reflectance: Array) -> Array:
    """Tristimulus values under D50 with Y = 1 for the perfect diffuser, shape (..., 3)."""
    return np.asarray(reflectance) @ (observer() * d50()[:, None])


def lab_d50(reflectance: Array) -> Array:
    """CIELAB under D50 / 2 degree of reflectances (..., 71), white the perfect diffuser."""
    ratio = xyz_d50(reflectance) / (d50() @ observer())
    epsilon, kappa = 216.0 / 24389.0, 24389.0 / 27.0
    f = np.where(ratio > epsilon, np.cbrt(ratio), (kappa * ratio + 16.0) / 116.0)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def de00(first: Array, second: Array) -> Array:
    """CIEDE2000 between CIELAB colours, by colour-science."""
    return np.asarray(colour.delta_E(first, second, method="CIE 2000"))


def bell(centre_nm: float, left_nm: float, right_nm: float | None = None) -> Array:
    """A Gaussian band of height 1, its two flanks of their own width."""
    width = np.where(centre_nm > WAVES_NM, left_nm, left_nm if right_nm is None else right_nm)
    return np.exp(-0.5 * ((WAVES_NM - centre_nm) / width) ** 2)


def step(centre_nm: float, width_nm: float) -> Array:
    """A smooth rise from 0 to 1 at `centre_nm`."""
    return 1.0 / (1.0 + np.exp(-(WAVES_NM - centre_nm) / width_nm))


@cache
def chart_reflectances() -> Array:
    """The 24 patches of a published test chart (Ohta 1997, in colour-science), shape (24, 71)."""
    patches = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]
    return np.stack([on_grid(sd) for sd in patches.values()])
