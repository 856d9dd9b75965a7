"""The carbonate equilibrium near one water, with its activities held: thousands of solves a second.

The belief moves pH and alkalinity about one water at a time. There the activity coefficients and
the free calcium hardly change, so they are taken from one full solve (`dosing.carbonate`) and held;
what is left is a closed formula from pH to carbon.
Alkalinity here is net of chlorine: as titrated, less 0.706 mg/L for each mg/L of free chlorine, a
sum that neither the cell nor the chlorine's use changes.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp, floor, log10, sqrt
from typing import NamedTuple

from dosing.carbonate import activity, carbon_of, per_bicarbonate
from dosing.constants import CACO3_PER_MEQ, MOLAR_MASS, OUTDOOR_CO2_PPM
from dosing.equilibria import LN10, ChemistryError, equilibria
from dosing.sample import WaterSample, totals_without_carbon

CLOSE = 0.01
"""Length of the last step of a search [pH]; the error left is of the order of its square."""
LOWEST, HIGHEST = 4.6, 10.0
"""Where the belief's pH may move [pH]."""


class Slopes(NamedTuple):
    """Carbon and CO2 of a water [mmol/L], and how they go with pH and net alkalinity [mg/L]."""

    carbon: float
    co2: float
    carbon_by_ph: float
    co2_by_ph: float
    carbon_by_net: float
    co2_by_net: float


class Buffer:
    """Carbon and pH of waters like one sample, by the alkalinity net of chlorine."""

    __slots__ = (
        *("air_co2", "borate", "boric", "cyanurate", "cyanuric", "double", "free"),
        *(
            "hypochlorite",
            "monochlorocyanurate",
            "proton",
            "sample",
            "single",
            "water",
            "weak_acids",
        ),
    )

    def __init__(self, sample: WaterSample) -> None:
        known = equilibria(sample.temperature_c)
        solved = carbon_of(sample.ph, totals_without_carbon(sample), known)
        gamma = activity(solved.ionic_strength, known)
        hydrogen = 10.0**-sample.ph
        calcium = solved.calcium_activity / gamma.calcium
        parts = per_bicarbonate(hydrogen, calcium, solved.free_sodium, gamma, known)
        self.sample = sample
        self.single = parts[0]
        self.double = parts[1] * hydrogen
        self.free = parts[2] / hydrogen
        self.proton = 1000.0 / gamma.hydrogen
        self.water = 1000.0 * known.water / gamma.hydroxide
        self.hypochlorite = known.hypochlorous / gamma.davies
        self.cyanurate = sample.cyanuric_acid / MOLAR_MASS["C3H3N3O3"]
        self.cyanuric = known.cyanuric / gamma.cyanurate
        self.borate = sample.boron / MOLAR_MASS["B"]
        self.weak_acids = self.cyanurate > 0.0 or self.borate > 0.0
        self.boric = known.boric / gamma.davies
        self.monochlorocyanurate = known.monochlorocyanurate * 1000.0
        self.air_co2 = known.henry * OUTDOOR_CO2_PPM * 1e-6 / gamma.neutral * 1000.0

    def carbon(self, net: float, ph: float, chlorine: float = 0.0) -> tuple[float, float]:
        """Return dissolved carbon and CO2 [mmol/L].

        Parameters
        ----------
        net
            Alkalinity net of chlorine [mg/L as CaCO3].
        ph
            pH.
        chlorine
            Free chlorine [mg/L as Cl2].
        """
        carbon, co2, *_ = self._solve(net, ph, chlorine)
        return carbon, co2

    def slopes(self, net: float, ph: float, chlorine: float) -> Slopes:
        """Return carbon and CO2 with their slopes over pH and net alkalinity, units of `carbon`."""
        carbon, co2, by_ph, bicarbonate, gains, charged = self._solve(net, ph, chlorine)
        per_net = 1.0 / (CACO3_PER_MEQ * charged * bicarbonate)
        co2_by_ph = -LN10 * co2 * (1.0 + gains / bicarbonate)
        return Slopes(carbon, co2, by_ph, co2_by_ph, carbon * per_net, co2 * per_net)

    def _solve(
        self, net: float, ph: float, chlorine: float
    ) -> tuple[float, float, float, float, float, float]:
        """Return carbon, CO2 [mmol/L] and the slope of carbon over pH; and what slopes are made of.

        That is bicarbonate [mmol/L], its gain with ln[H+], and its charge with all its pairs.
        """
        hydrogen = exp(-LN10 * ph)
        hydroxide, proton = self.water / hydrogen, hydrogen * self.proton
        others, slope = hydroxide - proton, hydroxide + proton
        if self.weak_acids or chlorine > 0.0:
            charge, steep = self._weak(hydrogen, chlorine / MOLAR_MASS["Cl2"])
            others, slope = others + charge, slope + steep
        double = self.double / hydrogen
        charged = self.single + 2.0 * double
        bicarbonate = max(net / CACO3_PER_MEQ - others, 1e-3) / charged
        co2 = bicarbonate * self.free * hydrogen
        carbon = bicarbonate * (self.single + double) + co2
        # by ln[H+]: bicarbonate gains what the other ions give up and the double ions lose
        gains = (slope + 2.0 * bicarbonate * double) / charged
        by_log = gains * carbon / bicarbonate - bicarbonate * double + co2
        return carbon, co2, -LN10 * by_log, bicarbonate, gains, charged

    def _weak(self, hydrogen: float, chlorine: float) -> tuple[float, float]:
        """Charge of cyanurate, borate, hypochlorite and HClCy-, less all the chlorine [meq/L].

        And how much of it goes with a unit of ln[H+].
        """
        charge = slope = bound = 0.0
        acid = hydrogen / (hydrogen + self.hypochlorite)
        ion = self.cyanuric / (self.cyanuric + hydrogen)
        if self.cyanurate and chlorine > 0.0:
            ease = self.monochlorocyanurate / (ion * acid)
            total = self.cyanurate + chlorine + ease
            root = sqrt(total * total - 4.0 * self.cyanurate * chlorine)
            bound = 0.5 * (total - root)
            slope = bound * ease / root * (acid - ion) ** 2
        if self.borate:
            share = self.boric / (self.boric + hydrogen)
            charge, slope = self.borate * share, slope + self.borate * share * (1.0 - share)
        free_acid, free_chlorine = self.cyanurate - bound, chlorine - bound
        charge += free_acid * ion - free_chlorine * acid
        slope += free_acid * ion * (1.0 - ion) + free_chlorine * acid * (1.0 - acid)
        return charge, slope

    def ph(self, net: float, carbon: float, chlorine: float, guess: float) -> float:
        """Return the pH of a water of this carbon [mmol/L], by a bounded Newton search."""
        now = guess
        for _ in range(25):
            there, _, slope, *_ = self._solve(net, now, chlorine)
            gap = there - carbon
            step = gap / min(slope, -1e-3)
            now = min(max(now - min(max(step, -0.5), 0.5), LOWEST), HIGHEST)
            if abs(step) < CLOSE:  # this step was the last: what is left is its square
                break
        return now


