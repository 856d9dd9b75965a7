"""A dose in ounces, cups and millilitres: the same amount, never more than was computed."""

import pytest
from hypothesis import given, strategies as some

from dosing.products import KINDS, Product, generic_products
from dosing.sources import sources
from dosing.units import _bulk, amounts, told

SOLID = Product("bicarbonate", "bicarbonate", formula="NaHCO3", purity=0.99)
LIQUID = Product(
    "bleach", "chlorinating", formula="NaOCl", available_chlorine=0.105, density_g_per_ml=1.17
)
# Exact by definition: NIST Handbook 44 (2024), appendix C: 1 oz avoirdupois = 28.349523125 g,
# 1 US fluid ounce = 29.5735295625 mL, 1 US cup = 236.5882365 mL.
OUNCE_G, FLUID_OUNCE_ML, CUP_ML = 28.349523125, 29.5735295625, 236.5882365


def by_unit(product, grams, system):
    return {one.unit: one for one in amounts(product, grams, system)}


def test_a_solid_in_ounces_and_cups():
    found = by_unit(SOLID, 500.0, "us")
    assert found["g"].value == 500.0
    assert found["oz"].value == pytest.approx(500.0 / OUNCE_G, rel=0.06)
    assert found["cup"].value == 2.0, "500 mL by the bulk density are 2.11 cups"
    assert found["cup"].by_scoop
    assert not found["oz"].by_scoop


def test_a_liquid_in_millilitres_and_fluid_ounces():
    found = by_unit(LIQUID, 117.0, "us")
    assert found["mL"].value == pytest.approx(100.0)
    assert found["fl oz"].value == pytest.approx(100.0 / FLUID_OUNCE_ML, rel=0.06)
    assert found["cup"].value == 0.25
    assert not found["cup"].by_scoop


def test_metric_has_no_ounces():
    assert set(by_unit(LIQUID, 117.0, "metric")) == {"g", "mL"}


def test_a_small_dose_comes_in_spoons():
    assert by_unit(SOLID, 20.0, "us")["tablespoon"].value == 1.0
    assert by_unit(SOLID, 3.0, "us")["teaspoon"].value == 0.5


def test_what_has_no_density_is_weighed():
    resin = Product("resin", "softening_medium", removes_mg_caco3_per_g=80, acts_over_h=24)
    assert set(by_unit(resin, 400.0, "us")) == {"g", "oz"}
    assert told(amounts(resin, 400.0, "metric")) == ""


def test_the_sentence_says_that_a_scoop_is_less_sure():
    assert told(amounts(SOLID, 500.0, "us")) == (
        "That is about 500 mL, or 17 oz, or about 2 cups. A scoop is less sure than a scale."
    )


@given(some.floats(0.5, 20_000.0), some.sampled_from([SOLID, LIQUID]))
def test_no_unit_is_more_than_the_grams(grams, product):
    factor = {"oz": OUNCE_G, "g": 1.0}
    density = product.density_g_per_ml or 1.0
    factor |= {"mL": density, "fl oz": FLUID_OUNCE_ML * density, "cup": CUP_ML * density}
    factor |= {"tablespoon": CUP_ML / 16 * density, "teaspoon": CUP_ML / 48 * density}
    for one in amounts(product, grams, "us"):
        assert one.value * factor[one.unit] <= grams * 1.0001


def test_every_formula_that_is_poured_dry_has_a_bulk_density_with_a_source():
    liquids = {"NaOCl", "HCl", "H2SO4"}
    formulas = {formula for kind in KINDS.values() for formula in kind.formulas} - liquids
    assert formulas <= set(_bulk())
    assert all(record["source"] in sources() for record in _bulk().values())
    assert generic_products()
