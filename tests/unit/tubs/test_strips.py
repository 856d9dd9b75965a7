"""The bands of simulated readings are honest, and open past the chart's end."""

import numpy as np
import pytest

from tests.tubs.draw import Habits
from tests.tubs.strips import DROPS, STRIP, UNITS, Reader


def readings(analyte, truth, count=1500, **habits):
    reader = Reader(Habits(**habits), np.random.default_rng(5))
    return [reader.read(analyte, truth, "tub", "2026-05-04T08:00:00+00:00") for _ in range(count)]


def holds(event, truth):
    low, high = event["low"], event["high"]
    return (low is None or low <= truth) and (high is None or truth <= high)


@pytest.mark.parametrize("source", ["photo", "drop_test"])
@pytest.mark.parametrize(
    ("analyte", "truth"),
    [
        ("ph", 7.5),
        ("free_chlorine", 3.0),
        ("total_alkalinity", 90.0),
        ("calcium_hardness", 50.0),
        ("salt", 1750.0),
        ("phosphate", 250.0),
    ],
)
def test_the_band_holds_the_truth_in_95_of_100(analyte, truth, source):
    held = np.mean([holds(e, truth) for e in readings(analyte, truth, source=source)])

    assert 0.93 <= held <= 0.97


def test_every_analyte_has_a_pad():
    assert set(STRIP) == set(UNITS)
    assert set(DROPS) < set(UNITS)


def test_past_the_chart_the_band_is_open():
    event = readings("calcium_hardness", 900.0, 1)[0]

    assert event["high"] is None
    assert event["low"] < event["value"] == STRIP["calcium_hardness"].last


def test_no_chlorine_reads_near_nought():
    events = readings("free_chlorine", 0.0, 300)

    assert all(0 <= e["low"] <= e["value"] <= e["high"] for e in events)
    assert np.mean([e["low"] == 0 for e in events]) > 0.9


def test_gross_errors_carry_wide_bands():
    widths = [
        np.median([e["high"] - e["low"] for e in readings("salt", 1750.0, 300, gross=gross)])
        for gross in (0.0, 1.0)
    ]

    assert widths[1] > 3 * widths[0]


def test_a_hand_reading_has_no_band():
    event = readings("ph", 7.5, 1, source="hand")[0]

    assert "low" not in event
    assert "high" not in event
