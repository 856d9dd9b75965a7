"""True equilibria of the simulated water, by PHREEQC (phreeqpython, database phreeqc.dat).

Cyanuric acid and hypochlorous acid are not in the database and are added as weak acids:
pK 6.88 at 25 deg C (O'Brien 1974, from memory) with 33.4 kJ/mol (Wahman 2018, abstract);
pK 7.54 at 25 deg C (Davis, Water and Wastewater Engineering, example 13-1), about 14 kJ/mol
(slope of Morris 1966 between 10 and 35 deg C, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from phreeqpython import PhreeqPython

CACO3_MG_PER_MEQ = 50.043
NACL_MG_PER_MMOL = 58.440
CACO3_MG_PER_MMOL = 100.086
CYA_MG_PER_MMOL = 129.075
CL2_MG_PER_MMOL = 70.900
AIR_LOG10_PCO2_ATM = -3.38  # outdoor air, 420 parts in a million

SET_UP = """
SOLUTION_MASTER_SPECIES
 Cya  HCya  0.0  129.075  129.075
 Hoc  HHoc  0.0  52.460   52.460
SOLUTION_SPECIES
 HCya = HCya
   log_k 0.0
 HCya = Cya- + H+
   log_k -6.88
   delta_h 33.4 kJ
   -gamma 4.0 0.0
 HHoc = HHoc
   log_k 0.0
 HHoc = Hoc- + H+
   log_k -7.54
   delta_h 14.0 kJ
   -gamma 4.0 0.0
SELECTED_OUTPUT 1
  -reset false
USER_PUNCH 1
  -headings ph co2 logpco2 si dic na cl
  -start
  10 PUNCH -LA("H+"), MOL("CO2")*1000, SI("CO2(g)"), SI("Calcite"), TOT("C")*1000
  20 PUNCH TOT("Na")*1000, TOT("Cl")*1000
  -end
END
"""


@dataclass(frozen=True)
class Ions:
    """Totals in the water, mmol a litre; the strong ones set the alkalinity."""

    sodium: float
    calcium: float
    chloride: float
    sulfate: float
    carbonate: float
    cyanurate: float = 0.0
    hypochlorite: float = 0.0

    def plus(self, **change: float) -> Ions:
        return replace(self, **{name: getattr(self, name) + by for name, by in change.items()})

    def mixed(self, other: Ions, share: float) -> Ions:
        """This water with `share` of it replaced by the other."""
        return Ions(
            **{
                name: (1 - share) * getattr(self, name) + share * getattr(other, name)
                for name in self.__dataclass_fields__
            }
        )

    @property
    def alkalinity_mg_l(self) -> float:
        """Titrated alkalinity as CaCO3: the strong ions' balance."""
        balance = self.sodium + 2 * self.calcium - self.chloride - 2 * self.sulfate
        return balance * CACO3_MG_PER_MEQ

    @property
    def hardness_mg_l(self) -> float:
        return self.calcium * CACO3_MG_PER_MMOL

    @property
    def salt_mg_l(self) -> float:
        """Salt as a strip tells it: the chloride, as NaCl."""
        return self.chloride * NACL_MG_PER_MMOL

    @property
    def cyanuric_mg_l(self) -> float:
        return self.cyanurate * CYA_MG_PER_MMOL


@dataclass(frozen=True)
class Balance:
    """What the ions come to at one temperature."""

    ph: float
    co2_mmol: float
    co2_in_air_mmol: float
    calcite_si: float


class Equilibrium:
    """One PHREEQC, kept open: a call takes about a quarter of a millisecond."""

    def __init__(self) -> None:
        self._phreeqc = PhreeqPython(database="phreeqc.dat")
        self._phreeqc.ip.run_string(SET_UP)

    def _run(self, text: str) -> dict[str, Any]:
        self._phreeqc.ip.run_string(text)
        head, *rows = self._phreeqc.ip.get_selected_output_array()
        return dict(zip(head, rows[-1], strict=True))

    def solve(self, ions: Ions, temperature_c: float) -> Balance:
        """The pH that balances the charges."""
        row = self._run(
            f"SOLUTION 1\n temp {temperature_c}\n units mmol/kgw\n pH 7.5 charge\n"
            f" Na {max(ions.sodium, 1e-9)}\n Ca {max(ions.calcium, 1e-9)}\n"
            f" Cl {max(ions.chloride, 1e-9)}\n S(6) {max(ions.sulfate, 1e-9)}\n"
            f" C(4) {max(ions.carbonate, 1e-9)}\n Cya {max(ions.cyanurate, 1e-9)}\n"
            f" Hoc {max(ions.hypochlorite, 1e-9)}\nEND\n"
        )
        in_air = row["co2"] * 10 ** (AIR_LOG10_PCO2_ATM - row["logpco2"])
        return Balance(row["ph"], row["co2"], in_air, row["si"])

    def water(
        self,
        temperature_c: float,
        ph: float,
        alkalinity_mg_l: float,
        hardness_mg_l: float,
        salt_mg_l: float,
        sulfate_mmol: float = 0.0,
    ) -> Ions:
        """Water of this analysis: carbonate from pH and alkalinity, sodium closes the charge."""
        calcium, chloride = hardness_mg_l / CACO3_MG_PER_MMOL, salt_mg_l / NACL_MG_PER_MMOL
        meq = alkalinity_mg_l / CACO3_MG_PER_MEQ
        sodium = meq + chloride + 2 * sulfate_mmol - 2 * calcium
        if sodium < 0:  # hardness beyond the alkalinity comes with chloride
            chloride, sodium = chloride - sodium, 0.0
        row = self._run(
            f"SOLUTION 1\n temp {temperature_c}\n units mmol/kgw\n pH {ph}\n"
            f" Alkalinity {meq} meq/kgw\n Na {max(sodium, 1e-9)}\n Ca {max(calcium, 1e-9)}\n"
            f" Cl {max(chloride, 1e-9)}\n S(6) {max(sulfate_mmol, 1e-9)}\nEND\n"
        )
        return Ions(sodium, calcium, chloride, sulfate_mmol, row["dic"])