@lru_cache(maxsize=128)
def buffer_at(
    temperature_c: float,
    ph: float,
    alkalinity: float,
    hardness: float,
    salt: float,
    cyanuric_acid: float,
    sulfate: float,
) -> Buffer:
    """Return the buffer of a water [units of `WaterSample`]; bold waters are brought into range."""
    ph = min(max(ph, 5.5), 9.5)
    alkalinity = max(alkalinity, 5.0)
    try:
        return Buffer(
            WaterSample(
                temperature_c,
                ph,
                min(alkalinity, 2000.0),
                min(max(hardness, 0.0), 5000.0),
                min(max(salt, 0.0), 40000.0),
                min(max(cyanuric_acid, 0.0), 1000.0, 2.0 * alkalinity),
                sulfate=min(max(sulfate, 0.0), 5000.0),
            )
        )
    except ChemistryError:
        return Buffer(WaterSample(temperature_c, 7.5, max(alkalinity, 30.0), 50.0, 100.0))


def near(sample: WaterSample) -> Buffer:
    """Return the buffer of a water rounded to steps too small to matter, so that it is reused."""
    return near_to(
        sample.temperature_c,
        sample.ph,
        sample.total_alkalinity,
        (sample.calcium_hardness, sample.salt, sample.cyanuric_acid, sample.sulfate),
    )


def near_to(
    temperature_c: float,
    ph: float,
    alkalinity: float,
    rest: tuple[float, float, float, float],
) -> Buffer:
    """Return what `near` does for a water told by its numbers, `rest` being hardness and so on."""
    hardness, salt, cyanuric_acid, sulfate = rest
    return buffer_at(
        round(temperature_c, 1),
        round(ph * 5.0) / 5.0,
        _step(alkalinity),
        _step(hardness),
        _step(salt),
        round(cyanuric_acid),
        round(sulfate / 20.0) * 20.0,
    )


def _step(value: float) -> float:
    """Round to 5 below 100, to 5 % above."""
    step = max(5.0, 10.0 ** floor(log10(max(value, 1.0))) / 2.0)
    return float(round(value / step) * step)
