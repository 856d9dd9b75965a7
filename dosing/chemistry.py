"""What a dose, heat, air or other water does to a sample: pure functions of numbers.

Everything here is closed to the air unless it says otherwise, and nothing precipitates.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Final

from dosing.carbonate import Speciated, carbon_of, carbonate_share, ph_of
from dosing.constants import CACO3_PER_MEQ, MOLAR_MASS, OUTDOOR_CO2_PPM
from dosing.equilibria import ChemistryError, equilibria
from dosing.sample import (
    HIGHEST_PH,
    LOWEST_PH,
    Totals,
    WaterSample,
    sample_of,
    totals_without_carbon,
)

__all__ = [
    "ChemistryError",
    "WaterSample",
    "aerated",
    "after",
    "at_temperature",
    "blend",
    "calcite_index",
    "carbon_mmol_l",
    "carbonate_alkalinity",
    "dose_to_ph",
    "ph_slope",
    "softened_share",
    "speciate",
    "with_carbon",
]

MOST_MOLES: Final = 0.1
"""Largest dose looked at [mol/kg]."""

MOVES: Final[Mapping[str, Totals]] = {
    #                          alk carbon ca  cl  so4 cya  b  chlorine
    "NaHCO3": Totals(1, 1, 0, 0, 0, 0, 0, 0),
    "Na2CO3": Totals(2, 1, 0, 0, 0, 0, 0, 0),
    "NaHSO4": Totals(-1, 0, 0, 0, 1, 0, 0, 0),
    "H2SO4": Totals(-2, 0, 0, 0, 1, 0, 0, 0),
    "HCl": Totals(-1, 0, 0, 1, 0, 0, 0, 0),
    "CaCl2": Totals(0, 0, 1, 2, 0, 0, 0, 0),
    "CaCl2.2H2O": Totals(0, 0, 1, 2, 0, 0, 0, 0),
    "NaCl": Totals(0, 0, 0, 1, 0, 0, 0, 0),
    "NaOCl": Totals(1, 0, 0, 0, 0, 0, 0, 1),
    "Ca(OCl)2": Totals(2, 0, 1, 0, 0, 0, 0, 2),
    "NaCl2C3N3O3.2H2O": Totals(1, 0, 0, 0, 0, 1, 0, 2),
    "NaCl2C3N3O3": Totals(1, 0, 0, 0, 0, 1, 0, 2),
    "Na2B4O7.10H2O": Totals(2, 0, 0, 0, 0, 0, 4, 0),
}
"""What one mole of the pure compound adds [mol, equivalents for the alkalinity]."""


def speciate(sample: WaterSample) -> Speciated:
    """Return the solved equilibrium of a sample (activities, carbon, ionic strength)."""
    return carbon_of(sample.ph, totals_without_carbon(sample), equilibria(sample.temperature_c))


def totals_of(sample: WaterSample) -> Totals:
    """Return everything dissolved in a sample, its carbon from pH and alkalinity [mol/kg]."""
    return totals_without_carbon(sample)._replace(carbon=speciate(sample).carbon)


def carbon_mmol_l(sample: WaterSample) -> float:
    """Return the dissolved inorganic carbon of a sample [mmol/L]."""
    return speciate(sample).carbon * 1000.0


def settled(totals: Totals, temperature_c: float, guess: float = 7.5) -> WaterSample:
    """Return the sample that these totals make, its pH from the equilibrium."""
    return sample_of(totals, ph_of(totals, equilibria(temperature_c), guess).ph, temperature_c)


def after(sample: WaterSample, added: Mapping[str, float]) -> WaterSample:
    """Return the water after pure chemicals are dissolved in it, closed to the air.

    Parameters
    ----------
    added
        mg of the pure compound per litre of water, by formula (see `MOVES`), none negative.

    Raises
    ------
    ChemistryError
        For an unknown formula, a negative amount, or a pH outside 4.3 to 11.
    """
    return settled(with_added(totals_of(sample), added), sample.temperature_c, sample.ph)


def with_added(totals: Totals, added: Mapping[str, float]) -> Totals:
    """Return totals with pure compounds added [mg/L by formula]."""
    for formula, mg_l in added.items():
        if formula not in MOVES:
            raise ChemistryError(f"formula {formula!r} is not known; known: {', '.join(MOVES)}")
        if not mg_l >= 0.0:
            raise ChemistryError(f"{mg_l:g} mg/L of {formula} cannot be added; give 0 or more")
        moles = mg_l / MOLAR_MASS[formula] / 1000.0
        totals = Totals(*(old + moles * by for old, by in zip(totals, MOVES[formula], strict=True)))
    return totals


def at_temperature(sample: WaterSample, temperature_c: float) -> WaterSample:
    """Return the same water heated or cooled, no carbon dioxide lost."""
    return settled(totals_of(sample), temperature_c, sample.ph)


def blend(tub: WaterSample, other: WaterSample, fraction: float) -> WaterSample:
    """Return the tub's water with `fraction` (0 to 1) of it replaced by the other, at tub heat."""
    if not 0.0 <= fraction <= 1.0:
        raise ChemistryError(f"a share of {fraction:g} cannot be replaced; give 0 to 1")
    parts = zip(totals_of(tub), totals_of(other), strict=True)
    mixed = Totals(*((1.0 - fraction) * ours + fraction * theirs for ours, theirs in parts))
    return settled(mixed, tub.temperature_c, tub.ph)


