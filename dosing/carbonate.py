"""The carbonate equilibrium with ion pairs and activity coefficients.

Two questions are answered by one loop: how much carbon a water holds (pH and alkalinity known), and
which pH it takes (alkalinity and carbon known). Free ions, pairs and ionic strength are improved
together with the unknown, so that a solve costs a handful of passes.

Species, ion sizes and the rule for ions without one (Davies) follow phreeqc_dat.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from dosing.equilibria import LN10, ChemistryError, Equilibria
from dosing.sample import HIGHEST_PH, LOWEST_PH, Totals

PASSES = 60
CLOSE = 1e-7
"""Relative change of ionic strength and free ions at which a solve is done."""
LONGEST_STEP = 2.0
"""Largest change of ln[H+] in one pass."""


class Activity(NamedTuple):
    """Activity coefficients at one ionic strength."""

    hydrogen: float
    sodium: float
    calcium: float
    carbonate: float
    """CO3-2"""
    bicarbonate: float
    """HCO3-, NaSO4-: ion size 5.4"""
    hydroxide: float
    sulfate: float
    cahco3: float
    cyanurate: float
    davies: float
    """Ions of charge 1 without an ion size: NaCO3-, B(OH)4-, OCl-"""
    neutral: float


class Speciated(NamedTuple):
    """A solved water [mol/kg of water; activities where said]."""

    ph: float
    carbon: float
    alkalinity: float
    co2: float
    bicarbonate_activity: float
    carbonate_activity: float
    calcium_activity: float
    free_sodium: float
    ionic_strength: float


def activity(mu: float, known: Equilibria) -> Activity:
    """Return the activity coefficients at ionic strength `mu` [mol/kg]; valid below about 0.7."""
    root = math.sqrt(mu)
    slope, reach = -known.debye_a * LN10 * root, known.debye_b * root
    bicarbonate = math.exp(slope / (1.0 + 5.4 * reach))
    return Activity(
        hydrogen=math.exp(slope / (1.0 + 9.0 * reach)),
        sodium=math.exp(slope / (1.0 + 4.08 * reach) + 0.082 * LN10 * mu),
        calcium=math.exp(4.0 * slope / (1.0 + 5.0 * reach) + 0.165 * LN10 * mu),
        carbonate=bicarbonate**4,
        bicarbonate=bicarbonate,
        hydroxide=math.exp(slope / (1.0 + 3.5 * reach)),
        sulfate=math.exp(4.0 * slope / (1.0 + 5.0 * reach) - 0.04 * LN10 * mu),
        cahco3=math.exp(slope / (1.0 + 6.0 * reach)),
        cyanurate=math.exp(slope / (1.0 + 4.0 * reach)),
        davies=math.exp(slope / (1.0 + root) + 0.3 * known.debye_a * LN10 * mu),
        neutral=math.exp(0.1 * LN10 * mu),
    )


def carbon_of(ph: float, totals: Totals, known: Equilibria) -> Speciated:
    """Solve for the carbon of a water whose pH and alkalinity are known."""
    return _solve(totals, known, math.exp(-ph * LN10), ph_known=True)


def ph_of(totals: Totals, known: Equilibria, guess: float = 7.5) -> Speciated:
    """Solve for the pH of a water whose alkalinity and carbon are known.

    Raises
    ------
    ChemistryError
        If the pH would leave 4.3 to 11, or the loop does not settle.
    """
    return _solve(totals, known, math.exp(-guess * LN10), ph_known=False)


def carbonate_share(solved: Speciated, totals: Totals, known: Equilibria) -> float:
    """Return the alkalinity of a solved water that carbonate gives [eq/kg]."""
    gamma = activity(solved.ionic_strength, known)
    hydrogen = math.exp(-solved.ph * LN10)
    return totals.alkalinity - _other_acids(hydrogen, totals, gamma, known)[0]


def _solve(totals: Totals, known: Equilibria, hydrogen: float, *, ph_known: bool) -> Speciated:
    """Improve ionic strength, free ions and the unknown together until they rest."""
    calcium, sodium, sulfate = totals.calcium, totals.sodium, totals.sulfate
    mu = 0.5 * (sodium + totals.chloride + abs(totals.alkalinity)) + 2.0 * (calcium + sulfate)
    for _ in range(PASSES):
        gamma = activity(mu, known)
        single, double, free = per_bicarbonate(hydrogen, calcium, sodium, gamma, known)
        other, slope, charge = _other_acids(hydrogen, totals, gamma, known)
        if ph_known:
            bicarbonate = (totals.alkalinity - other) / (single + 2.0 * double)
            step = 0.0
        else:
            bicarbonate = totals.carbon / (single + double + free)
            step = _step(bicarbonate, (single, double, free), other - totals.alkalinity, slope)
            hydrogen *= math.exp(step)
        if bicarbonate < 0.0:
            raise ChemistryError(
                "the alkalinity is too low for this pH: no carbonate would be left; "
                "measure total alkalinity and pH again"
            )
        before = (mu, calcium, sodium)
        carbonate = known.second / hydrogen * bicarbonate
        calcium, sodium, sulfate = _free_ions(
            totals, (bicarbonate, carbonate, sulfate), (calcium, sodium), gamma, known
        )
        mu = _ionic_strength(
            totals, (calcium, sodium, sulfate), (bicarbonate, carbonate), charge, gamma, known
        )
        if abs(step) < 1e-8 and _rests(before, (mu, calcium, sodium)):
            ph = -math.log10(hydrogen)
            _check_ph(ph)
            return Speciated(
                ph=ph,
                carbon=bicarbonate * (single + double + free),
                alkalinity=totals.alkalinity,
                co2=bicarbonate * free,
                bicarbonate_activity=bicarbonate,
                carbonate_activity=carbonate,
                calcium_activity=calcium * gamma.calcium,
                free_sodium=sodium,
                ionic_strength=mu,
            )
    _check_ph(-math.log10(hydrogen))
    raise ChemistryError("the water's equilibrium did not settle; check the readings")


def _check_ph(ph: float) -> None:
    if not LOWEST_PH <= ph <= HIGHEST_PH:
        raise ChemistryError(
            f"the water would have pH {ph:.1f}, outside {LOWEST_PH:g} to {HIGHEST_PH:g}; "
            "the dose is too large for this water"
        )


def _rests(before: tuple[float, float, float], now: tuple[float, float, float]) -> bool:
    return all(abs(a - b) <= CLOSE * (b + 1e-7) for a, b in zip(before, now, strict=True))


def per_bicarbonate(
    hydrogen: float, calcium: float, sodium: float, gamma: Activity, known: Equilibria
) -> tuple[float, float, float]:
    """Carbon with one charge to give, with two, and with none, per unit activity of HCO3-."""
    carbonate = known.second / hydrogen
    single = (
        1.0 / gamma.bicarbonate
        + known.cahco3 * calcium * gamma.calcium / gamma.cahco3
        + known.nahco3 * sodium * gamma.sodium / gamma.neutral
    )
    double = carbonate * (
        1.0 / gamma.carbonate
        + known.caco3 * calcium * gamma.calcium / gamma.neutral
        + known.naco3 * sodium * gamma.sodium / gamma.davies
    )
    return single, double, hydrogen / (known.first * gamma.neutral)


def _other_acids(
    hydrogen: float, totals: Totals, gamma: Activity, known: Equilibria
) -> tuple[float, float, float]:
    """Alkalinity of all but carbonate, its slope over ln[H+] (>= 0 when negated), their charge."""
    hydroxide = known.water / (hydrogen * gamma.hydroxide)
    proton = hydrogen / gamma.hydrogen
    alkalinity, slope, charge = hydroxide - proton, hydroxide + proton, hydroxide + proton
    if totals.borate:
        share = _share(known.boric, hydrogen, gamma.davies)
        alkalinity += totals.borate * share
        slope += totals.borate * share * (1.0 - share)
        charge += totals.borate * share
    if totals.cyanurate or totals.chlorine:
        ions, steep = _cyanurate_and_chlorine(hydrogen, totals, gamma, known)
        alkalinity, slope, charge = alkalinity + ions, slope + steep, charge + ions
    return alkalinity, slope, charge


def _share(constant: float, hydrogen: float, gamma_ion: float) -> float:
    """Share of a weak acid that has given its proton."""
    ratio = constant / (hydrogen * gamma_ion)
    return ratio / (1.0 + ratio)


def _cyanurate_and_chlorine(
    hydrogen: float, totals: Totals, gamma: Activity, known: Equilibria
) -> tuple[float, float]:
    """Charge of cyanurate, hypochlorite and the ion they form together, and its slope.

    Only HClCy- is counted among the chlorinated cyanurates: enough for the alkalinity.
    """
    cyanurate = _share(known.cyanuric, hydrogen, gamma.cyanurate)
    hypochlorite = _share(known.hypochlorous, hydrogen, gamma.davies)
    bound = 0.0
    if totals.cyanurate and totals.chlorine:
        ease = known.monochlorocyanurate / (cyanurate * (1.0 - hypochlorite))
        total = totals.cyanurate + totals.chlorine + ease
        product = 4.0 * totals.cyanurate * totals.chlorine
        bound = 0.5 * (total - math.sqrt(total * total - product))
    acid, chlorine = totals.cyanurate - bound, totals.chlorine - bound
    ions = bound + acid * cyanurate + chlorine * hypochlorite
    steep = acid * cyanurate * (1.0 - cyanurate) + chlorine * hypochlorite * (1.0 - hypochlorite)
    return ions, steep


def _step(bicarbonate: float, parts: tuple[float, float, float], gap: float, slope: float) -> float:
    """Newton step of ln[H+]; `gap` is the other acids' alkalinity less the total."""
    single, double, free = parts
    carbon = bicarbonate * (single + double + free)
    mean = bicarbonate * (single + 2.0 * double)
    spread = bicarbonate * (single + 4.0 * double) - mean * mean / carbon if carbon else 0.0
    step = (mean + gap) / (spread + slope)
    return min(max(step, -LONGEST_STEP), LONGEST_STEP)


