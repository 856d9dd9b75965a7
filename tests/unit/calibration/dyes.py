"""Invented pads for the tests: two dye forms on white paper, by Kubelka and Munk in three bands.

It shares nothing with the curve under test: colours come from the dye model, not from a path.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lab import SRGB_TO_XYZ_D50, lab_from_xyz
from calibration.table import Block, PadChart

PAPER_KS = 0.02


@dataclass(frozen=True)
class Dye:
    """A pad: how strongly its two forms absorb red, green and blue, and when it turns."""

    analyte: str
    unit: str
    first: tuple[float, float, float]
    second: tuple[float, float, float]
    middle: float
    """The value at which half of the dye has turned."""
    order: float
    values: tuple[float, ...]


PH = Dye("ph", "pH", (0.02, 0.15, 2.6), (0.15, 2.4, 0.9), 7.6, 1.0, (6.2, 6.8, 7.2, 7.6, 8.0, 8.4))
CHLORINE = Dye(
    *("free_chlorine", "mg/L", (0.0, 0.02, 0.10), (0.9, 2.6, 0.5), 6.0, 1.0),
    (0.0, 0.5, 1.0, 3.0, 5.0, 10.0),
)
ALKALINITY = Dye(
    *("total_alkalinity", "mg/L", (0.03, 0.12, 2.0), (2.2, 0.7, 0.35), 110.0, 1.9),
    (0.0, 40.0, 80.0, 120.0, 180.0, 240.0),
)
HARDNESS = Dye(
    *("calcium_hardness", "mg/L", (2.0, 1.2, 0.25), (0.4, 2.0, 0.9), 150.0, 1.2),
    (0.0, 50.0, 100.0, 250.0, 500.0),
)
DYES = (PH, CHLORINE, ALKALINITY, HARDNESS)


def share(dye: Dye, values):
    """Return the share of the dye that has turned at these values (for pH a plain buffer curve)."""
    v = np.asarray(values, dtype=float)
    if dye.unit == "pH":
        return 1.0 / (1.0 + 10.0 ** (dye.middle - v))
    return v**dye.order / (v**dye.order + dye.middle**dye.order)


def colours(dye: Dye, values, strength=1.0):
    """Return CIELAB of pads in water of these values, shape (..., 3)."""
    x = share(dye, values)[..., None]
    amount = np.asarray(strength)[..., None]
    ks = PAPER_KS + amount * ((1 - x) * np.array(dye.first) + x * np.array(dye.second))
    return lab_from_xyz((1.0 + ks - np.sqrt(ks**2 + 2.0 * ks)) @ SRGB_TO_XYZ_D50.T)


def chart(dye: Dye, pad: int = 1, values=None, blocks=None, kind: str = "") -> PadChart:
    """Return the pad's chart, measured without error unless blocks are given."""
    values = dye.values if values is None else values
    blocks = blocks or tuple(Block(v, colours(dye, v)) for v in values)
    place = (15.0, 6.0 + 8.0 * (pad - 1), 5.0)
    return PadChart(pad, dye.analyte, dye.unit, *place, tuple(blocks), kind)