def with_carbon(sample: WaterSample, carbon: float) -> WaterSample:
    """Return the sample at another carbon content [mmol/L]: carbon dioxide lost or taken up."""
    totals = totals_without_carbon(sample)._replace(carbon=carbon / 1000.0)
    return replace(sample, ph=ph_of(totals, equilibria(sample.temperature_c), sample.ph).ph)


def aerated(sample: WaterSample, co2_ppm: float = OUTDOOR_CO2_PPM) -> WaterSample:
    """Return the end point of long jets and air: the water at rest with the air's CO2."""
    known = equilibria(sample.temperature_c)
    wanted = known.henry * co2_ppm * 1e-6
    totals = totals_without_carbon(sample)

    def excess(ph: float) -> float:
        solved = carbon_of(ph, totals, known)
        return math.log(solved.bicarbonate_activity * 10.0**-ph / known.first / wanted)

    return replace(sample, ph=_resting_ph(excess, sample.ph))


def _resting_ph(excess: Callable[[float], float], start: float) -> float:
    """Secant search for the pH at which the carbon dioxide's excess, a log, is zero."""
    before, value = start, excess(start)
    now = start + value / math.log(10.0)
    for _ in range(30):
        now = min(max(now, LOWEST_PH), HIGHEST_PH)
        miss, value = value, excess(now)
        if abs(value) < 1e-8 or value == miss:
            return now
        before, now = now, now - value * (now - before) / (value - miss)
    raise ChemistryError("the water's balance with the air did not settle; check the readings")


def dose_to_ph(sample: WaterSample, formula: str, target_ph: float) -> float:
    """Return how much of a pure compound brings the water to a pH.

    Parameters
    ----------
    formula
        An acid or base of `MOVES`.
    target_ph
        The pH wanted after mixing, closed to the air.

    Returns
    -------
    float
        mg/L of the pure compound; 0 when the compound moves the pH away from the target.

    Raises
    ------
    ChemistryError
        If no amount reaches the target (bicarbonate towards pH 9, for example).
    """
    start = totals_of(sample)
    known = equilibria(sample.temperature_c)
    move = MOVES[formula]

    def excess(moles: float) -> float:
        now = Totals(*(old + moles * by for old, by in zip(start, move, strict=True)))
        return carbon_of(target_ph, now, known).carbon - now.carbon

    short_of_it = excess(0.0) < 0.0
    if short_of_it != (move.alkalinity > 0):
        return 0.0
    moles = _nearly_linear_root(excess)
    if moles is None:
        raise ChemistryError(f"no amount of {formula} brings this water to pH {target_ph:g}")
    return moles * MOLAR_MASS[formula] * 1000.0


def _nearly_linear_root(function: Callable[[float], float]) -> float | None:
    """Secant search for a root at 0 to 0.1 mol/kg; None when there is none.

    At a fixed pH the carbon a water must hold is all but linear in its alkalinity.
    """
    before, at_zero = 0.0, function(0.0)
    now = 1e-5
    miss, value = at_zero, function(now)
    if at_zero * (value - at_zero) >= 0.0:
        return 0.0 if at_zero == 0.0 else None
    for _ in range(40):
        if value == miss or not 0.0 <= now < MOST_MOLES:
            return None
        now, before, miss = now - value * (now - before) / (value - miss), now, value
        if abs(now - before) < 1e-12:
            break
        if not 0.0 <= now < MOST_MOLES:
            return None
        value = function(now)
    return now


def ph_slope(sample: WaterSample, step: float = 0.5) -> tuple[float, float]:
    """Return how pH moves per mg/L of alkalinity (as CaCO3) and per mmol/L of carbon added."""
    totals = totals_of(sample)
    known = equilibria(sample.temperature_c)
    by_alkalinity = ph_of(
        totals._replace(alkalinity=totals.alkalinity + step / CACO3_PER_MEQ / 1000.0),
        known,
        sample.ph,
    ).ph
    more = 0.005 * totals.carbon
    by_carbon = ph_of(totals._replace(carbon=totals.carbon + more), known, sample.ph).ph
    return (by_alkalinity - sample.ph) / step, (by_carbon - sample.ph) / (more * 1000.0)


def calcite_index(sample: WaterSample) -> float:
    """Return the saturation index of calcite, log10(ion activity product / solubility product).

    0 is balance; above, scale can form; below, calcite would dissolve. Calcite's solubility:
    plummer1982.
    """
    solved = speciate(sample)
    product = solved.calcium_activity * solved.carbonate_activity
    if product <= 0.0:
        return -math.inf
    return math.log10(product / equilibria(sample.temperature_c).calcite)


def carbonate_alkalinity(sample: WaterSample) -> float:
    """Return the alkalinity that is carbonate [mg/L as CaCO3]: the titrated less all other ions.

    A derived value: cyanurate, borate and hypochlorite are taken off. Never stored as a reading.
    """
    solved = speciate(sample)
    known = equilibria(sample.temperature_c)
    bare = totals_without_carbon(sample)
    return carbonate_share(solved, bare, known) * CACO3_PER_MEQ * 1000.0


def softened_share(hard: float, soft: float, target: float) -> float:
    """Return the share of softened water, 0 to 1, whose blend has the target hardness.

    Share = (hard - target) / (hard - soft), all mg/L as CaCO3 (mass balance).
    """
    if not 0.0 <= soft < hard:
        raise ChemistryError(
            f"softened water of {soft:g} mg/L hardness is not softer than the hard {hard:g} mg/L; "
            "check which sample is which"
        )
    return min(max((hard - target) / (hard - soft), 0.0), 1.0)
