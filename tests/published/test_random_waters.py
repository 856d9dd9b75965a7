"""The carbonate solver against PHREEQC itself, run here on waters drawn at random (phreeqc_dat)."""

import random

import pytest
from phreeqpython import PhreeqPython

from dosing.chemistry import WaterSample, after, calcite_index
from dosing.constants import CACO3_PER_MEQ, CACO3_PER_MMOL_HARDNESS, MOLAR_MASS

# PHREEQC has no cyanuric acid: pK 6.88 at 25 C (obrien1974), enthalpy wahman2018.
CYANURIC = """
SOLUTION_MASTER_SPECIES
 Cya  HCya  0.0  129.075  129.075
SOLUTION_SPECIES
 HCya = HCya
   log_k 0.0
 HCya = Cya- + H+
   log_k -6.88
   delta_h 33.4 kJ
   -gamma 4.0 0.0
END
"""
PUNCH = """
SELECTED_OUTPUT 1
  -reset false
  -high_precision true
USER_PUNCH 1
  -headings ph si
  10 PUNCH -LA("H+"), SI("Calcite")
"""
PHREEQC_NAME = {"CaCl2.2H2O": "CaCl2:2H2O", "Na2B4O7.10H2O": "Na2B4O7:10H2O"}
LARGEST_MG_L = {
    "NaHCO3": 150,
    "Na2CO3": 25,
    "NaHSO4": 40,
    "HCl": 12,
    "CaCl2": 150,
    "CaCl2.2H2O": 150,
    "NaCl": 2000,
    "Na2B4O7.10H2O": 60,
}


@pytest.fixture(scope="module")
def engine():
    program = PhreeqPython(database="phreeqc.dat")
    program.ip.run_string(CYANURIC)
    return program


def phreeqc(engine, water, formula, mg_l):
    """Return pH and calcite index after the dose, as PHREEQC has them."""
    calcium = water.calcium_hardness / CACO3_PER_MMOL_HARDNESS
    salt = water.salt / MOLAR_MASS["NaCl"]
    alkalinity = water.total_alkalinity / CACO3_PER_MEQ
    sulfate = water.sulfate / MOLAR_MASS["SO4"]
    name = PHREEQC_NAME.get(formula, formula)
    text = f"""{PUNCH}
SOLUTION 1
  temp {water.temperature_c}
  pH {water.ph}
  units mmol/kgw
  Alkalinity {alkalinity} meq/kgw
  Ca {calcium}
  Cl {salt + 2 * calcium}
  S(6) {sulfate}
  Na {salt + alkalinity + 2 * sulfate} charge
  B {water.boron / MOLAR_MASS["B"]}
  Cya {water.cyanuric_acid / MOLAR_MASS["C3H3N3O3"]}
END
USE solution 1
REACTION 1
  {name} {mg_l / MOLAR_MASS[formula]}
  1 millimoles in 1 steps
REACTION_TEMPERATURE 1
  {water.temperature_c}
END
"""
    engine.ip.run_string(text)
    return engine.ip.get_selected_output_array()[-1]


def drawn(seed):
    """Return a water and a dose; the pH after stays in 6.5 to 8.7 for nearly all."""
    draw = random.Random(seed)
    water = WaterSample(
        temperature_c=draw.uniform(5, 42),
        ph=draw.uniform(6.8, 8.4),
        total_alkalinity=draw.uniform(40, 260),
        calcium_hardness=draw.uniform(5, 400),
        salt=draw.choice([20.0, 300.0, 1800.0, 3000.0]),
        cyanuric_acid=draw.choice([0.0, 0.0, 25.0, 80.0]),
        boron=draw.choice([0.0, 0.0, 20.0]),
        sulfate=draw.choice([0.0, 40.0, 150.0]),
    )
    formula = draw.choice(list(LARGEST_MG_L))
    share = draw.uniform(0.1, 1.0) * min(water.total_alkalinity / 120.0, 1.0)
    return water, formula, LARGEST_MG_L[formula] * share


@pytest.mark.published("phreeqc_dat")
@pytest.mark.parametrize("seed", range(150))
def test_random_water_and_dose_agree_with_phreeqc(engine, seed):
    water, formula, mg_l = drawn(seed)
    ph, index = phreeqc(engine, water, formula, mg_l)
    now = after(water, {formula: mg_l})

    assert now.ph == pytest.approx(ph, abs=0.02)
    assert calcite_index(now) == pytest.approx(index, abs=0.03)
