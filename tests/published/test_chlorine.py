"""Hypochlorous acid, cyanurate and the molar masses' handbook lines."""

import pytest

from dosing.chemistry import WaterSample, after
from dosing.chlorine import BROMINE_PER_CHLORINE, hypochlorous_mg_l, hypochlorous_share
from dosing.constants import MOLAR_MASS


@pytest.mark.published("davis_wwe")
def test_hypochlorite_at_ph_7_is_the_textbooks():
    """Printed: OCl- 22.37 % with pKa 7.54; the pKa's last digit is worth 0.4 %."""
    assert 1.0 - hypochlorous_share(7.0, 25.0) == pytest.approx(0.2237, abs=0.004)


@pytest.mark.published("morris1966")
@pytest.mark.parametrize(("celsius", "pka"), [(20, 7.582), (25, 7.537), (35, 7.463)])
def test_half_is_acid_at_the_pka(celsius, pka):
    assert hypochlorous_share(pka, celsius) == pytest.approx(0.5, abs=0.001)


@pytest.mark.published("wahman2019")
@pytest.mark.parametrize(("celsius", "free", "tolerance"), [(25, 0.90, 0.005), (5, 0.60, 0.03)])
def test_free_chlorine_of_dichlor_is_the_published_one(celsius, free, tolerance):
    """2 mg/L Cl2 as dichlor at pH 7.0: 0.90 mg/L free at 25 C, 0.60 at 5 C.

    Only the abstract was read; the constants' own errors leave 4 % at 5 C.
    """
    unbound = hypochlorous_mg_l(2.0, 2.0 * 0.910, 7.0, celsius) / hypochlorous_share(7.0, celsius)

    assert unbound == pytest.approx(free, abs=tolerance)


@pytest.mark.published("wahman2019")
def test_dichlor_brings_its_cyanuric_acid():
    """0.89 mg 'Cy' (126.05 g/mol) per mg Cl2, which is 0.91 as cyanuric acid."""
    dose = MOLAR_MASS["NaCl2C3N3O3.2H2O"] / (2.0 * MOLAR_MASS["Cl2"])
    water = after(WaterSample(38.0, 7.5, 80.0), {"NaCl2C3N3O3.2H2O": dose})

    assert water.free_chlorine == pytest.approx(1.0, abs=1e-6)
    assert water.cyanuric_acid == pytest.approx(0.89 / 126.05 * 129.075, abs=0.005)


@pytest.mark.published("iupac2021")
def test_bromine_of_a_chlorine_reading():
    """2.25 in use in the trade; 159.81 / 70.90 = 2.254."""
    assert pytest.approx(2.254, abs=0.0005) == BROMINE_PER_CHLORINE


# g per 1000 L, from molar masses as a handbook prints them (iupac2021).
@pytest.mark.published("iupac2021")
@pytest.mark.parametrize(
    ("formula", "mg_l", "field", "change"),
    [
        ("NaHCO3", 16.79, "total_alkalinity", 10.0),
        ("Na2CO3", 10.59, "total_alkalinity", 10.0),
        ("NaHSO4", 23.99, "total_alkalinity", -10.0),
        ("HCl", 7.285, "total_alkalinity", -10.0),
        ("CaCl2", 11.09, "calcium_hardness", 10.0),
        ("CaCl2.2H2O", 14.69, "calcium_hardness", 10.0),
        ("NaCl", 100.0, "salt", 100.0),
        ("NaCl2C3N3O3.2H2O", 1.805, "free_chlorine", 1.0),
        ("Ca(OCl)2", 1.008, "free_chlorine", 1.0),
        ("NaOCl", 1.0499, "free_chlorine", 1.0),
    ],
)
def test_stoichiometry_agrees_with_the_handbook_lines(formula, mg_l, field, change):
    before = WaterSample(38.0, 7.6, 100.0, 60.0, 200.0)
    now = after(before, {formula: mg_l})

    assert getattr(now, field) - getattr(before, field) == pytest.approx(change, rel=0.001)


@pytest.mark.published("operator_course")
def test_bisulfate_line_of_the_operator_course():
    """2.1 lb of bisulfate in 10,000 gal lower alkalinity by 10: good to its two digits, at 95 %."""
    grams, litres = 2.1 * 453.592, 10_000 * 3.785
    before = WaterSample(25.0, 7.8, 150.0)
    now = after(before, {"NaHSO4": 0.95 * grams / litres * 1000.0})

    assert before.total_alkalinity - now.total_alkalinity == pytest.approx(10.0, abs=0.3)
