"""One drawn tub: spread as the belief says, moved by its laws, seen through the usual strip."""

from datetime import UTC, datetime, timedelta
from random import Random
from statistics import fmean, stdev

import pytest

from dosing.analytes import ANALYTES, NORMAL_95
from dosing.history import History
from dosing.log import Dose, Log, Reading, Tub
from dosing.procedure import load_builtin
from dosing.products import generic_products
from dosing.truth import Truth

START = datetime(2025, 6, 1, 8, tzinfo=UTC)
TUB = Tub("Case", 1000.0, 38.0, "salt_chlorine", has_sensor=False)
DIP = (
    Reading(START, "salt", 1000.0, 900.0, 1100.0, "photo"),
    Reading(START, "total_alkalinity", 90.0, 80.0, 100.0, "photo"),
    Reading(START, "ph", 7.5, 7.3, 7.7, "photo"),
)


def history(*more, hours=0.0):
    log = Log(TUB, "salt_startup", (), (*DIP, *more))
    at = START + timedelta(hours=hours)
    return History(log, load_builtin("salt_startup"), generic_products(), at)


@pytest.mark.parametrize("analyte", ["salt", "total_alkalinity", "ph"])
def test_drawn_tubs_are_spread_as_the_belief(analyte):
    now = history()
    drawn = [Truth(now, Random(seed)).value(analyte) for seed in range(400)]

    assert fmean(drawn) == pytest.approx(now.water.value(analyte), abs=0.2 * now.water.sd(analyte))
    assert stdev(drawn) == pytest.approx(now.water.sd(analyte), rel=0.15)


def test_a_moved_tub_stays_as_widely_spread_as_the_moved_belief():
    """A dose and a night: the draws' spread is the belief's, volume and strength included."""
    start, dose = history(), Dose(START, "salt", 700.0)
    night = history(dose, hours=12.0)
    drawn = []
    for seed in range(400):
        truth = Truth(start, Random(seed))
        truth.follow(night, [dose], night.water.at)
        drawn.append(truth.value("salt"))

    assert fmean(drawn) == pytest.approx(night.water.value("salt"), rel=0.02)
    assert stdev(drawn) == pytest.approx(night.water.sd("salt"), rel=0.15)


def test_readings_of_one_tub_scatter_about_its_one_truth():
    truth = Truth(history(), Random(1))
    shown = [truth.read(START, "salt", "tub").value for _ in range(400)]
    own = ANALYTES["salt"].photo.half_band(truth.value("salt")) / NORMAL_95

    assert abs(fmean(shown) - truth.value("salt")) < own
    assert stdev(shown) == pytest.approx(0.92**0.5 * own, rel=0.15)