def _free_ions(
    totals: Totals,
    ligands: tuple[float, float, float],
    ions: tuple[float, float],
    gamma: Activity,
    known: Equilibria,
) -> tuple[float, float, float]:
    """Return free calcium, sodium and sulfate, given the ligands' activities."""
    bicarbonate, carbonate, sulfate = ligands
    calcium, sodium = ions
    active = sulfate * gamma.sulfate
    calcium_bound = gamma.calcium * (
        known.cahco3 * bicarbonate / gamma.cahco3
        + (known.caco3 * carbonate + known.caso4 * active) / gamma.neutral
    )
    sodium_bound = gamma.sodium * (
        known.nahco3 * bicarbonate / gamma.neutral
        + known.naco3 * carbonate / gamma.davies
        + known.naso4 * active / gamma.bicarbonate
    )
    sulfate_bound = gamma.sulfate * (
        known.caso4 * calcium * gamma.calcium / gamma.neutral
        + known.naso4 * sodium * gamma.sodium / gamma.bicarbonate
    )
    return (
        totals.calcium / (1.0 + calcium_bound),
        totals.sodium / (1.0 + sodium_bound),
        totals.sulfate / (1.0 + sulfate_bound),
    )


def _ionic_strength(
    totals: Totals,
    free: tuple[float, float, float],
    carbon: tuple[float, float],
    charge: float,
    gamma: Activity,
    known: Equilibria,
) -> float:
    """Half the sum of molality times charge squared [mol/kg]."""
    calcium, sodium, sulfate = free
    bicarbonate, carbonate = carbon
    single = (
        sodium
        + totals.chloride
        + charge
        + bicarbonate / gamma.bicarbonate
        + known.cahco3 * calcium * gamma.calcium * bicarbonate / gamma.cahco3
        + known.naco3 * sodium * gamma.sodium * carbonate / gamma.davies
        + known.naso4 * sodium * gamma.sodium * sulfate * gamma.sulfate / gamma.bicarbonate
    )
    return 0.5 * single + 2.0 * (calcium + sulfate + carbonate / gamma.carbonate)
