"""Properties the chemistry must have whatever its constants are."""

import pytest
from hypothesis import given, settings, strategies as st

from dosing.chemistry import (
    MOVES,
    ChemistryError,
    WaterSample,
    aerated,
    after,
    at_temperature,
    blend,
    carbon_mmol_l,
    carbonate_alkalinity,
    dose_to_ph,
    ph_slope,
    softened_share,
    with_carbon,
)

WATERS = st.builds(
    WaterSample,
    temperature_c=st.floats(5.0, 42.0),
    ph=st.floats(6.8, 8.3),
    total_alkalinity=st.floats(30.0, 260.0),
    calcium_hardness=st.floats(0.0, 400.0),
    salt=st.floats(0.0, 3000.0),
    cyanuric_acid=st.sampled_from([0.0, 30.0]),
    boron=st.sampled_from([0.0, 20.0]),
    sulfate=st.floats(0.0, 100.0),
    free_chlorine=st.sampled_from([0.0, 3.0, 10.0]),
)
FEW = settings(max_examples=40, deadline=None)


@FEW
@given(WATERS)
def test_solving_back_and_forth_returns_the_ph(water):
    assert with_carbon(water, carbon_mmol_l(water)).ph == pytest.approx(water.ph, abs=1e-5)


@FEW
@given(WATERS, st.sampled_from(["NaHSO4", "HCl", "Na2CO3"]), st.floats(0.1, 0.5))
def test_dose_to_ph_reaches_its_target(water, formula, by):
    target = water.ph + (by if formula == "Na2CO3" else -by)
    dose = dose_to_ph(water, formula, target)

    assert dose > 0.0
    assert after(water, {formula: dose}).ph == pytest.approx(target, abs=1e-4)


@FEW
@given(WATERS, st.sampled_from(["NaHSO4", "HCl", "Na2CO3"]), st.floats(0.05, 0.5))
def test_dose_away_from_the_target_is_zero_never_negative(water, formula, by):
    wrong = water.ph - (by if formula == "Na2CO3" else -by)

    assert dose_to_ph(water, formula, wrong) == 0.0


@FEW
@given(WATERS, st.floats(1.0, 10.0))
def test_acid_lowers_and_soda_ash_raises_ph(water, mg_l):
    assert after(water, {"NaHSO4": mg_l}).ph < water.ph < after(water, {"Na2CO3": mg_l}).ph


@FEW
@given(WATERS, st.floats(0.5, 5.0), st.floats(0.5, 5.0))
def test_more_acid_never_gives_a_higher_ph(water, first, more):
    assert after(water, {"HCl": first + more}).ph < after(water, {"HCl": first}).ph


@FEW
@given(WATERS, st.sampled_from(sorted(MOVES)), st.floats(1.0, 10.0))
def test_two_halves_make_the_whole(water, formula, mg_l):
    whole = after(water, {formula: mg_l})
    halves = after(after(water, {formula: mg_l / 2}), {formula: mg_l / 2})

    assert halves.ph == pytest.approx(whole.ph, abs=1e-4)
    assert halves.total_alkalinity == pytest.approx(whole.total_alkalinity, abs=1e-6)


@FEW
@given(WATERS, WATERS, st.floats(0.0, 1.0))
def test_blending_keeps_the_mass(one, other, share):
    mixed = blend(one, other, share)

    for name in ("total_alkalinity", "calcium_hardness", "sulfate", "free_chlorine"):
        wanted = (1.0 - share) * getattr(one, name) + share * getattr(other, name)
        assert getattr(mixed, name) == pytest.approx(wanted, abs=1e-6)
    assert carbon_mmol_l(mixed) == pytest.approx(
        (1.0 - share) * carbon_mmol_l(one) + share * carbon_mmol_l(other), rel=1e-5
    )


@FEW
@given(WATERS, st.floats(5.0, 42.0))
def test_heating_and_cooling_back_changes_nothing(water, celsius):
    back = at_temperature(at_temperature(water, celsius), water.temperature_c)

    assert back.ph == pytest.approx(water.ph, abs=1e-4)


@FEW
@given(WATERS)
def test_air_drives_every_tub_to_the_same_end_whatever_its_ph_was(water):
    lower = with_carbon(water, carbon_mmol_l(water) * 1.05)

    assert aerated(lower).ph == pytest.approx(aerated(water).ph, abs=1e-4)


@FEW
@given(WATERS)
def test_slopes_foretell_small_changes(water):
    by_alkalinity, by_carbon = ph_slope(water)

    assert by_alkalinity > 0.0 > by_carbon
    lost = with_carbon(water, carbon_mmol_l(water) * 0.999).ph - water.ph
    assert lost == pytest.approx(-by_carbon * carbon_mmol_l(water) * 0.001, rel=0.15)


def test_cyanurate_and_borate_are_taken_off_the_alkalinity():
    plain = WaterSample(38.0, 7.5, 120.0)
    treated = WaterSample(38.0, 7.5, 120.0, cyanuric_acid=60.0, boron=20.0)

    assert carbonate_alkalinity(plain) == pytest.approx(120.0, abs=0.2)
    assert 90.0 < carbonate_alkalinity(treated) < 102.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"ph": 3.0}, "pH 3 is outside 4.3 to 11"),
        ({"ph": float("nan")}, "pH nan is outside"),
        ({"total_alkalinity": -1.0}, "total alkalinity -1 mg/L is outside 0 to 2000"),
        ({"salt": float("inf")}, "salt inf mg/L is outside"),
    ],
)
def test_a_water_that_cannot_be_is_refused_in_words(change, words):
    facts = {"temperature_c": 38.0, "ph": 7.5, "total_alkalinity": 80.0} | change

    with pytest.raises(ChemistryError, match=words):
        WaterSample(**facts)


def test_a_dose_too_large_for_the_water_is_refused_not_computed():
    water = WaterSample(38.0, 7.2, 40.0)

    with pytest.raises(ChemistryError, match=r"too large|no carbonate|did not settle"):
        after(water, {"HCl": 500.0})


def test_bicarbonate_cannot_bring_ph_9():
    with pytest.raises(ChemistryError, match="no amount of NaHCO3"):
        dose_to_ph(WaterSample(38.0, 7.2, 80.0), "NaHCO3", 9.0)


@pytest.mark.parametrize(
    ("added", "words"),
    [({"NaF": 1.0}, "'NaF' is not known"), ({"HCl": -1.0}, "cannot be added; give 0 or more")],
)
def test_a_dose_that_makes_no_sense_is_refused(added, words):
    with pytest.raises(ChemistryError, match=words):
        after(WaterSample(38.0, 7.5, 80.0), added)


def test_heat_out_of_range_is_refused():
    with pytest.raises(ChemistryError, match="75 C is outside 0 to 50"):
        at_temperature(WaterSample(38.0, 7.5, 80.0), 75.0)


def test_softened_water_must_be_the_softer():
    with pytest.raises(ChemistryError, match="is not softer than"):
        softened_share(50.0, 80.0, 60.0)
