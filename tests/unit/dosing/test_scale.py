"""What a reading does to a belief, on the scale where its band is even."""

from datetime import UTC, datetime

import pytest
from hypothesis import given, settings, strategies as st

from dosing.analytes import ANALYTES
from dosing.log import Reading
from dosing.scale import (
    OFFSETS,
    bell,
    combine,
    inside,
    inwards,
    is_news,
    offset_of,
    outwards,
    quantile,
    unbell,
    widened,
)

AT = datetime(2025, 6, 1, 9, tzinfo=UTC)
NAMES = st.sampled_from(sorted(ANALYTES))


def reading(analyte, value, low, high):
    return Reading(AT, analyte, value, low, high, "photo", "tub")


@settings(max_examples=100, deadline=None)
@given(NAMES, st.floats(0.0, 14.0))
def test_there_and_back_on_the_scale(analyte, value):
    assert outwards(analyte, inwards(analyte, value)) == pytest.approx(value, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(NAMES, st.floats(0.0, 14.0), st.floats(0.01, 5.0))
def test_moments_survive_the_way_to_the_bell_and_back(analyte, mean, sd):
    place, spread = bell(analyte, mean, sd * sd)

    assert unbell(analyte, place, spread) == pytest.approx((mean, sd * sd), rel=1e-6, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(NAMES, st.floats(0.5, 14.0), st.floats(0.01, 5.0), st.floats(0.01, 0.49))
def test_quantiles_and_probabilities_agree(analyte, mean, sd, share):
    low = quantile(analyte, mean, sd * sd, share)
    high = quantile(analyte, mean, sd * sd, 1.0 - share)

    assert low <= high
    if low > 0.0:
        found = inside(analyte, mean, sd * sd, low, high)
        assert found == pytest.approx(1.0 - 2.0 * share, abs=1e-6)


# Two normal bells of precision 1/4 and 1/1: mean (0.25 * 7.0 + 1.0 * 8.0) / 1.25, textbook Bayes.
# The share that may be stray widens the second a little.
def test_a_reading_and_a_belief_combine_by_their_precisions():
    mean, variance = combine(reading("ph", 8.0, 8.0 - 0.196, 8.0 + 0.196), 7.8, 0.04)

    assert mean == pytest.approx((7.8 / 0.04 + 8.0 / 0.01) / (1 / 0.04 + 1 / 0.01), abs=0.01)
    assert variance == pytest.approx(1.0 / (1 / 0.04 + 1 / 0.01), rel=0.15)


@settings(max_examples=100, deadline=None)
@given(st.floats(0.5, 8.0), st.floats(0.05, 3.0), st.floats(0.1, 9.0), st.floats(0.02, 0.5))
def test_a_reading_moves_the_belief_towards_itself_and_never_past(mean, sd, value, share):
    seen = reading("free_chlorine", value, value * (1.0 - share), value * (1.0 + share))
    before = quantile("free_chlorine", mean, sd * sd, 0.5)
    after = quantile("free_chlorine", *combine(seen, mean, sd * sd), 0.5)

    assert min(before, value) - 0.3 <= after <= max(before, value) + 0.3


def test_a_stray_reading_pulls_less_than_its_band_says():
    near, _ = combine(reading("ph", 7.8, 7.7, 7.9), 7.5, 0.01)
    far, _ = combine(reading("ph", 8.6, 8.5, 8.7), 7.5, 0.01)

    assert near > 7.65
    assert far < 8.0


def test_an_open_side_moves_the_belief_one_way_only():
    unmoved, _ = combine(reading("total_alkalinity", 240.0, 220.0, None), 400.0, 400.0)
    moved, _ = combine(reading("total_alkalinity", 240.0, 220.0, None), 150.0, 900.0)

    assert unmoved == pytest.approx(400.0, abs=1.0)
    assert moved > 190.0


def test_a_reading_without_any_side_says_nothing():
    assert combine(reading("ph", 7.5, None, None), 7.9, 0.04) == (7.9, 0.04)


def test_news_is_told_from_noise():
    assert is_news(reading("calcium_hardness", 300.0, 280.0, 320.0), 40.0, 9.0)
    assert not is_news(reading("calcium_hardness", 48.0, 40.0, 56.0), 40.0, 9.0)
    assert not is_news(reading("calcium_hardness", 300.0, 280.0, None), 40.0, 9.0)


def test_a_band_that_leans_upwards_tells_its_own_scale():
    """Half width 15 + 0.42 x on both sides of ln(x + 35.7)."""
    leaning = reading("phosphate", 70.55, 28.34, 140.6)

    assert offset_of(leaning) == pytest.approx(35.7, abs=0.1)
    assert offset_of(reading("phosphate", 70.0, 30.0, 110.0)) == OFFSETS["phosphate"]
    assert offset_of(reading("phosphate", 5.0, 0.0, 20.0)) == OFFSETS["phosphate"]


def test_one_reading_far_off_moves_what_many_have_seen_a_little_and_widens_it():
    """Phosphate seen at 255 +- 44 by three dips, then one of 70 [28, 141]."""
    odd = reading("phosphate", 70.55, 28.34, 140.6)

    variance, widen = widened(odd, 255.0, 44.0**2)
    mean, after = combine(odd, 255.0, variance, widen)

    assert 170.0 < mean < 215.0
    assert after**0.5 > 44.0
    ph = reading("ph", 7.9, 7.7, 8.1)
    assert widened(ph, 7.2, 0.1**2)[1] == 1.0  # of pH the belief gives in
    assert widened(ph, 7.2, 0.1**2, same_water=True)[1] > 2.0  # but not within minutes
