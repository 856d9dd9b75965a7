"""What is believed of the water: the log's readings, doses and time in one estimate."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dosing.log import Dose, Log, Reading, ReplacedWater, Tub
from dosing.products import generic_products
from dosing.walk import worth_keeping
from dosing.water import Course, Filled, believe

START = datetime(2025, 6, 1, 9, tzinfo=UTC)
TUB = Tub("garden", 1250.0, 38.0, "salt_chlorine", True)
PRODUCTS = generic_products()


def hour(hours):
    return START + timedelta(hours=hours)


def reading(hours, analyte, value, low, high, sample="tub"):
    return Reading(hour(hours), analyte, value, low, high, "photo", sample)


def water(*events, at=None, course=None, procedure="salt_startup", **options):
    log = Log(TUB, procedure, (), tuple(sorted(events, key=lambda event: event.at)))
    return believe(log, PRODUCTS, hour(at or 0.0), course or Course(), **options)


def test_a_reading_is_believed_within_its_band():
    now = water(reading(0, "total_alkalinity", 80.0, 70.0, 90.0))
    low, high = now.band("total_alkalinity")

    assert now.value("total_alkalinity") == pytest.approx(80.0, abs=2.0)
    assert 68.0 < low < 74.0
    assert 86.0 < high < 93.0


def test_two_readings_are_surer_than_one():
    once = water(reading(0, "ph", 7.6, 7.4, 7.8))
    twice = water(reading(0, "ph", 7.6, 7.4, 7.8), reading(0, "ph", 7.6, 7.4, 7.8))

    assert twice.sd("ph") < 0.8 * once.sd("ph")


def test_open_bands_say_at_least_and_at_most():
    beyond = water(reading(0, "total_alkalinity", 240.0, 220.0, None))
    below = water(reading(0, "calcium_hardness", 5.0, None, 12.0))

    assert beyond.probability("total_alkalinity", 210.0, None) > 0.95
    assert below.probability("calcium_hardness", None, 16.0) > 0.9


def test_the_volume_is_learned_from_a_dose_and_its_answer():
    told = water(
        reading(0, "salt", 60.0, 50.0, 70.0),
        Dose(hour(0.1), "salt", 2000.0),
        reading(0.5, "salt", 1830.0, 1750.0, 1910.0),  # 1250 L would have shown 1660
        at=0.5,
    )
    low, high = told.volume_band_l()

    assert told.volume_l < 1200.0
    assert low < 1142.0 < high
    assert any("seems to hold" in fact and "not 1,250" in fact for fact in told.facts)


def test_nothing_is_told_that_the_log_has_not_taught():
    once = water(reading(0, "ph", 7.6, 7.4, 7.8), reading(0, "salt", 60.0, 50.0, 70.0))

    assert once.facts == ()


def test_what_two_doses_have_in_common_stays_in_common():
    """A tub found smaller by salt answers more to bicarbonate too."""
    before = water(reading(0, "total_alkalinity", 60.0, 55.0, 65.0))
    told = water(
        reading(0, "total_alkalinity", 60.0, 55.0, 65.0),
        reading(0, "salt", 60.0, 50.0, 70.0),
        Dose(hour(0.1), "salt", 2000.0),
        reading(0.5, "salt", 1830.0, 1790.0, 1870.0),
        at=0.5,
    )
    bicarbonate = PRODUCTS["bicarbonate"]

    rise_before = before.after_dose(bicarbonate, 100.0).value("total_alkalinity") - 60.0
    rise_told = told.after_dose(bicarbonate, 100.0).value("total_alkalinity") - 60.0
    assert rise_told > 1.03 * rise_before


def test_acid_lowers_ph_and_widens_what_is_not_known():
    now = water(reading(0, "ph", 7.9, 7.8, 8.0), reading(0, "total_alkalinity", 80.0, 70.0, 90.0))
    dosed = now.after_dose(PRODUCTS["dry-acid"], 12.0)

    assert dosed.value("ph") < now.value("ph") - 0.1
    assert now.value("ph") == pytest.approx(7.9, abs=0.02)  # the question changed nothing


def test_air_lifts_ph_and_standing_less():
    now = water(reading(0, "ph", 7.3, 7.2, 7.4), reading(0, "total_alkalinity", 80.0, 75.0, 85.0))

    still, stirred = now.later(2.0), now.later(2.0, aerated=True)
    assert now.value("ph") - 0.02 < still.value("ph") < stirred.value("ph") - 0.1


def test_chlorine_is_eaten_and_the_generator_makes_it():
    now = water(reading(0, "free_chlorine", 5.0, 4.5, 5.5))

    off, on = now.later(24.0, output=0.0), now.later(24.0, output=1.0)
    assert off.value("free_chlorine") < 4.0
    assert on.value("free_chlorine") > off.value("free_chlorine") + 1.0
    assert on.value("total_alkalinity") > off.value("total_alkalinity")


def test_the_generators_yield_is_learned():
    events = []
    level = 3.0
    for day in range(6):
        events.append(reading(24 * day, "free_chlorine", level, 0.93 * level, 1.07 * level))
        level = 3.0 + 0.5 * (day + 1)
    course = Course(outputs=((hour(0), 1.0),))
    told = water(*events, at=24 * 5, course=course)

    _, low, high = told.yield_mg_l_day()
    assert high / low < 6.0
    assert told.output == 1.0


def test_replaced_water_brings_the_hose_in():
    now = water(
        reading(0, "calcium_hardness", 300.0, 280.0, 320.0),
        reading(1, "calcium_hardness", 40.0, 36.0, 44.0, "fill"),
        ReplacedWater(hour(2), 0.5),
        at=2,
    )

    assert now.value("calcium_hardness") == pytest.approx(170.0, abs=8.0)


def test_water_that_changed_untold_is_believed_anew():
    """A hose of 40, yet the tub shows 300: something happened that the log does not tell."""
    now = water(
        reading(0, "calcium_hardness", 40.0, 36.0, 44.0, "fill"),
        reading(1, "calcium_hardness", 300.0, 280.0, 320.0),
        at=1,
    )

    assert now.value("calcium_hardness") == pytest.approx(300.0, abs=10.0)
    assert now.value("calcium_hardness", "fill") == pytest.approx(40.0, abs=3.0)


def test_a_filled_tub_holds_what_the_hose_gave():
    now = water(
        reading(0, "calcium_hardness", 200.0, 180.0, 220.0, "fill"),
        reading(0, "ph", 7.6, 7.5, 7.7, "fill"),
        reading(0, "total_alkalinity", 120.0, 110.0, 130.0, "fill"),
        at=1,
    )

    assert now.value("calcium_hardness") == pytest.approx(200.0, abs=6.0)
    assert now.value("ph") < 7.6  # heated from the hose's cold, no carbon dioxide lost
    softened = water(
        reading(0, "calcium_hardness", 200.0, 180.0, 220.0, "fill"),
        at=1,
        course=Course(filled=(Filled(hour(0.5), softened=0.75),)),
    )
    assert softened.value("calcium_hardness") == pytest.approx(52.0, abs=5.0)


def test_a_softening_medium_works_over_its_day():
    now = water(
        reading(0, "calcium_hardness", 120.0, 115.0, 125.0),
        Dose(hour(0.1), "softening-medium", 1000.0),
    )
    dosed = water(
        reading(0, "calcium_hardness", 120.0, 115.0, 125.0),
        Dose(hour(0.1), "softening-medium", 1000.0),
        at=24.1,
    )

    assert now.value("calcium_hardness") == pytest.approx(120.0, abs=3.0)
    assert dosed.value("calcium_hardness") == pytest.approx(120.0 - 64.0, abs=6.0)


def test_readings_that_do_not_count_are_left_out():
    event = reading(0, "ph", 6.5, 6.4, 6.6)

    assert water(event).value("ph") == pytest.approx(6.5, abs=0.1)
    assert water(event, counts=lambda _: False).value("ph") > 7.0


def test_the_same_log_gives_the_same_answer():
    events = [reading(0, "ph", 7.9, 7.7, 8.1), Dose(hour(0.5), "dry-acid", 20.0)]

    assert water(*events, at=3).band("ph") == water(*events, at=3).band("ph")


def test_probabilities_add_up():
    now = water(reading(0, "ph", 7.5, 7.3, 7.7))
    parts = [
        now.probability("ph", None, 7.4),
        now.probability("ph", 7.4, 7.6),
        now.probability("ph", 7.6, None),
    ]

    assert sum(parts) == pytest.approx(1.0)


def test_a_log_of_ten_thousand_events_is_thinned_and_short_ones_are_not():
    few = [reading(hours, "ph", 7.5, 7.3, 7.7) for hours in range(1000)]
    many = [reading(0.25 * place, "ph", 7.5, 7.3, 7.7) for place in range(10_000)]
    doses = [Dose(hour(0.25 * place), "dry-acid", 5.0) for place in range(10_000)]

    assert worth_keeping(few) is few
    assert len(worth_keeping(many)) < 1100
    assert worth_keeping(many)[-1000:] == many[-1000:]
    assert worth_keeping(doses) == doses[-2000:]


def test_a_tub_filled_long_before_what_is_kept_is_not_filled_again():
    events = [reading(-5000, "calcium_hardness", 40.0, 36.0, 44.0, "fill")]
    events += [Dose(hour(0.5 * place), "salt", 0.1) for place in range(2100)]
    events += [reading(1060, "calcium_hardness", 150.0, 140.0, 160.0)]
    course = Course(filled=(Filled(hour(-4999)),), outputs=((hour(-4000), 0.6),))

    now = water(*events, at=1061, course=course)
    assert now.value("calcium_hardness") == pytest.approx(150.0, abs=5.0)
    assert now.output == 0.6


def test_a_running_salt_tub_has_an_output_nobody_told():
    """Chlorine at 4 for weeks without a dose: something makes it, and the belief expects 4."""
    events = [reading(24.0 * 7 * week, "free_chlorine", 4.0, 3.5, 4.5) for week in range(5)]
    running = water(*events, at=24 * 7 * 5, procedure="upkeep")
    told = water(
        *events, at=24 * 7 * 5, course=Course(outputs=((hour(0), 0.0),)), procedure="upkeep"
    )

    assert running.output == 0.0
    assert running.value("free_chlorine") == pytest.approx(4.0, abs=1.2)
    assert running.band("free_chlorine")[1] > 5.0
    assert told.value("free_chlorine") < 1.5


def test_leaving_the_ph_alone_changes_nothing_else_of_a_dose():
    now = water(
        reading(0, "total_alkalinity", 120.0, 110.0, 130.0), reading(0, "ph", 7.8, 7.6, 8.0)
    )
    for name, grams in (("dry-acid", 40.0), ("soda-ash", 60.0), ("liquid-chlorine", 50.0)):
        whole = now.after_dose(PRODUCTS[name], grams)
        part = now.after_dose(PRODUCTS[name], grams, moves_ph=False)
        for analyte in ("total_alkalinity", "free_chlorine", "salt", "calcium_hardness"):
            assert part.band(analyte) == whole.band(analyte)
        assert part.value("ph") == now.value("ph") != whole.value("ph")


def test_two_methods_that_contradict_within_minutes_leave_doubt_between_them():
    """The water did not change in a minute: one of them errs, and nobody knows which."""
    strip = reading(0.0, "ph", 7.4, 7.2, 7.6)
    other = replace(strip, at=hour(1 / 60), value=8.6, low=8.4, high=8.8, source="drop_test")
    low, high = water(strip, other, at=1 / 60).band("ph")

    assert low < 7.6
    assert high > 8.4
