"""Bands of readings, and what several of them say together."""

from datetime import UTC, datetime
from statistics import NormalDist

import pytest

from dosing.bands import Band, band_of, fused, together
from dosing.log import Reading

AT = datetime(2025, 6, 1, tzinfo=UTC)


def reading(value, low, high, analyte="ph"):
    return Reading(AT, analyte, value, low, high, "photo")


def test_a_symmetric_band_is_the_normal_distribution():
    """Published: 95 % of a normal lies within 1.959964 deviations (any table of the normal)."""
    band = band_of(reading(7.5, 7.3, 7.7))
    assert band.sd == pytest.approx(0.2 / 1.959964)
    assert band.share_inside(7.2, 7.8) == pytest.approx(2 * NormalDist().cdf(0.3 / band.sd) - 1)
    assert band.share_inside(7.3, 7.7) == pytest.approx(0.95, abs=1e-6)


def test_a_lopsided_band_puts_more_weight_on_its_wide_side():
    band = band_of(reading(3.0, 2.5, 5.0, "free_chlorine"))
    assert band.share_below(3.0) == pytest.approx(0.2, abs=1e-3)
    assert band.mean > 3.0


def test_a_zero_reading_has_its_upper_side_for_both():
    assert band_of(reading(0.0, 0.0, 0.5, "free_chlorine")).share_inside(4.0, 10.0) < 1e-6


def test_an_open_side_is_surely_past_the_chart_only_on_that_side():
    band = band_of(reading(250.0, 230.0, None, "calcium_hardness"))
    assert band.share_inside(25.0, 75.0) < 1e-6
    assert band.share_below(400.0) < 0.6


def test_two_readings_weigh_by_their_certainty():
    band, contradicts = fused(Band(50.0, 10.0, 10.0), Band(56.0, 5.0, 5.0))
    assert band.mode == pytest.approx(54.8)
    assert band.sd == pytest.approx((1 / 100 + 1 / 25) ** -0.5)
    assert not contradicts


def test_readings_that_contradict_widen_the_band_over_both():
    band, contradicts = fused(Band(20.0, 3.0, 3.0), Band(80.0, 3.0, 3.0))
    assert contradicts
    assert band.mode == pytest.approx(50.0)
    assert band.sd > 30.0


def test_ten_equal_readings_narrow_the_band_by_the_root_of_ten():
    band, contradicts = together([Band(50.0, 10.0, 10.0)] * 10)
    assert band.sd == pytest.approx(10.0 / 10**0.5)
    assert not contradicts
