"""What a log tells of jets and air that no event speaks of."""

from datetime import UTC, datetime, timedelta

import pytest

from dosing.course import course_of
from dosing.log import Dose, Log, Reading, Tub
from dosing.procedure import load_builtin
from dosing.products import generic_products

START = datetime(2025, 6, 1, 9, tzinfo=UTC)
PRODUCTS = generic_products()
ACID = next(name for name, product in PRODUCTS.items() if product.kind == "acid")
SALT = next(name for name, product in PRODUCTS.items() if product.kind == "salt")


def at(minutes):
    return START + timedelta(minutes=minutes)


def read(analyte, minutes, value):
    return Reading(at(minutes), analyte, value, 0.9 * value, 1.1 * value, "photo")


def aired(*events):
    log = Log(Tub("Tub", 1250.0, 38.0, "salt_chlorine", True), "salt_startup", (), events, ())
    spans = course_of(log, load_builtin("salt_startup"), PRODUCTS).aerated
    return [((a - START).total_seconds() / 60, (b - START).total_seconds() / 60) for a, b in spans]


HIGH = (read("total_alkalinity", 0, 220.0), read("ph", 3, 7.4))


@pytest.mark.parametrize(
    ("events", "spans"),
    [
        ((*HIGH, read("ph", 183, 7.9)), [(3, 183)]),  # a pause as long as the air asked for
        ((*HIGH, Dose(at(8), ACID, 50.0), read("ph", 188, 7.9)), [(8, 188)]),  # acid, then air
        (
            (*HIGH, Dose(at(5), SALT, 9.0), Dose(at(20), ACID, 50.0), read("ph", 200, 7.9)),
            [(20, 200)],  # what does not move the alkalinity leaves its reading standing
        ),
        ((*HIGH, read("ph", 15, 7.4), read("ph", 1600, 7.6)), []),  # far too long for air
        ((read("total_alkalinity", 0, 90.0), read("ph", 0, 7.5), read("ph", 180, 7.6)), []),
        ((*[read("ph", 5 * i, 7.85) for i in range(3)], read("ph", 75, 8.0)), [(10, 70)]),
        ((Dose(at(0), SALT, 500.0), read("salt", 10, 900.0), read("salt", 90, 900.0)), []),
    ],
)
def test_air_is_told_from_what_was_read_and_the_pause_after_it(events, spans):
    assert aired(*events) == spans
