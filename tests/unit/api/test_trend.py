"""Trend pictures: where dots, bands and the wanted range stand."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from api.trend import BOTTOM, HEIGHT, LEFT, LINE, RIGHT, TOP, WIDTH, trends_of

START = datetime(2026, 6, 1, 9, tzinfo=UTC)


def reading(hours, value, low=None, high=None, sample="tub", source="photo"):
    at = (START + timedelta(hours=hours)).isoformat()
    head = {"at": at, "type": "reading", "analyte": "ph", "value": value, "unit": "pH"}
    return {**head, "low": low, "high": high, "source": source, "sample": sample}


def trend(*readings, wanted=(7.2, 7.8)):
    return trends_of(readings, {"ph": wanted})[0]


def test_readings_stand_in_order_of_time_whatever_their_order_in_the_log():
    shown = trend(reading(24, 7.9, 7.7, 8.1), reading(0, 7.4, 7.2, 7.6))

    assert shown.marks[0].x < shown.marks[1].x
    assert shown.marks[0].y > shown.marks[1].y
    assert shown.first_day == "01 Jun, 09:00"


def test_everything_stays_inside_the_frame():
    shown = trend(reading(0, 6.2, None, 6.8), reading(5, 9.0, 8.0, None))

    for mark in shown.marks:
        assert LEFT <= mark.x <= WIDTH - RIGHT
        assert TOP <= mark.top <= mark.y <= mark.bottom <= HEIGHT - BOTTOM
    assert (shown.marks[0].open_low, shown.marks[1].open_high) == (True, True)


def test_a_value_in_range_stands_in_the_green():
    shown = trend(reading(0, 7.5, 7.4, 7.6))

    assert shown.wanted_top < shown.marks[0].y < shown.wanted_top + shown.wanted_height
    assert "wanted 7.2 to 7.8" in shown.words


@pytest.mark.parametrize("values", [(400.0, 390.0), (50.0, 48.0), (400.0, 30.0), (26.0, 74.0)])
def test_numbers_at_the_left_never_run_into_each_other(values):
    """A narrow wanted range far below the readings leaves its two ends little room."""
    shown = trend(*(reading(i, value) for i, value in enumerate(values)), wanted=(25.0, 75.0))
    heights = sorted(at for at, _ in shown.levels)

    assert [text for _, text in shown.levels[:2]] == ["25", "75"]
    assert all(below - above >= LINE for above, below in pairwise(heights))


def test_the_fill_water_has_no_trend():
    assert trends_of([reading(0, 7.5, sample="fill")], {}) == ()


@pytest.mark.parametrize("count", [1, 2])
def test_equal_readings_still_have_a_height(count):
    shown = trend(*(reading(i, 7.5, 7.5, 7.5) for i in range(count)), wanted=None)

    assert shown.wanted_top is None
    assert all(TOP < mark.y < HEIGHT - BOTTOM for mark in shown.marks)
