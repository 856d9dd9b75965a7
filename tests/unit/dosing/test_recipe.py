"""Waters of known value: stoichiometry, bands, and cautions that are always there."""

import json
import math

import pytest

from dosing.constants import MOLAR_MASS
from dosing.phosphate_buffer import KH2PO4_G_MOL, NA2HPO4_G_MOL, buffer_ph
from dosing.recipe import Means, RecipeError, as_dict, mix
from dosing.substances import ALIASES, SERIES, SUBSTANCES

EVERY = [*SERIES, *ALIASES]


@pytest.mark.parametrize(
    ("analyte", "formula", "handbook_g_per_1000_l", "change"),
    [
        # g of pure chemical for 1000 L, IUPAC conventional masses (iupac2021), worked by hand
        ("total_alkalinity", "NaHCO3", 16.79, 10.0),
        ("total_alkalinity", "Na2CO3", 10.59, 10.0),
        ("calcium_hardness", "CaCl2", 11.09, 10.0),
        ("calcium_hardness", "CaCl2.2H2O", 14.69, 10.0),
        ("salt", "NaCl", 100.0, 100.0),
        ("free_chlorine", "NaCl2C3N3O3.2H2O", 1.805, 1.0),
    ],
)
def test_stoichiometry_agrees_with_the_handbook_lines(
    analyte, formula, handbook_g_per_1000_l, change
):
    substance = next(s for s in SUBSTANCES[analyte] if s.formula == formula)

    grams = change * 1000.0 / substance.gives_mg_per_g

    assert grams == pytest.approx(handbook_g_per_1000_l, rel=6e-4)


def test_phosphate_stock_agrees_with_the_laboratory_handbook():
    """Standard Methods 4500-P, stock: 219.5 mg KH2PO4 a litre is 50.0 mg/L P (from memory)."""
    phosphate = SUBSTANCES["phosphate"][0].gives_mg_per_g * 0.2195

    assert phosphate * 30.974 / MOLAR_MASS["PO4"] == pytest.approx(50.0, abs=0.05)


def test_alkalinity_standard_agrees_with_the_laboratory_handbook():
    """Standard Methods 2320 B: about 2.5 g Na2CO3 a litre is about 0.05 N (from memory)."""
    soda = next(s for s in SUBSTANCES["total_alkalinity"] if s.formula == "Na2CO3")

    normal = 2.5 * soda.gives_mg_per_g / 1000.0 / 50.043

    assert normal == pytest.approx(0.05, abs=0.004)


def test_molar_masses_of_the_phosphates_follow_from_atomic_weights():
    """Conventional atomic weights (iupac2021): H 1.008, O 15.999, Na 22.990, P 30.974, K 39.098."""
    assert pytest.approx(39.098 + 2 * 1.008 + 30.974 + 4 * 15.999, abs=0.002) == KH2PO4_G_MOL
    assert pytest.approx(2 * 22.990 + 1.008 + 30.974 + 4 * 15.999, abs=0.002) == NA2HPO4_G_MOL


GOMORI = [
    # pH, mL of 0.2 M NaH2PO4 and mL of 0.2 M Na2HPO4, made up to 200 mL: G. Gomori, Methods in
    # Enzymology 1, 138-146, 1955 (table from memory, as most handbooks of biochemistry print it)
    (6.8, 51.0, 49.0),
    (7.0, 39.0, 61.0),
    (7.2, 28.0, 72.0),
    (7.4, 19.0, 81.0),
    (7.6, 13.0, 87.0),
    (7.8, 8.5, 91.5),
    (8.0, 5.3, 94.7),
]


@pytest.mark.parametrize(("ph", "acid_ml", "base_ml"), GOMORI)
def test_buffer_ph_agrees_with_the_published_table(ph, acid_ml, base_ml):
    assert buffer_ph(0.2 * acid_ml / 200, 0.2 * base_ml / 200) == pytest.approx(ph, abs=0.05)


def test_buffer_ph_agrees_with_the_standard_buffer():
    """0.025 m KH2PO4 + 0.025 m Na2HPO4: pH 6.865 at 25 C, primary standard (from memory)."""
    assert buffer_ph(0.025, 0.025) == pytest.approx(6.865, abs=0.02)


