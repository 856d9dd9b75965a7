"""Fixed numbers of the water chemistry: molar masses and the factors that follow from them.

Molar masses are the IUPAC conventional values, g/mol. Source key: iupac2021.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

ZERO_CELSIUS_K: Final = 273.15

MOLAR_MASS: Final[Mapping[str, float]] = {
    "CaCO3": 100.086,
    "NaHCO3": 84.006,
    "Na2CO3": 105.988,
    "NaHSO4": 120.054,
    "HCl": 36.458,
    "H2SO4": 98.072,
    "CaCl2": 110.978,
    "CaCl2.2H2O": 147.008,
    "NaCl": 58.440,
    "NaOCl": 74.439,
    "Ca(OCl)2": 142.976,
    "NaCl2C3N3O3.2H2O": 255.971,
    "NaCl2C3N3O3": 219.941,
    "Na2S2O3.5H2O": 248.172,
    "Na2B4O7.10H2O": 381.363,
    "C3H3N3O3": 129.075,
    "Cl2": 70.900,
    "PO4": 94.970,
    "SO4": 96.056,
    "B": 10.81,
}
"""Molar mass by formula [g/mol]."""

CACO3_PER_MMOL_HARDNESS: Final = MOLAR_MASS["CaCO3"]
"""mg/L as CaCO3 for 1 mmol/L of calcium."""

CACO3_PER_MEQ: Final = MOLAR_MASS["CaCO3"] / 2.0
"""mg/L as CaCO3 for 1 meq/L of alkalinity (50.043)."""

ALKALINITY_PER_CHLORINE: Final = CACO3_PER_MEQ / MOLAR_MASS["Cl2"]
"""mg/L of alkalinity lost for each mg/L of free chlorine used up (0.706)."""

SALT_PER_CHLORINE: Final = MOLAR_MASS["NaCl"] / MOLAR_MASS["Cl2"]
"""mg/L of chloride, as salt, left by each mg/L of free chlorine used up (0.824)."""

OUTDOOR_CO2_PPM: Final = 420.0
"""Carbon dioxide in outdoor air [ppm by volume]; the reference cases use the same."""
