"""Product records and what a gram does; expected numbers are from molar masses (iupac2021)."""

import pytest
from hypothesis import given, settings, strategies as st

from dosing.chemistry import WaterSample
from dosing.errors import LogError
from dosing.products import (
    KINDS,
    amount_for,
    dissolved,
    effect,
    generic_products,
    load_products,
    per_mg_of,
)
from dosing.sources import cite

ACID = {"id": "acid-1", "kind": "acid", "formula": "NaHSO4", "purity": 0.93}
BLEACH = {
    "id": "chlorine-1",
    "kind": "chlorinating",
    "formula": "NaOCl",
    "available_chlorine": 0.105,
    "density_g_per_ml": 1.17,
}


def only(record):
    return load_products([record])[record["id"]]


def test_generic_products_cover_every_kind_and_name_their_source():
    generic = generic_products()

    assert {product.kind for product in generic.values()} == set(KINDS)
    for product in generic.values():
        assert product.source is not None
        assert cite(product.source)


@pytest.mark.parametrize(
    ("record", "words"),
    [
        ({"kind": "acid"}, r"products\[0\]: the field 'id' is missing"),
        ({"id": "a"}, r"products\[0\]: the field 'kind' is missing"),
        ({"id": "a", "kind": "potion"}, r"products\[0\] \(a\): the kind 'potion' is unknown"),
        (
            {"id": "acid-1", "kind": "acid", "formula": "NaHSO4"},
            r"\(acid-1\): the field .purity. is missing; a product of kind acid needs formula",
        ),
        (ACID | {"purity": 93}, r"'purity' is 93; .* a mass fraction, 0.93 for 93 %"),
        (ACID | {"purity": 0}, r"'purity' is 0; it must be over 0"),
        (ACID | {"purity": "93 %"}, r"'purity' is '93 %'; write a plain number"),
        (ACID | {"purity": True}, r"'purity' is True; write a plain number"),
        (ACID | {"name": 7}, r"'name' is 7; write it as text"),
        (
            ACID | {"formula": "NaCl"},
            r"'NaCl' does not fit a product of kind acid; known are: NaHSO4",
        ),
        (
            BLEACH | {"formula": "NaCl2C3N3O3.2H2O", "available_chlorine": 0.9},
            r"'available_chlorine' is 0.9, but pure NaCl2C3N3O3.2H2O holds 0.554",
        ),
        (BLEACH | {"density_g_per_ml": float("nan")}, r"is nan; write a plain number"),
    ],
)
def test_a_record_that_cannot_be_used_is_named_with_field_and_cure(record, words):
    with pytest.raises(LogError, match=words):
        load_products([record])


def test_a_second_record_with_the_same_id_is_named():
    with pytest.raises(LogError, match=r"products\[1\]: a second product has the id 'acid-1'"):
        load_products([ACID, ACID])


# mg/L per mg/L of the pure compound, to the printed digits of the side-effect table.
@pytest.mark.parametrize(
    ("formula", "analyte", "per_mg"),
    [
        ("NaHSO4", "total_alkalinity", -0.4168),
        ("NaHSO4", "sulfate", 0.800),
        ("HCl", "total_alkalinity", -1.373),
        ("Na2CO3", "total_alkalinity", 0.9443),
        ("NaHCO3", "total_alkalinity", 0.5957),
        ("CaCl2", "calcium_hardness", 0.9018),
        ("CaCl2.2H2O", "calcium_hardness", 0.6808),
        ("NaCl", "salt", 1.0),
    ],
)
def test_side_effects_per_mg(formula, analyte, per_mg):
    assert per_mg_of(formula)[analyte] == pytest.approx(per_mg, rel=0.001)


# Rises per mg/L of free chlorine: alkalinity 0.706 / 0.706 / 0.353, hardness 0.706 of calcium
# hypochlorite, cyanuric acid 0.910 of dichlor.
@pytest.mark.parametrize(
    ("formula", "strength", "rises"),
    [
        ("NaOCl", 0.105, {"total_alkalinity": 0.706, "salt": 0.824}),
        ("Ca(OCl)2", 0.65, {"total_alkalinity": 0.706, "calcium_hardness": 0.706}),
        ("NaCl2C3N3O3.2H2O", 0.55, {"total_alkalinity": 0.353, "cyanuric_acid": 0.910}),
    ],
)
def test_chlorine_products_bring_their_side_effects(formula, strength, rises):
    product = only(BLEACH | {"formula": formula, "available_chlorine": strength})
    grams = amount_for(product, 4.0, 1250.0)
    change = effect(product, grams, 1250.0)

    assert change["free_chlorine"] == pytest.approx(4.0)
    for analyte, per_chlorine in rises.items():
        assert change[analyte] == pytest.approx(4.0 * per_chlorine, rel=0.002)


# 16.7 mL of 6.0 % w/v bleach per 1000 L and mg/L (handbook line, iupac2021).
def test_bleach_is_measured_in_millilitres():
    product = only(BLEACH | {"available_chlorine": 0.06 / 1.08, "density_g_per_ml": 1.08})
    grams = amount_for(product, 1.0, 1000.0)

    assert product.millilitres(grams) == pytest.approx(16.7, abs=0.05)
    assert only(ACID).millilitres(10.0) is None


# +0.706 when all becomes tetrathionate (143 mg Cl2/g), -1.059 when sulfate (1143 mg/g).
@pytest.mark.parametrize(("takes", "per_chlorine"), [(142.8, 0.706), (1142.7, -1.059)])
def test_thiosulfate_moves_alkalinity_either_way(takes, per_chlorine):
    record = {"id": "t", "kind": "dechlorinating", "removes_mg_cl2_per_g": takes}
    product = only(record)
    change = effect(product, amount_for(product, -2.0, 1000.0), 1000.0)

    assert change["free_chlorine"] == pytest.approx(-2.0)
    assert change["total_alkalinity"] == pytest.approx(2.0 * per_chlorine, rel=0.002)


def test_slow_products_take_what_they_say():
    generic = generic_products()
    soft = effect(generic["softening-medium"], 100.0, 1000.0)
    phosphate = effect(generic["phosphate-remover"], 20.0, 1000.0)

    assert soft["calcium_hardness"] == pytest.approx(-8.0)
    assert phosphate["phosphate"] == pytest.approx(-400.0)
    assert generic["softening-medium"].is_slow
    assert not generic["salt"].is_slow


def test_what_is_never_dosed_has_no_effect():
    silver = generic_products()["silver"]

    assert effect(silver, 100.0, 1000.0) == {}
    assert amount_for(silver, 1.0, 1000.0) == 0.0


DOSED = st.sampled_from([p for p in generic_products().values() if p.analyte])


@settings(max_examples=60, deadline=None)
@given(DOSED, st.floats(0.1, 200.0), st.floats(700.0, 2000.0))
def test_amounts_and_effects_are_each_others_inverse(product, grams, litres):
    analyte = "total_alkalinity" if product.analyte == "ph" else product.analyte
    change = effect(product, grams, litres)[analyte]

    assert amount_for(product, change, litres) == pytest.approx(grams)
    assert amount_for(product, -change, litres) == 0.0


@settings(max_examples=30, deadline=None)
@given(DOSED, st.floats(0.5, 30.0))
def test_ph_moves_with_the_sign_of_the_kind(product, grams):
    water = WaterSample(38.0, 7.5, 80.0)
    if not dissolved(product, grams, 1000.0):
        return
    moved = effect(product, grams, 1000.0, water)["ph"]

    if product.analyte == "ph":
        assert moved * KINDS[product.kind].sign > 0.0
