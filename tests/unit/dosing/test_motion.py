"""How the water moves by itself."""

import math

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from dosing.buffer import near
from dosing.chemistry import WaterSample, aerated
from dosing.log import Tub
from dosing.motion import (
    MOST_DEMAND_MG_L,
    advance,
    chlorine_after,
    chlorine_slopes,
    ph_after_loss,
    ph_slopes,
)
from dosing.state import new_state

TUB = Tub("garden", 1250.0, 38.0, "salt_chlorine", True)


def rates(free, demand, decay=0.4, eats=0.2, organics=1e-9, made=4.0):
    return (free, demand, *(math.log(rate) for rate in (decay, eats, organics, made)))


# First-order decay: exp(-0.4) of it is left after a day (closed form).
def test_without_demand_chlorine_fades_exponentially():
    free, _ = chlorine_after(rates(5.0, 0.0), 24.0, 0.0)

    assert free == pytest.approx(5.0 * math.exp(-0.4), rel=1e-3)


# Second order, unequal parts: F = d F0 / (F0 - D0 exp(-r d t)), d = F0 - D0 (closed form).
def test_demand_eats_chlorine_by_the_second_order_law():
    free, demand = chlorine_after(rates(5.0, 2.0, decay=1e-9), 3.0, 0.0)
    gap = 5.0 - 2.0
    wanted = gap * 5.0 / (5.0 - 2.0 * math.exp(-0.2 * gap * 3.0))

    assert free == pytest.approx(wanted, rel=1e-3)
    assert free - demand == pytest.approx(gap, rel=1e-3)


def test_water_without_chlorine_gathers_no_demand_for_ever():
    _, month = chlorine_after(rates(0.0, 1.0, organics=0.5), 24.0 * 30, 0.0)
    _, year = chlorine_after(rates(0.0, 1.0, organics=0.5), 24.0 * 365, 0.0)

    assert month == pytest.approx(year) == pytest.approx(MOST_DEMAND_MG_L)


# Where making and fading balance: level = output * yield / decay (closed form).
def test_the_generator_settles_where_making_equals_fading():
    free, _ = chlorine_after(rates(1.0, 0.0, decay=1.0), 24.0 * 20, 0.5)

    assert free == pytest.approx(0.5 * 4.0 / 1.0, rel=0.02)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.0, 15.0), st.floats(0.0, 10.0), st.floats(0.0, 100.0), st.floats(0.0, 1.0))
def test_chlorine_and_demand_never_fall_below_zero(free, demand, hours, output):
    after = chlorine_after(rates(free, demand, organics=0.5), hours, output)

    assert min(after) >= 0.0
    assert after[0] <= free + output * 4.0 * hours / 24.0 + 1e-6


def change(law, point, place, step=1e-5):
    """The slope of a law by central differences."""
    higher, lower = list(point), list(point)
    higher[place] += step
    lower[place] -= step
    return (np.array(law(higher)) - np.array(law(lower))) / (2.0 * step)


@pytest.mark.parametrize("output", [0.0, 0.6])
@pytest.mark.parametrize(
    ("free", "demand", "hours"),
    [(5.0, 2.0, 1.0), (2.0, 5.0, 1.0), (3.0, 2.0, 6.0), (0.5, 0.49, 2.0), (3.0, 3.0 - 1e-4, 4.0)],
)
def test_slopes_of_the_chlorine_are_those_of_its_law(free, demand, hours, output):
    point = rates(free, demand, organics=0.5)[: 6 if output else 5]
    after, slopes = chlorine_slopes(point, hours, output)

    assert after == pytest.approx(chlorine_after(point, hours, output))
    for place in range(len(point)):
        wanted = change(lambda p: chlorine_after(p, hours, output), point, place)
        found = [slope[place] for slope in slopes]
        assert found == pytest.approx(wanted, abs=1e-4), place


@pytest.mark.parametrize("cyanuric_acid", [0.0, 40.0])
def test_slopes_of_the_ph_are_those_of_its_law(cyanuric_acid):
    buffer = near(WaterSample(38.0, 7.6, 90.0, 50.0, 1500.0, cyanuric_acid))
    point = (88.0, 7.7, 0.04)
    after, *slopes = ph_slopes(buffer, *point[:2], (4.0, 3.5), point[2])

    def law(one):
        net, ph, exponent = one
        carbon, co2 = buffer.carbon(net, ph, 4.0)
        left = carbon - (co2 - buffer.air_co2) * (1.0 - math.exp(-exponent))
        for _ in range(3):  # as close as a search of its own allows
            ph = buffer.ph(net, left, 3.5, ph)
        return (ph,)

    assert after == pytest.approx(ph_after_loss(buffer, *point[:2], (4.0, 3.5), point[2]))
    for place, slope in enumerate(slopes):
        step = (0.01, 1e-3, 1e-3)[place]
        assert slope == pytest.approx(change(law, point, place, step)[0], rel=0.01), place


def test_long_air_ends_where_the_air_holds_it():
    water = WaterSample(38.0, 7.4, 80.0, 50.0)
    rest = aerated(water).ph
    buffer = near(water)

    ph = water.ph
    for _ in range(40):
        ph = ph_after_loss(buffer, 80.0, ph, (0.0, 0.0), 1.0)
    assert ph == pytest.approx(rest, abs=0.03)


@settings(max_examples=50, deadline=None)
@given(st.floats(6.8, 7.8), st.floats(0.01, 3.0))
def test_losing_carbon_dioxide_lifts_the_ph_and_more_lifts_it_more(ph, exponent):
    buffer = near(WaterSample(38.0, 7.4, 80.0, 50.0))
    once = ph_after_loss(buffer, 80.0, ph, (0.0, 0.0), exponent)
    more = ph_after_loss(buffer, 80.0, ph, (0.0, 0.0), 2.0 * exponent)

    assert ph < once < more


@pytest.mark.parametrize("hours", [0.1, 5.0, 30.0, 24.0 * 400])
def test_time_leaves_a_belief_that_makes_sense(hours):
    state = new_state(TUB)
    before = state.belief.sd("ph")
    advance(state, hours)

    assert 4.0 < state.belief.of("ph") < 10.5
    assert state.belief.of("free") >= 0.0
    assert (state.belief.cov.diagonal() >= 0.0).all()
    assert state.belief.sd("calcium") > 0.0
    assert before > 0.0


def test_no_time_changes_nothing():
    state = new_state(TUB)
    before = state.belief.cov.copy()
    advance(state, 0.0)

    assert (state.belief.cov == before).all()
