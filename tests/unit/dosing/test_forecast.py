"""Looking ahead with the belief."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings, strategies as st

from dosing.forecast import daily_loss, hold_chance, softened_fill
from dosing.log import Log, Reading, Tub
from dosing.products import generic_products
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


def test_more_chlorine_holds_more_surely():
    chances = [
        hold_chance(water(reading(0, "free_chlorine", level)), 3.0) for level in (2.0, 4.0, 8.0)
    ]

    assert chances == sorted(chances)
    assert chances[0] < 0.05
    assert chances[2] > 0.5


def test_the_generator_raises_the_chance():
    now = water(reading(0, "free_chlorine", 3.5))

    assert hold_chance(now, 3.0, output=1.0) > hold_chance(now, 3.0, output=0.0) + 0.2


def test_the_daily_loss_is_learned_from_the_residuals():
    """Generator off: 6.0 then 3.0 a day later: about 3 mg/L were taken."""
    first = daily_loss(water(reading(0, "free_chlorine", 6.0)))
    told = daily_loss(
        water(
            reading(0, "free_chlorine", 6.0),
            reading(24, "free_chlorine", 3.0),
            reading(24.1, "free_chlorine", 6.0, share=0.02),
            hours=24.1,
        )
    )

    assert told[2] - told[1] < first[2] - first[1]
    assert told[1] < told[0] < told[2]


@pytest.mark.parametrize(("hard", "share"), [(400.0, 0.89), (120.0, 0.61), (60.0, 0.0)])
def test_softened_share_of_a_fill(hard, share):
    """(hard - 50) / (hard - 5), a mass balance; nothing is softened that fits already."""
    blend = softened_fill(water(reading(0, "calcium_hardness", hard, 0.05, "fill")), 25.0, 75.0)

    assert blend.softened == pytest.approx(share, abs=0.02)
    assert blend.probability > 0.9
    assert blend.low < blend.value < blend.high


@settings(max_examples=20, deadline=None)
@given(st.floats(0.5, 9.0), st.floats(1.0, 72.0))
def test_chances_are_probabilities(level, hours):
    assert 0.0 <= hold_chance(water(reading(0, "free_chlorine", level)), 3.0, hours) <= 1.0
