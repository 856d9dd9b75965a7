"""Equilibrium constants of the water by temperature, each with its source.

Constants are thermodynamic (activities), on the molal scale; mg/L is taken as mg per kg of water.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

from dosing.constants import ZERO_CELSIUS_K

LN10 = math.log(10.0)
GAS_CONSTANT_KCAL = 1.98720425864083e-3
"""Molar gas constant [kcal/(mol K)]."""
CYANURIC_ENTHALPY_KCAL = 33.4 / 4.184
"""Enthalpy of the first dissociation of cyanuric acid, 33.4 kJ/mol; source key wahman2018."""
COLDEST_C, HOTTEST_C = 0.0, 50.0
"""Temperatures the engine accepts [deg C]; the carbonate constants hold from 0 to 90."""


class ChemistryError(ValueError):
    """A water that cannot be; the message says what is wrong and what to check."""


class Equilibria(NamedTuple):
    """Equilibrium constants at one temperature (not logarithms), and the Debye-Hueckel pair."""

    first: float
    """CO2 + H2O = H+ + HCO3-"""
    second: float
    """HCO3- = H+ + CO3-2"""
    water: float
    """H2O = H+ + OH-"""
    calcite: float
    """CaCO3(s) = Ca+2 + CO3-2"""
    henry: float
    """CO2(g) = CO2(aq) [mol/(kg atm)]"""
    cahco3: float
    """Ca+2 + HCO3- = CaHCO3+"""
    caco3: float
    """Ca+2 + CO3-2 = CaCO3(aq)"""
    nahco3: float
    """Na+ + HCO3- = NaHCO3(aq)"""
    naco3: float
    """Na+ + CO3-2 = NaCO3-"""
    caso4: float
    """Ca+2 + SO4-2 = CaSO4(aq)"""
    naso4: float
    """Na+ + SO4-2 = NaSO4-"""
    cyanuric: float
    """H3Cy = H+ + H2Cy-"""
    boric: float
    """B(OH)3 + H2O = H+ + B(OH)4-"""
    hypochlorous: float
    """HOCl = H+ + OCl-"""
    monochlorocyanurate: float
    """HClCy- + H2O = H2Cy- + HOCl [mol/kg]"""
    dichlorocyanurate: float
    """Cl2Cy- + H2O = HClCy- + HOCl [mol/kg]"""
    debye_a: float
    """Slope of log10 gamma over the root of the ionic strength."""
    debye_b: float
    """Inverse length per root of the ionic strength [1/angstrom]."""


@lru_cache(maxsize=512)
def equilibria(temperature_c: float) -> Equilibria:
    """Return the constants at one temperature.

    Parameters
    ----------
    temperature_c
        Water temperature [deg C], 0 to 50.

    Raises
    ------
    ChemistryError
        If the temperature lies outside.

    Notes
    -----
    Carbonate, calcite and calcium pairs: plummer1982 (0 to 90 C, pairs 5 to 80 C). Water ion
    product, sodium and sulfate pairs, boric acid: phreeqc_dat. Cyanuric acid: 6.88 at 25 C after
    obrien1974, as the reference cases have it, with the enthalpy of wahman2018; the latter's own
    6.97 at 25 C would move the pH after a dose by at most 0.02. Its chlorinated forms: wahman2019.
    Hypochlorous acid: morris1966 (5 to 35 C, carried on beyond). Debye-Hueckel: truesdell1974.
    """
    if not COLDEST_C <= temperature_c <= HOTTEST_C:
        raise ChemistryError(
            f"water temperature {temperature_c:g} C is outside {COLDEST_C:g} to {HOTTEST_C:g} C, "
            "where the constants are known; check temperature_c"
        )
    kelvin = temperature_c + ZERO_CELSIUS_K
    logs = (*_carbonate_logs(kelvin), *_pair_logs(kelvin), *_weak_acid_logs(kelvin))
    return Equilibria._make([10.0**log for log in logs] + [*debye_hueckel(temperature_c)])


def _carbonate_logs(kelvin: float) -> tuple[float, ...]:
    """Log K1, K2, Kw, Kcalcite, KH after plummer1982; Kw after phreeqc_dat."""
    log = math.log10(kelvin)
    return (
        -356.3094 - 0.06091964 * kelvin + 21834.37 / kelvin + 126.8339 * log - 1684915 / kelvin**2,
        -107.8871 - 0.03252849 * kelvin + 5151.79 / kelvin + 38.92561 * log - 563713.9 / kelvin**2,
        293.29227
        + 0.1360833 * kelvin
        - 10576.913 / kelvin
        - 123.73158 * log
        - 6.996455e-5 * kelvin**2,
        -171.9065 - 0.077993 * kelvin + 2839.319 / kelvin + 71.595 * log,
        108.3865 + 0.01985076 * kelvin - 6919.53 / kelvin - 40.45154 * log + 669365 / kelvin**2,
    )


def _pair_logs(kelvin: float) -> tuple[float, ...]:
    """Log K of CaHCO3+, CaCO3 (plummer1982), NaHCO3, NaCO3-, CaSO4, NaSO4- (phreeqc_dat)."""
    log = math.log10(kelvin)
    return (
        1209.120 + 0.31294 * kelvin - 34765.05 / kelvin - 478.782 * log,
        -1228.732 - 0.299444 * kelvin + 35512.75 / kelvin + 485.818 * log,
        _vant_hoff(-0.25, -1.0, kelvin),
        _vant_hoff(1.27, 8.91, kelvin),
        _vant_hoff(2.25, 1.325, kelvin),
        _vant_hoff(0.70, 1.120, kelvin),
    )


def _weak_acid_logs(kelvin: float) -> tuple[float, ...]:
    """Log K of cyanuric, boric, hypochlorous acid and the two chlorinated cyanurates."""
    return (
        _vant_hoff(-6.88, CYANURIC_ENTHALPY_KCAL, kelvin),
        _vant_hoff(-9.24, 3.224, kelvin),
        -(3000.00 / kelvin - 10.0686 + 0.0253 * kelvin),
        -(2229.0 / kelvin - 1.65),
        -(2028.0 / kelvin - 2.15),
    )


def _vant_hoff(log_k25: float, enthalpy_kcal: float, kelvin: float) -> float:
    """Carry log K from 25 C to `kelvin` with a constant enthalpy of reaction."""
    return log_k25 + enthalpy_kcal / (LN10 * GAS_CONSTANT_KCAL) * (1.0 / 298.15 - 1.0 / kelvin)


def debye_hueckel(temperature_c: float) -> tuple[float, float]:
    """Return A [1/sqrt(mol/kg)] and B [1/(angstrom sqrt(mol/kg))]; source key truesdell1974."""
    kelvin = temperature_c + ZERO_CELSIUS_K
    permittivity = 2727.586 + 0.6224107 * kelvin - 466.9151 * math.log(kelvin) - 52000.87 / kelvin
    density = (
        1.0
        - (temperature_c - 3.9863) ** 2
        * (temperature_c + 288.9414)
        / (508929.2 * (temperature_c + 68.12963))
        + 0.011445 * math.exp(-374.3 / max(temperature_c, 0.1))
    )
    product = permittivity * kelvin
    slope: float = 1.82483e6 * math.sqrt(density) / (product * math.sqrt(product))
    return slope, 50.2916 * math.sqrt(density / product)
