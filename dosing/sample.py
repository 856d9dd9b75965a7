"""A sample of water: what the shop measures, and what is dissolved behind it."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final, NamedTuple

from dosing.constants import (
    CACO3_PER_MEQ,
    CACO3_PER_MMOL_HARDNESS,
    MOLAR_MASS,
)
from dosing.equilibria import ChemistryError

LOWEST_PH, HIGHEST_PH = 4.3, 11.0
"""Waters outside have no alkalinity to speak of, or are lye: the engine refuses them [pH]."""

LARGEST: Final = {
    "total_alkalinity": 2000.0,
    "calcium_hardness": 5000.0,
    "salt": 40000.0,
    "cyanuric_acid": 1000.0,
    "boron": 500.0,
    "sulfate": 5000.0,
    "free_chlorine": 500.0,
}
"""Upper ends of what is computed [mg/L]; beyond, the activity model does not hold."""


@dataclass(frozen=True, slots=True)
class WaterSample:
    """One water at one moment, closed to the air.

    Sodium is not kept: it balances the charge. Chloride is `salt` plus the partner of the calcium.
    """

    temperature_c: float
    ph: float
    total_alkalinity: float
    """As titrated, mg/L as CaCO3; cyanurate, borate and hypochlorite count in it."""
    calcium_hardness: float = 50.0
    """mg/L as CaCO3."""
    salt: float = 50.0
    """Sodium chloride, mg/L."""
    cyanuric_acid: float = 0.0
    """mg/L."""
    boron: float = 0.0
    """Borate, mg/L as boron."""
    sulfate: float = 0.0
    """mg/L as SO4."""
    free_chlorine: float = 0.0
    """mg/L as Cl2."""

    def __post_init__(self) -> None:
        if not LOWEST_PH <= self.ph <= HIGHEST_PH:
            raise ChemistryError(
                f"pH {self.ph:g} is outside {LOWEST_PH:g} to {HIGHEST_PH:g}; "
                "no tub holds such water: measure the pH again"
            )
        for name, most in LARGEST.items():
            value = getattr(self, name)
            if not 0.0 <= value <= most:
                raise ChemistryError(
                    f"{name.replace('_', ' ')} {value:g} mg/L is outside 0 to {most:g} mg/L; "
                    "check the reading or the dose"
                )


FIELDS: Final = tuple(field.name for field in fields(WaterSample))


class Totals(NamedTuple):
    """What is dissolved, free or bound [mol/kg of water]."""

    alkalinity: float
    """Charge balance, equivalents; zero level CO2, H3Cy, B(OH)3, HOCl."""
    carbon: float
    calcium: float
    chloride: float
    sulfate: float
    cyanurate: float
    borate: float
    chlorine: float

    @property
    def sodium(self) -> float:
        """What closes the charge."""
        return max(self.chloride + self.alkalinity + 2.0 * (self.sulfate - self.calcium), 0.0)


def totals_without_carbon(sample: WaterSample) -> Totals:
    """Return the totals of a sample, its carbon not yet known (zero)."""
    calcium = sample.calcium_hardness / CACO3_PER_MMOL_HARDNESS / 1000.0
    return Totals(
        alkalinity=sample.total_alkalinity / CACO3_PER_MEQ / 1000.0,
        carbon=0.0,
        calcium=calcium,
        chloride=sample.salt / MOLAR_MASS["NaCl"] / 1000.0 + 2.0 * calcium,
        sulfate=sample.sulfate / MOLAR_MASS["SO4"] / 1000.0,
        cyanurate=sample.cyanuric_acid / MOLAR_MASS["C3H3N3O3"] / 1000.0,
        borate=sample.boron / MOLAR_MASS["B"] / 1000.0,
        chlorine=sample.free_chlorine / MOLAR_MASS["Cl2"] / 1000.0,
    )


def sample_of(totals: Totals, ph: float, temperature_c: float) -> WaterSample:
    """Return the sample these totals make at a pH already solved for."""
    return WaterSample(
        temperature_c=temperature_c,
        ph=ph,
        total_alkalinity=max(totals.alkalinity, 0.0) * CACO3_PER_MEQ * 1000.0,
        calcium_hardness=totals.calcium * CACO3_PER_MMOL_HARDNESS * 1000.0,
        salt=max(totals.chloride - 2.0 * totals.calcium, 0.0) * MOLAR_MASS["NaCl"] * 1000.0,
        cyanuric_acid=totals.cyanurate * MOLAR_MASS["C3H3N3O3"] * 1000.0,
        boron=totals.borate * MOLAR_MASS["B"] * 1000.0,
        sulfate=totals.sulfate * MOLAR_MASS["SO4"] * 1000.0,
        free_chlorine=totals.chlorine * MOLAR_MASS["Cl2"] * 1000.0,
    )