@pytest.mark.parametrize("analyte", EVERY)
def test_the_series_hits_what_was_asked_and_says_how_sure(analyte):
    recipe = mix(analyte)

    wanted = SERIES[ALIASES.get(analyte, analyte)]
    for standard, value in zip(recipe.standards, wanted, strict=True):
        assert standard.value == pytest.approx(value, rel=0.02, abs=0.005)
        assert standard.low <= standard.value <= standard.high
        assert sum(standard.parts_ml.values()) <= recipe.volume_ml
        if analyte != "ph" and value > 0:
            assert 0.01 < (standard.high - standard.value) / value < 0.08
            assert min(standard.parts_ml.values()) >= 2.0


@pytest.mark.parametrize("analyte", EVERY)
def test_the_cautions_are_always_there(analyte):
    said = " ".join(mix(analyte).cautions)

    for words in (
        "Never mix chemicals",
        "acid and chlorine above all",
        "Add the chemical to the water, never water to the chemical",
        "Gloves and goggles",
        "label, the local code and licensed practice come first",
        "Write on every bottle",
    ):
        assert words in said


def test_the_value_follows_from_what_is_weighed_and_measured():
    """Alkalinity by hand: grams x 50.043 / 84.006 in a litre, diluted by the mL."""
    recipe = mix("total_alkalinity", [60.0, 240.0], 1000.0)

    grams = float(recipe.steps[0].split("weigh ")[1].split(" g")[0])
    stock = grams * 50.043 / 84.006 * 1000.0
    standard = recipe.standards[0]
    assert standard.value == pytest.approx(stock * standard.parts_ml["stock"] / 1000.0, rel=1e-6)


def test_the_band_is_that_of_weighing_volumes_and_purity():
    """In quadrature: purity 1 %, 0.01 g of the grams, two flasks 1 %, syringe 1 % and 0.1 mL."""
    recipe = mix("salt", [3000.0])

    standard = recipe.standards[0]
    ml = standard.parts_ml["stock"]
    by_hand = math.sqrt(0.01**2 + (0.01 / 15.0) ** 2 + 2 * 0.01**2 + 0.01**2 + (0.1 / ml) ** 2)
    assert (standard.high - standard.value) / standard.value == pytest.approx(by_hand, rel=1e-6)


def test_a_worse_scale_widens_the_band_or_asks_for_more_to_be_weighed():
    fine = mix("total_alkalinity", means=Means(scale_error_g=0.01)).standards[-1]
    coarse = mix("total_alkalinity", means=Means(scale_error_g=0.5)).standards[-1]

    assert coarse.high - coarse.low > fine.high - fine.low


def test_bleach_is_diluted_by_its_own_strength():
    recipe = mix("free_chlorine", formula="NaOCl", purity=0.06)

    assert "plain bleach (NaOCl, 0.06 pure)" in recipe.steps[0]
    assert recipe.standards[-1].value == pytest.approx(10.0, rel=0.02)


@pytest.mark.parametrize(
    ("kwargs", "words"),
    [
        ({"analyte": "gold"}, "no recipe for 'gold'; there are: total_alkalinity"),
        ({"analyte": "salt", "values": [-1.0]}, "salt -1 cannot be mixed; choose 0 to"),
        ({"analyte": "salt", "values": [math.nan]}, "salt nan cannot be mixed"),
        ({"analyte": "salt", "values": [0.0]}, "at least one value above zero"),
        ({"analyte": "salt", "formula": "KCl"}, "salt is not made from 'KCl' here; choose one of"),
        ({"analyte": "salt", "purity": 99.0}, "purity 99 cannot be; it is a mass fraction"),
        ({"analyte": "salt", "volume_ml": 1.0}, "1 mL of each water cannot be made"),
        ({"analyte": "free_chlorine", "formula": "NaOCl"}, "bleach needs its available chlorine"),
        ({"analyte": "cyanuric_acid", "values": [5000.0]}, "does not dissolve from C3H3N3O3"),
        ({"analyte": "calcium_hardness", "values": [0.1, 500.0]}, "too little to measure"),
        ({"analyte": "ph", "values": [9.5]}, "ph 9.5 cannot be mixed; choose 6 to 8.6"),
        ({"analyte": "ph", "purity": 0.9}, "leave formula and purity out"),
    ],
)
def test_what_cannot_be_mixed_is_refused_with_a_cure(kwargs, words):
    with pytest.raises(RecipeError) as told:
        mix(**kwargs)
    assert words in str(told.value)


def test_the_answer_is_json():
    answer = json.loads(json.dumps(as_dict(mix("ph")), allow_nan=False))

    assert answer["unit"] == "pH"
    assert answer["standards"][0]["parts_ml"].keys() == {"sour stock", "basic stock"}
    assert answer["cautions"]
