"""A bromine tub from the hose to the end: the engine asks, a person gives, the gates judge."""

import json
from datetime import UTC, datetime, timedelta

from dosing.answer import as_dict
from dosing.log import load_log
from dosing.next_step import next_step
from dosing.procedure import load_builtin
from dosing.products import generic_products

START = datetime(2025, 6, 1, 8, tzinfo=UTC)
TUB = {
    **{"name": "Case", "volume_l": 1000, "temperature_c": 38.0},
    **{"sanitizer": "bromine", "has_sensor": False},
}
TRUTH = {
    **{"iron": (20, "ug/L"), "copper": (20, "ug/L"), "manganese": (5, "ug/L")},
    **{"calcium_hardness": (180, "mg/L"), "total_alkalinity": (110, "mg/L"), "ph": (7.4, "pH")},
}


def read(at, analyte, sample, value):
    unit = TRUTH.get(analyte, (0, "mg/L"))[1]
    event = {"at": at.isoformat(), "type": "reading", "analyte": analyte, "unit": unit}
    return event | {"value": value, "source": "drop_test", "sample": sample}


def walk(loss_a_day):
    """Do what is asked; bromine given by hand brings 3 mg/L each time."""
    at, events, asked, bromine = START, [], 0, 0.0
    for _ in range(80):
        log = load_log(
            json.dumps({"tub": TUB, "procedure": "bromine_startup", "events": events}), "case", at
        )
        step = as_dict(
            next_step(log, load_builtin("bromine_startup"), generic_products(), at)
        )["step"]  # fmt: skip
        if step["kind"] == "none":
            return events, asked, (at - START).total_seconds() / 86400.0
        if step["kind"] == "wait":
            then = datetime.fromisoformat(step["not_before"])
            bromine *= 1.0 - loss_a_day * (then - at).total_seconds() / 86400.0
            at = then
        elif step["kind"] == "measure":
            for name in step["analytes"]:
                value = bromine if name == "bromine" else TRUTH.get(name, (0.0, ""))[0]
                events.append(read(at, name, step["sample"], round(value, 2)))
        elif step["kind"] == "ask":
            asked += 1
            assert "bromine" in step["text"]
            assert "g of bromine are missing" in step["text"] or "feeder" in step["text"]
            bromine += 3.0
            dose = {"type": "dose", "product": "bromine", "amount_g": 5.0}
            events.append({"at": at.isoformat()} | dose)
        else:
            assert step["kind"] == "confirm", step
            events.append({"at": at.isoformat(), "type": "done", "step": step["id"]})
        at += timedelta(minutes=3)
    raise AssertionError(f"no end after 80 steps: {step}")


def test_the_walk_ends_when_the_person_gives_bromine_as_asked():
    _, asked, days = walk(loss_a_day=0.2)
    assert asked == 2
    assert 0.9 < days < 3.0


def test_a_tub_that_eats_its_bromine_is_asked_about_again_next_day():
    _, asked, days = walk(loss_a_day=0.45)
    assert asked >= 2
    assert days < 15.0


def test_what_a_person_shall_give_has_its_cautions():
    events, _, _ = walk(loss_a_day=0.2)
    first = next(place for place, one in enumerate(events) if one["type"] == "dose")
    text = json.dumps({"tub": TUB, "procedure": "bromine_startup", "events": events[:first]})
    at = datetime.fromisoformat(events[first]["at"])
    log = load_log(text, "case", at)
    found = as_dict(next_step(log, load_builtin("bromine_startup"), generic_products(), at))
    assert found["step"]["kind"] == "ask"
    assert any("never water to the chemical" in one for one in found["cautions"])
    assert any("label" in one for one in found["cautions"])
