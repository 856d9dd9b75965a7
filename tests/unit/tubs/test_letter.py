"""The checker of answers finds each departure from the contract."""

import copy

import pytest

from tests.tubs.draw import draw
from tests.tubs.letter import departures
from tests.tubs.standin import next_step
from tests.tubs.technician import START, Technician

GATE = {
    "id": "ph",
    "analyte": "ph",
    "low": 7.2,
    "high": 7.8,
    "unit": "pH",
    "needs": "7.2 to 7.8",
    "state": "open",
    "probability": 0.97,
}


@pytest.fixture
def answer(chemistry):
    """A dose with one gate and one expectation, all to the letter."""
    technician = Technician(draw(1), chemistry, next_step)
    made = next_step(technician.log_text(), START)
    made["gates"] = [dict(GATE)]
    made["expect"] = {"ph": {"value": 7.5, "low": 7.3, "high": 7.7}}
    made["step"] |= {"kind": "dose", "product": "acid-1", "amount_g": 12.5, "analytes": ["ph"]}
    return made


def changed(answer, path, value):
    made = copy.deepcopy(answer)
    *way, last = path
    place = made
    for key in way:
        place = place[key]
    place[last] = value
    return made


def test_a_good_answer_has_no_departure(answer):
    assert departures(answer, START, {"acid-1"}) == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("at",), "2026-05-04T08:00:01+00:00"),
        (("at",), "2026-05-04T08:00:00"),
        (("stage",), ""),
        (("complete",), True),
        (("why",), [""]),
        (("cautions",), []),
        (("cautions",), "take care"),
        (("gates", 0, "state"), "closed"),
        (("gates", 0, "state"), "shut"),
        (("gates", 0, "probability"), None),
        (("gates", 0, "probability"), 0.94),
        (("gates", 0, "unit"), "mg/L"),
        (("gates", 0, "analyte"), "acidity"),
        (("gates", 0, "low"), 9.0),
        (("gates", 0, "low"), float("nan")),
        (("step", "kind"), "add"),
        (("step", "text"), ""),
        (("step", "product"), "acid-9"),
        (("step", "amount_g"), 0.0),
        (("step", "amount_g"), "12 g"),
        (("step", "action"), "heat"),
        (("step", "value"), 0.5),
        (("step", "fraction"), 0.5),
        (("step", "not_before"), "2026-05-04T09:00:00+00:00"),
        (("step", "analytes"), None),
        (("step", "analytes"), ["acidity"]),
        (("step", "sample"), "pool"),
        (("expect", "ph"), {"value": 7.9, "low": 7.3, "high": 7.7}),
        (("expect", "ph"), {"value": 7.5, "low": 7.3}),
        (("expect",), []),
    ],
    ids=str,
)
def test_each_departure_is_found(answer, path, value):
    assert departures(changed(answer, path, value), START, {"acid-1"})


@pytest.mark.parametrize("key", ["at", "step", "gates", "expect", "why", "cautions"])
def test_a_missing_key_is_found(answer, key):
    del answer[key]

    assert departures(answer, START)


@pytest.mark.parametrize("when", [None, "2026-05-04T08:00:00+00:00", "tomorrow"])
def test_a_wait_ends_in_the_future(answer, when):
    answer["step"] |= {"kind": "wait", "product": None, "amount_g": None, "not_before": when}

    assert departures(answer, START)


def test_a_second_product_field_is_found(answer):
    answer["step"]["kind"] = "measure"

    assert departures(answer, START)
