"""The carbonate solver against PHREEQC's reference cases and the published constants at 25 C."""

import json
import math
from pathlib import Path

import pytest

from dosing.chemistry import (
    WaterSample,
    aerated,
    after,
    at_temperature,
    blend,
    calcite_index,
    carbon_mmol_l,
    speciate,
)
from dosing.equilibria import equilibria

PH_TOLERANCE, INDEX_TOLERANCE = 0.02, 0.03
OUR_NAME = {"CaCl2:2H2O": "CaCl2.2H2O", "Na2B4O7:10H2O": "Na2B4O7.10H2O"}
DATA = json.loads((Path(__file__).parent / "data" / "phreeqc_cases.json").read_text())
CASES = {case["id"]: case for case in DATA["cases"]}


def water_after(case):
    water = WaterSample(**case["water"])
    match case["kind"]:
        case "dose":
            doses = {OUR_NAME.get(d["chemical"], d["chemical"]): d["mg_l"] for d in case["dose"]}
            return after(water, doses)
        case "heat":
            return at_temperature(water, case["to_temperature_c"])
        case "aerate":
            return aerated(water, co2_ppm=10 ** case["log10_pco2"] * 1e6)
        case "mix":
            return blend(water, WaterSample(**case["water_b"]), case["fraction_b"])
    raise AssertionError(case["kind"])


@pytest.mark.published("phreeqc_dat")
@pytest.mark.parametrize("name", CASES)
def test_ph_and_calcite_index_agree_with_the_reference(name):
    case = CASES[name]
    water = water_after(case)

    assert water.ph == pytest.approx(case["after"]["ph"], abs=PH_TOLERANCE)
    assert calcite_index(water) == pytest.approx(case["after"]["calcite_si"], abs=INDEX_TOLERANCE)


@pytest.mark.published("phreeqc_dat")
@pytest.mark.parametrize("name", CASES)
def test_carbon_and_ionic_strength_agree_with_the_reference(name):
    case = CASES[name]
    water = WaterSample(**case["water"])

    assert carbon_mmol_l(water) == pytest.approx(case["before"]["dic_mmol_kg"], rel=0.005)
    strength = case["before"]["ionic_strength_mol_kg"]
    assert speciate(water).ionic_strength == pytest.approx(strength, rel=0.01)


@pytest.mark.published("phreeqc_dat")
@pytest.mark.parametrize("name", [n for n, c in CASES.items() if c["kind"] == "dose"])
def test_alkalinity_and_hardness_after_a_dose_agree_with_the_reference(name):
    case = CASES[name]
    water = water_after(case)

    # The reference prints alkalinity and hardness to 0.001 mg/L; its water loses 0.002 % to bonds.
    assert water.total_alkalinity == pytest.approx(case["after"]["total_alkalinity"], abs=0.02)
    assert water.calcium_hardness == pytest.approx(case["after"]["calcium_hardness"], abs=0.02)
    assert water.sulfate == pytest.approx(case["after"]["sulfate_mg_l"], abs=0.02)


# Published at 25 C: calcite -8.480 +- 0.020, CaHCO3+ 1.11 +- 0.07, CaCO3(aq) 3.22 +- 0.14.
@pytest.mark.published("plummer1982")
@pytest.mark.parametrize(
    ("name", "log_k", "tolerance"),
    [
        ("calcite", -8.480, 0.0005),
        ("cahco3", 1.11, 0.005),
        ("caco3", 3.22, 0.005),
        ("first", -6.352, 0.0005),
        ("second", -10.329, 0.0005),
        ("henry", -1.468, 0.0005),
    ],
)
def test_constants_at_25_c_are_the_published_ones(name, log_k, tolerance):
    assert math.log10(getattr(equilibria(25.0), name)) == pytest.approx(log_k, abs=tolerance)


# Water 13.995 and borate 9.24 at 25 C as the database has them.
@pytest.mark.published("phreeqc_dat")
@pytest.mark.parametrize(("name", "log_k"), [("water", -13.995), ("boric", -9.24)])
def test_water_and_boric_acid_at_25_c(name, log_k):
    assert math.log10(getattr(equilibria(25.0), name)) == pytest.approx(log_k, abs=0.002)


# Debye-Hueckel at 25 C: A 0.509, B 0.328 (textbook values; from memory).
@pytest.mark.published("truesdell1974")
def test_debye_hueckel_at_25_c():
    known = equilibria(25.0)

    assert known.debye_a == pytest.approx(0.509, abs=0.001)
    assert known.debye_b == pytest.approx(0.328, abs=0.001)
