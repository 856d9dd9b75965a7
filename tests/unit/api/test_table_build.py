"""What the photos of known waters give away beside their pads' colours."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from api.table_build import measure_runs
from calibration.runs import Run
from calibration.table import PadPlan
from reader.card import standard_card
from reader.read_strip import StripSeen

NINE = datetime(2026, 6, 1, 9, tzinfo=UTC)
PLANS = [PadPlan("Brook", "B1", 1, "ph", "pH", 15.0, 6.0, 5.0, 2)]
CARD = replace(standard_card(), measured=True)


@pytest.fixture
def doubts(monkeypatch):
    """Return what is doubted of photos with these misfits, taken at these moments."""

    def told(misfits, moments):
        seen = {
            str(i): StripSeen(True, "a", misfit, 2 * misfit, True, (), (), at)
            for i, (misfit, at) in enumerate(zip(misfits, moments, strict=True))
        }
        monkeypatch.setattr("api.table_build.read_strip", lambda data, *_: seen[data.decode()])
        runs = [Run(f"{i}.jpg", "ph", 7.2, i + 2) for i in range(len(misfits))]
        return measure_runs(runs, PLANS, lambda p: p[0].encode(), CARD, "runs.csv").doubts

    return told


def apart(*seconds):
    return [NINE + timedelta(seconds=s) for s in seconds]


def test_good_photos_of_different_strips_raise_no_doubt(doubts):
    assert doubts([0.5, 0.7, 0.6], apart(0, 20, 41)) == ()


def test_another_print_than_the_measured_one_is_doubted(doubts):
    (doubt,) = doubts([1.3, 1.2, 0.6], apart(0, 20, 41))

    assert "fits the measured colours badly (1.2 CIEDE2000" in doubt
    assert "serial" in doubt


def test_two_photos_within_seconds_may_show_one_strip(doubts):
    (doubt,) = doubts([0.5, 0.5, 0.5], apart(30, 0, 3))

    assert doubt.startswith("1.jpg and 2.jpg were taken 3 s apart: if they show one strip")


def test_moments_with_and_without_a_time_zone_are_not_compared(doubts):
    assert doubts([0.5, 0.5], [NINE, NINE.replace(tzinfo=None)]) == ()
