"""Upkeep: the output follows the use, undecided gates are looked at soon, nothing loops."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from dosing.answer import as_dict
from dosing.log import load_log
from dosing.next_step import next_step
from dosing.procedure import load_builtin
from dosing.products import generic_products
from tests.unit.dosing.test_next_step import TUB
from tests.unit.dosing.test_wear import day, readings

START = datetime(2025, 6, 1, 8, tzinfo=UTC)


def ask(events, days):
    whole = {"tub": TUB, "procedure": "upkeep", "events": events}
    at = START + timedelta(days=days)
    log = load_log(json.dumps(whole), "case", at)
    return as_dict(next_step(log, load_builtin("upkeep"), generic_products(), at))


def read(days, analyte, value, half, unit="mg/L"):
    band = {"value": value, "low": value - half, "high": value + half, "unit": unit}
    event = {"at": day(days), "type": "reading", "analyte": analyte, "source": "drop_test"}
    return event | band


def tuned(days, percent):
    return {"at": day(days), "type": "done", "step": f"generator_tuned_at_{percent}"}


def test_an_output_too_low_for_the_use_is_turned_up_before_chlorine_is_given():
    events = [tuned(0, 30), *readings(0.1), read(4, "free_chlorine", 2.2, 0.3)]
    events += [read(7.1, "free_chlorine", 1.2, 0.3), read(7.1, "ph", 7.5, 0.15, "pH")]
    first = ask(events, 7.11)
    assert first["step"]["action"] == "generator_output"
    assert 0.35 <= first["step"]["value"] <= 0.9
    done = {"at": day(7.12), "type": "done", "step": first["step"]["id"]}
    assert ask([*events, done], 7.13)["step"]["kind"] == "dose"


def test_an_output_that_fits_is_left_alone():
    events = [tuned(0, 40), *readings(0.1), *readings(7.2)]
    assert ask(events, 7.21)["step"]["kind"] == "wait"


def test_an_output_nobody_told_is_not_changed():
    events = [*readings(0.1), read(7.2, "free_chlorine", 1.2, 0.3), read(7.2, "ph", 7.5, 0.1, "pH")]
    assert ask(events, 7.21)["step"]["kind"] == "dose"


@pytest.mark.parametrize("analyte", ["ph", "free_chlorine"])
def test_an_undecided_gate_is_dipped_again_and_at_the_latest_next_day(analyte):
    value, half, unit = {"ph": (7.8, 0.2, "pH"), "free_chlorine": (3.0, 0.5, "mg/L")}[analyte]
    events = [*readings(0), *(one for one in readings(7.1) if one["analyte"] != analyte)]
    for look in range(3):
        events.append(read(7.11 + 0.01 * look, analyte, value, half, unit))
        found = ask(events, 7.115 + 0.01 * look)
        if look < 2:
            assert found["step"]["kind"] == "measure"
            assert analyte in found["step"]["analytes"]
    if found["step"]["kind"] == "wait":
        assert datetime.fromisoformat(found["step"]["not_before"]) <= START + timedelta(days=8.2)
    else:
        assert found["step"]["kind"] in ("dose", "confirm")


def test_what_is_due_when_over_eight_weeks():
    """Alkalinity and hardness within ten days, phosphate within thirty, nothing twice a day."""
    events, days, seen = [], 0.0, {}
    while days < 56.0:
        step = ask(events, days)["step"]
        if step["kind"] == "wait":
            then = datetime.fromisoformat(step["not_before"])
            days = (then - START).total_seconds() / 86400.0
            continue
        if step["kind"] == "measure":
            for name in step["analytes"]:
                seen.setdefault(name, []).append(days)
            wanted = set(step["analytes"])
            events += [one for one in readings(days) if one["analyte"] in wanted]
        else:
            assert step["kind"] == "confirm", step
            events.append({"at": day(days), "type": "done", "step": step["id"]})
        days += 0.002
    for name, most in (("total_alkalinity", 10.1), ("calcium_hardness", 10.1), ("phosphate", 30.1)):
        gaps = [later - earlier for earlier, later in zip(seen[name], seen[name][1:], strict=False)]
        assert max(gaps) <= most, name
    assert len(seen["ph"]) <= 12


@pytest.mark.parametrize(
    ("product", "sanitizer", "drains"),
    [
        ("silver", "salt_chlorine", True),
        ("silver", "bromine", True),
        ("bromine", "chlorine", True),
        ("bromine", "bromine", False),
    ],
)
def test_what_spoils_the_water_ends_it_in_upkeep_too(product, sanitizer, drains):
    dose = {"at": day(1), "type": "dose", "product": product, "amount_g": 20.0}
    whole = {"tub": {**TUB, "sanitizer": sanitizer}, "procedure": "upkeep", "events": [dose]}
    at = START + timedelta(days=2)
    log = load_log(json.dumps(whole), "case", at)
    step = as_dict(next_step(log, load_builtin("upkeep"), generic_products(), at))["step"]
    assert (step["action"] == "drain") is drains
