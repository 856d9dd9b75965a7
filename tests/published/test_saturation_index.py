"""Calcite's saturation index against worked examples of the pool trade.

The published answers come from factor tables and closed forms that leave out activity and pairs;
against PHREEQC they differ by up to 0.17 (a pool index is good to 0.1 to 0.2, no better), so the
comparison with them is wide, and that with PHREEQC's own answer for the same water is close.
"""

import math

import pytest

from dosing.chemistry import WaterSample, calcite_index, softened_share

FAHRENHEIT = {76: 24.444, 84: 28.889, 94: 34.444}


def water(celsius, ph, alkalinity, hardness, dissolved):
    """Total dissolved solids not of the hardness and alkalinity are taken as salt."""
    salt = max(dissolved - 1.68 * alkalinity - 1.11 * hardness, 0.0)
    return WaterSample(celsius, ph, alkalinity, hardness, salt)


EXAMPLES = [
    # source, C, pH, TA, CH, TDS, published, PHREEQC
    ("operator_course", FAHRENHEIT[76], 7.0, 50, 200, 500, -0.9, -0.81),
    ("operator_course", FAHRENHEIT[84], 7.6, 75, 300, 500, 0.2, 0.18),
    ("operator_course", FAHRENHEIT[94], 8.0, 150, 400, 500, 1.1, 1.03),
    ("langelier_closed_form", 25.0, 7.5, 34, 150, 320, -0.7, -0.56),
]


@pytest.mark.published("operator_course")
@pytest.mark.parametrize("example", EXAMPLES, ids=lambda e: f"pH {e[2]}, {e[3]}, {e[4]}")
def test_worked_examples(example):
    _, celsius, ph, alkalinity, hardness, dissolved, published, phreeqc = example
    index = calcite_index(water(celsius, ph, alkalinity, hardness, dissolved))

    assert index == pytest.approx(published, abs=0.2)
    assert index == pytest.approx(phreeqc, abs=0.03)


# Factors of the rule's table 7: CF = log10(0.4 CH), AF = log10(TA), to rounding.
@pytest.mark.published("montana_37_115")
@pytest.mark.parametrize(
    ("factor", "low", "high"), [(1.0 - 0.3, 5, 25), (2.1 - 1.6, 100, 300), (1.9 - 1.3, 50, 200)]
)
def test_hardness_moves_the_index_as_the_table_says(factor, low, high):
    """Difference of two rounded table factors: good to 0.1; activity and pairs take a little."""
    one, other = (calcite_index(WaterSample(25.0, 7.5, 80.0, ch, 200.0)) for ch in (low, high))

    assert other - one == pytest.approx(factor, abs=0.1)


# Common practice, no source; the worked line is a mass balance: 80 % of 380 softened to 5 gives 80.
def test_softened_share_is_a_mass_balance():
    assert softened_share(380.0, 5.0, 80.0) == pytest.approx(0.8)
    assert softened_share(380.0, 0.0, 50.0) == pytest.approx(1.0 - 50.0 / 380.0)
    assert softened_share(60.0, 0.0, 80.0) == 0.0


def test_soft_water_without_calcium_has_no_index():
    assert calcite_index(WaterSample(38.0, 7.5, 80.0, 0.0, 0.0)) == -math.inf
