"""Softened water for the filling, and what the water takes of its chlorine."""

from datetime import UTC, datetime, timedelta

import pytest

from dosing.log import Log, Reading, Tub
from dosing.products import generic_products
from dosing.softened import softened_fill
from dosing.water import Course, believe

START = datetime(2025, 6, 1, 9, tzinfo=UTC)
TUB = Tub("garden", 1250.0, 38.0, "salt_chlorine", True)


def reading(hours, analyte, value, share=0.1, sample="tub"):
    at = START + timedelta(hours=hours)
    half = max(share * value, 0.1)
    return Reading(at, analyte, value, max(value - half, 0.0), value + half, "photo", sample)


def water(*events, outputs=(), hours=0.0):
    log = Log(TUB, "salt_startup", (), tuple(events))
    at = START + timedelta(hours=hours)
    return believe(log, generic_products(), at, Course(outputs=outputs))


def test_the_daily_loss_is_learned_from_the_residuals():
    """Generator off: 6.0 then 3.0 a day later: about 3 mg/L were taken."""
    first = water(reading(0, "free_chlorine", 6.0)).daily_loss_mg_l()
    told = water(
        reading(0, "free_chlorine", 6.0),
        reading(24, "free_chlorine", 3.0),
        reading(24.1, "free_chlorine", 6.0, share=0.02),
        hours=24.1,
    ).daily_loss_mg_l()

    assert told[2] - told[1] < first[2] - first[1]
    assert told[1] < told[0] < told[2]


@pytest.mark.parametrize(("hard", "share"), [(400.0, 0.89), (120.0, 0.61), (60.0, 0.0)])
def test_softened_share_of_a_fill(hard, share):
    """(hard - 50) / (hard - 5), a mass balance; nothing is softened that fits already."""
    blend = softened_fill(
        water(reading(0, "calcium_hardness", hard, 0.05, "fill")), 50.0, 25.0, 75.0
    )

    assert blend.softened == pytest.approx(share, abs=0.02)
    assert blend.fits > 0.9
    assert blend.low < blend.value < blend.high
