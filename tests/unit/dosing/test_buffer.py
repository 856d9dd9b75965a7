"""The fast equilibrium beside the full one (which is checked against PHREEQC)."""

import random

import pytest

from dosing.buffer import HIGHEST, LOWEST, buffer_at, near
from dosing.chemistry import ChemistryError, WaterSample, aerated, after, carbon_mmol_l
from dosing.constants import ALKALINITY_PER_CHLORINE


def net(sample):
    return sample.total_alkalinity - ALKALINITY_PER_CHLORINE * sample.free_chlorine


@pytest.mark.parametrize("seed", range(60))
def test_a_dose_lands_where_the_full_solver_lands(seed):
    draw = random.Random(seed)
    water = WaterSample(
        draw.uniform(10.0, 40.0),
        draw.uniform(7.0, 8.2),
        draw.uniform(40.0, 200.0),
        draw.uniform(0.0, 300.0),
        draw.choice([20.0, 1800.0]),
        draw.choice([0.0, 30.0]),
        sulfate=30.0,
        free_chlorine=draw.choice([0.0, 4.0]),
    )
    dose = (
        {"NaHSO4": draw.uniform(1, 12)} if draw.random() < 0.5 else {"Na2CO3": draw.uniform(1, 8)}
    )
    try:
        then = after(water, dose)
    except ChemistryError:
        return
    carbon, _ = near(water).carbon(net(water), water.ph, water.free_chlorine)
    carbon += carbon_mmol_l(then) - carbon_mmol_l(water)
    ph = near(then).ph(net(then), carbon, then.free_chlorine, water.ph)

    assert ph == pytest.approx(then.ph, abs=0.02)


def test_at_rest_with_the_air_no_carbon_dioxide_is_in_excess():
    rest = aerated(WaterSample(38.0, 7.5, 80.0, 50.0, 1750.0))
    buffer = near(rest)

    assert buffer.carbon(net(rest), rest.ph)[1] == pytest.approx(buffer.air_co2, rel=0.02)


def test_the_search_never_leaves_its_range_nor_hangs():
    buffer = near(WaterSample(38.0, 7.5, 80.0))

    assert buffer.ph(80.0, 1e6, 0.0, 7.5) == LOWEST
    assert buffer.ph(80.0, -5.0, 0.0, 7.5) == HIGHEST


def test_a_bold_water_still_has_a_buffer():
    assert buffer_at(38.0, 3.0, 0.0, -5.0, 1e9, 900.0, 0.0).single > 0.0
