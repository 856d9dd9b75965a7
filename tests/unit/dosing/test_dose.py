"""Doses: towards the aim, short of the far limit, never a wrong sign, always measurable."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings, strategies as st

from dosing.dose import Want, dose_for, measurable, want_of
from dosing.log import Log, Reading, Tub
from dosing.procedure import load_builtin
from dosing.products import generic_products, load_products
from dosing.water import believe

AT = datetime(2025, 6, 1, tzinfo=UTC)
TUB = Tub("Case", 1000.0, 38.0, "salt_chlorine", True)
GATES = {gate.id: gate for _, gate in load_builtin("salt_startup").gates()}
PRODUCTS = generic_products()


def water(**values):
    halves = {"ph": 0.1, "total_alkalinity": 8.0, "calcium_hardness": 6.0, "salt": 30.0}
    read = [
        Reading(AT, name, value, max(value - halves[name], 0.0), value + halves[name], "photo")
        for name, value in values.items()
    ]
    return believe(Log(TUB, "salt_startup", (), tuple(read)), PRODUCTS, AT)


def plan(gate, side, product, **values):
    return dose_for(want_of(GATES[gate], side), water(**values), PRODUCTS[product])


@pytest.mark.published("iupac2021")
def test_salt_by_mass():
    """100 mg/L of sodium chloride in 1000 L is 100 g of the pure salt (references: b)."""
    given_g = plan("salt", "low", "salt", salt=1600.0)
    assert given_g.needed_g == pytest.approx(150.0 / 0.995, rel=0.05)


@pytest.mark.published("iupac2021")
def test_calcium_by_molar_mass():
    """10 mg/L of hardness in 1000 L is 14.69 g of pure dihydrate (references: b, derived)."""
    given_g = plan("calcium_hardness", "low", "calcium-chloride", calcium_hardness=20.0)
    assert given_g.needed_g == pytest.approx(3.0 * 14.69 / 0.97, rel=0.07)


def test_acid_stops_short_of_the_far_limit_by_its_whole_band():
    given_g = plan("ph", "high", "dry-acid", ph=8.1, total_alkalinity=90.0)
    low, _ = given_g.after.band("ph", 0.99)
    assert given_g.grams > 0.0
    assert low >= 7.2 - 1e-3


def test_acid_for_the_alkalinity_keeps_the_ph_at_seven():
    given_g = plan("total_alkalinity", "high", "dry-acid", ph=7.8, total_alkalinity=240.0)
    assert given_g.held_back_by == "ph"
    assert given_g.after.band("ph", 0.99)[0] >= 7.0


def test_a_pack_limit_splits_the_dose_into_equal_parts():
    record = {"id": "s", "kind": "salt", "formula": "NaCl", "purity": 1.0, "max_step_g": 500.0}
    product = load_products([record])["s"]
    given_g = dose_for(want_of(GATES["salt"], "low"), water(salt=50.0), product)
    assert given_g.held_back_by == "pack"
    assert 400.0 <= given_g.grams <= 500.0


@pytest.mark.parametrize(
    ("grams", "rounded"),
    [(0.04, 0.0), (1.57, 1.5), (7.9, 7.5), (34.9, 34.0), (347, 345.0), (1237, 1230)],
)
def test_amounts_are_rounded_down_to_what_a_scale_shows(grams, rounded):
    assert measurable(grams) == rounded


@settings(max_examples=25, deadline=None)
@given(
    st.floats(0.0, 60.0),
    st.floats(20.0, 200.0),
    st.floats(6.6, 8.4),
)
def test_no_dose_is_negative_or_beyond_the_need(calcium, alkalinity, ph):
    known = water(calcium_hardness=calcium, total_alkalinity=alkalinity, ph=ph)
    for want, product in (
        (Want("calcium_hardness", 50.0, 75.0, None), "calcium-chloride"),
        (Want("total_alkalinity", 85.0, 150.0, None), "bicarbonate"),
        (Want("ph", 7.4, 7.2, 7.0), "dry-acid"),
        (Want("ph", 7.4, 7.8, 7.0), "soda-ash"),
    ):
        given_g = dose_for(want, known, PRODUCTS[product])
        assert 0.0 <= given_g.grams <= given_g.needed_g + 1e-9
