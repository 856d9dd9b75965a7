"""The simulated water obeys the handbook's stoichiometry and moves the right way in time.

Values are per 1 mg/L free chlorine or 10 mg/L of product, derived from molar masses
(IUPAC conventional atomic weights) unless a source is named.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from tests.tubs.draw import PRODUCTS, draw
from tests.tubs.harsh import harsh_facts, harsh_technician
from tests.tubs.technician import START
from tests.tubs.tub import Tub

TA, CH, CYA, FC, SALT = (
    *("total_alkalinity", "calcium_hardness", "cyanuric_acid", "free_chlorine", "salt"),
)


@pytest.fixture
def tub(chemistry):
    """A cubic metre of ordinary water that neither breathes nor eats chlorine."""
    facts = replace(
        draw(8, "ordinary"),
        volume_l=1000.0,
        strength={},
        still_loss_per_h=0.0,
        jets_loss_per_h=0.0,
        first_demand_mg_l=0.0,
        decay_per_day=0.0,
        organics_mg_l_day=0.0,
    )
    tub = Tub(facts, chemistry, START)
    tub.fill_up()
    tub.heater_c = tub.temperature_c
    return tub


def moved(tub, minutes=60):
    before = tub.truth()
    tub.jets(minutes)
    tub.advance(tub.now + timedelta(minutes=minutes))
    after = tub.truth()
    return {name: after[name] - before[name] for name in after}


@pytest.mark.parametrize(
    ("kind", "formula", "grams", "analyte", "change"),
    [
        ("acid", "NaHSO4", 10.0, TA, -4.168),
        ("acid", "HCl", 10.0, TA, -13.73),
        ("base_carbonate", "Na2CO3", 10.0, TA, 9.443),
        ("bicarbonate", "NaHCO3", 10.0, TA, 5.957),
        ("calcium", "CaCl2", 10.0, CH, 9.018),
        ("calcium", "CaCl2.2H2O", 10.0, CH, 6.808),
        ("salt", "NaCl", 1000.0, SALT, 1000.0),
    ],
)
def test_a_pure_product_moves_the_water_by_its_molar_mass(
    tub, kind, formula, grams, analyte, change
):
    """The side-effect table of the handbooks, in grams to a cubic metre."""
    tub.add({"id": "pure", "kind": kind, "formula": formula, "purity": 1.0}, grams)

    assert moved(tub)[analyte] == pytest.approx(change, rel=0.001)


@pytest.mark.parametrize(
    ("formula", "alkalinity", "hardness", "cyanuric"),
    [
        ("NaOCl", 0.706, 0.0, 0.0),
        ("Ca(OCl)2", 0.706, 0.706, 0.0),
        ("NaCl2C3N3O3.2H2O", 0.353, 0.0, 0.910),
    ],
)
def test_each_chlorine_brings_its_side_effects(tub, formula, alkalinity, hardness, cyanuric):
    tub.ions = tub.ions.plus(hypochlorite=-tub.ions.hypochlorite)
    product = {
        "id": "pure",
        "kind": "chlorinating",
        "formula": formula,
        "available_chlorine": 1.0,
    }
    tub.add(product, 5.0)

    change = moved(tub)
    assert change[FC] == pytest.approx(5.0, rel=0.001)
    assert change[TA] == pytest.approx(5 * alkalinity, rel=0.002)
    assert change[CH] == pytest.approx(5 * hardness, rel=0.002, abs=1e-6)
    assert change[CYA] == pytest.approx(5 * cyanuric, rel=0.002, abs=1e-6)


def test_chlorine_used_up_takes_alkalinity(tub):
    """0.706 mg/L alkalinity for each mg/L of chlorine: one acid a chlorine."""
    tub.ions = tub.ions.plus(hypochlorite=5 / 70.9 - tub.ions.hypochlorite)
    tub.facts = replace(tub.facts, decay_per_day=5.0)

    change = moved(tub, 60 * 48)
    assert change[FC] < -2
    assert change[TA] / change[FC] == pytest.approx(0.706, rel=0.01)


def test_the_cell_gives_what_it_is_set_to(tub):
    tub.ions = tub.ions.plus(sodium=30.0, chloride=30.0 - tub.ions.chloride)
    tub.cell, tub.powered, tub.output = True, True, 0.5

    assert moved(tub, 60 * 24)[FC] == pytest.approx(0.5 * tub.facts.yield_mg_l_day, rel=0.02)


def test_air_takes_carbon_dioxide_and_not_alkalinity(tub):
    tub.facts = replace(tub.facts, jets_loss_per_h=1.0)

    change = moved(tub, 180)
    assert change["ph"] > 0.1
    assert change[TA] == pytest.approx(0.0, abs=1e-6)


def test_softening_takes_a_day_and_stops_at_its_capacity(tub):
    medium = next(p for p in PRODUCTS if p["kind"] == "softening_medium")
    tub.add(medium, 500.0)

    first = moved(tub, 180)[CH]
    rest = moved(tub, 60 * 48)[CH]
    assert -40 < first < -5
    assert first + rest == pytest.approx(-40.0, rel=0.02)


def test_the_filter_gives_phosphate_back_until_it_is_cleaned(tub):
    remover = next(p for p in PRODUCTS if p["kind"] == "phosphate_remover")
    tub.phosphate = 600.0
    tub.add(remover, 16.0)
    moved(tub, 60 * 48)

    assert moved(tub, 60 * 24)["phosphate"] > 0
    tub.in_filter = 0.0
    assert moved(tub, 60 * 24)["phosphate"] == pytest.approx(0.0, abs=0.5)


def test_replaced_water_is_a_blend(tub):
    salt = next(p for p in PRODUCTS if p["kind"] == "salt")
    hose = tub.truth("fill")[SALT]
    tub.add(salt, 1000.0)
    moved(tub)
    full = tub.truth()[SALT]
    tub.replace(0.4)

    assert tub.truth()[SALT] == pytest.approx(0.6 * full + 0.4 * hose, rel=1e-6)


def test_the_worked_acid_case_of_the_reference(chemistry):
    """Case bisulfate-01 (PHREEQC, phreeqc.dat): 20 mg/L NaHSO4 takes pH 8.2 to 7.456.

    Its calcium comes as chloride, ours as far as it can as bicarbonate: 0.004 pH apart.
    """
    ions = chemistry.water(38.0, 8.2, 120.0, 100.0, 50.0)
    after = ions.plus(sodium=20 / 120.054, sulfate=20 / 120.054)

    assert chemistry.solve(ions, 38.0).ph == pytest.approx(8.2, abs=1e-4)
    assert chemistry.solve(after, 38.0).ph == pytest.approx(7.4558, abs=0.005)


def test_the_second_world_has_other_laws_and_the_same_waters_each_time():
    first, again = harsh_facts(4), harsh_facts(4)

    assert first == again
    facts, world = first
    assert facts != draw(4)
    assert 0.9 <= facts.volume_l / facts.stated_volume_l <= 1.1
    assert 0.3 <= world.eaten_settled <= world.eaten_first_day <= 5.0


def test_chlorine_of_the_second_world_falls_by_what_a_day_eats():
    technician = harsh_technician(4, None)
    tub = technician.tub
    tub.fill_up()
    tub.facts = replace(tub.facts, decay_per_day=1e-6)
    tub.ions = tub.ions.plus(hypochlorite=(8.0 - tub.truth()["free_chlorine"]) / 70.9)
    tub.advance(tub.now + timedelta(days=1))

    lost = 8.0 - tub.truth()["free_chlorine"]
    assert tub.world.eaten_settled <= lost <= tub.world.eaten_first_day
