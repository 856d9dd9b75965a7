"""What the newest readings alone say of the water: values, deviations, and a dose's effect."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import datetime

from dosing.analytes import ANALYTES, NORMAL_95
from dosing.chemistry import ChemistryError, WaterSample
from dosing.history import History
from dosing.products import Product, effect

VOLUME_SD = 0.05
"""Relative deviation of a stated volume: a tenth out at the 95 % edge (common practice)."""

PRIORS = {
    "ph": (7.5, 0.5),
    "total_alkalinity": (100.0, 60.0),
    "calcium_hardness": (100.0, 100.0),
    "salt": (50.0, 50.0),
    "free_chlorine": (0.0, 1.0),
    "cyanuric_acid": (0.0, 1.0),
}
"""Of water no one has measured yet (common practice)."""


@dataclass(frozen=True)
class Known:
    """Means and standard deviations by analyte, each on its own."""

    values: dict[str, float]
    sds: dict[str, float]
    volume_l: float
    volume_sd_l: float
    temperature_c: float

    def value(self, analyte: str) -> float:
        """Return the expected value, in the analyte's unit."""
        return self.values.get(analyte, PRIORS.get(analyte, (0.0, 0.0))[0])

    def sd(self, analyte: str) -> float:
        """Return the standard deviation, in the analyte's unit."""
        return self.sds.get(analyte, PRIORS.get(analyte, (0.0, 0.0))[1])

    def sample(self) -> WaterSample:
        """Return the water at its expected values, kept where the solver works."""
        return WaterSample(
            temperature_c=min(max(self.temperature_c, 5.0), 42.0),
            ph=min(max(self.value("ph"), 4.5), 10.5),
            total_alkalinity=max(self.value("total_alkalinity"), 5.0),
            calcium_hardness=self.value("calcium_hardness"),
            salt=self.value("salt"),
            cyanuric_acid=self.value("cyanuric_acid"),
            free_chlorine=min(self.value("free_chlorine"), 100.0),
        )

    def after_dose(self, product: Product, grams: float) -> Known:
        """Return the water once so many grams have mixed in."""
        change = self._change(product, grams)
        loose = math.hypot(self.volume_sd_l / self.volume_l, product.strength_error_95 / NORMAL_95)
        values, sds = dict(self.values), dict(self.sds)
        for analyte, by in change.items():
            if analyte not in ANALYTES:
                continue
            values[analyte] = max(0.0, self.value(analyte) + by)
            sds[analyte] = math.hypot(self.sd(analyte), loose * by)
        if "ph" in change:
            sds["ph"] = math.hypot(self._ph_sd(product, grams), loose * change["ph"])
        return replace(self, values=values, sds=sds)

    def _change(self, product: Product, grams: float) -> dict[str, float]:
        try:
            return effect(product, grams, self.volume_l, self.sample())
        except ChemistryError:
            return effect(product, grams, self.volume_l) | {"ph": -math.inf}

    def _ph_sd(self, product: Product, grams: float) -> float:
        """Return what the doubt in pH and alkalinity becomes after the dose."""
        middle = self.value("ph") + self._change(product, grams).get("ph", 0.0)
        total = 0.0
        for analyte, sd in (
            ("ph", self.sd("ph")),
            ("total_alkalinity", self.sd("total_alkalinity")),
        ):
            moved = replace(self, values=self.values | {analyte: self.value(analyte) + 0.5 * sd})
            after = moved.value("ph") + moved._change(product, grams).get("ph", 0.0)
            total += (2.0 * (after - middle)) ** 2
        return math.sqrt(total) if math.isfinite(total) else math.inf


def known_at(history: History, at: datetime) -> Known:
    """Return the water as the newest readings have it, doses since counted in."""
    tub = history.log.tub
    known = Known({}, {}, tub.volume_l, VOLUME_SD * tub.volume_l, tub.temperature_c)
    for (analyte, sample), standing in history.standings.items():
        band = standing.now(at) or standing.before
        if sample == "tub" and band is not None:
            known.values[analyte] = band.mean
            known.sds[analyte] = band.sd
    return _with_doses_since(history, known)


def _with_doses_since(history: History, known: Known) -> Known:
    """Count in the doses that moved what has not been measured since."""
    open_doses: dict[int, set[str]] = {}
    for (analyte, sample), standing in history.standings.items():
        if sample == "tub" and standing.band is None:
            for dose in standing.doses:
                open_doses.setdefault(id(dose), set()).add(analyte)
    for dose in history.doses:
        if moved := open_doses.get(id(dose)):
            after = known.after_dose(history.product(dose), dose.amount_g)
            for analyte in moved & after.values.keys():
                known.values[analyte] = after.values[analyte]
                known.sds[analyte] = after.sds[analyte]
    return known
