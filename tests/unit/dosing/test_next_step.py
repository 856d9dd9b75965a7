"""The answer as a whole: its keys, its words, its refusals, its interruptions."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from dosing.answer import as_dict
from dosing.log import LogError, load_log
from dosing.next_step import next_step
from dosing.procedure import load_builtin
from dosing.products import generic_products

START = datetime(2025, 6, 1, 8, tzinfo=UTC)
TUB = {
    **{"name": "Case", "volume_l": 1250, "temperature_c": 38.0},
    **{"sanitizer": "salt_chlorine", "has_sensor": True},
}


def ask(events, at=START, procedure="salt_startup", **tub):
    whole = {"tub": TUB | tub, "procedure": procedure, "events": events}
    log = load_log(json.dumps(whole), "case", at)
    return as_dict(next_step(log, load_builtin(procedure), generic_products(), at))


def event(kind, hours=-1.0, **rest):
    return {"at": (START + timedelta(hours=hours)).isoformat(), "type": kind} | rest


def read(analyte, value, half, hours=-1.0, unit="mg/L"):
    band = {"value": value, "low": max(value - half, 0), "high": value + half, "unit": unit}
    return event("reading", hours, analyte=analyte, source="photo", **band)


BALANCE = [
    read("calcium_hardness", 50, 8),
    read("total_alkalinity", 90, 10),
    read("phosphate", 60, 30, unit="ug/L"),
    read("salt", 50, 20),
]


def test_the_answer_has_the_keys_of_the_contract():
    answer = ask([])
    assert set(answer) == {
        *("at", "stage", "complete", "gates", "step", "expect", "why", "cautions")
    }
    assert set(answer["step"]) == {
        *("id", "kind", "text", "action", "value", "analytes"),
        *("product", "amount_g", "fraction", "not_before", "sample"),
    }
    assert set(answer["gates"][0]) == {
        *("id", "analyte", "low", "high", "unit", "needs", "state", "probability")
    }
    json.dumps(answer, allow_nan=False)


def test_an_existing_tub_is_taken_up_without_ticking_every_step():
    answer = ask([*BALANCE, read("ph", 8.2, 0.2, unit="pH")])
    assert answer["step"]["kind"] == "dose"
    assert answer["step"]["product"] == "dry-acid"
    assert any("No step is confirmed" in caution for caution in answer["cautions"])


def test_the_dose_says_why_with_reading_rule_and_source():
    why = " ".join(ask([*BALANCE, read("ph", 8.2, 0.2, unit="pH")])["why"])
    assert "reads pH 8.2 (95 %: 8.0 to 8.4)" in why
    assert "Wanted for pH: 7.2 to 7.8" in why
    assert "rest on: " in why
    assert "1,250 L" in why


def test_liquids_are_told_in_millilitres_too():
    events = [*BALANCE[:3], read("salt", 1750, 60), read("ph", 7.5, 0.2, unit="pH")]
    events += [event("done", -0.5, step="circulate"), read("free_chlorine", 0, 0.3)]
    events += [event("done", -3, step=step) for step in ("cell_in", "fill", "power_on")]
    events += [event("done", -3, step=step) for step in ("generator_zero", "heat")]
    answer = ask(events)
    assert answer["step"]["product"] == "liquid-chlorine"
    assert " mL) of liquid chlorine" in answer["step"]["text"]


def test_a_product_that_is_not_listed_is_refused():
    with pytest.raises(LogError, match=r"events\[0\].product: 'magic' is not among the products"):
        ask([event("dose", product="magic", amount_g=5)])


def test_a_step_that_was_never_given_is_refused():
    with pytest.raises(LogError, match=r"events\[0\].step: 'magic' is no step of salt_startup"):
        ask([event("done", step="magic")])


def test_steps_of_another_built_in_procedure_pass():
    assert ask([event("done", step="generator_full")], procedure="upkeep")["step"]["kind"]


def test_a_procedure_for_another_sanitizer_is_refused():
    with pytest.raises(LogError, match=r"tub\.sanitizer: salt_startup is for salt_chlorine"):
        ask([], sanitizer="bromine")


def test_a_reading_before_the_dose_has_mixed_does_not_count():
    events = [*BALANCE, read("ph", 8.2, 0.2, unit="pH")]
    events += [event("dose", -0.9, product="dry-acid", amount_g=30)]
    events += [read("ph", 7.5, 0.2, -0.85, "pH")]
    answer = ask(events)
    assert any("before the last dose had mixed" in caution for caution in answer["cautions"])
    assert {gate["id"]: gate["state"] for gate in answer["gates"]}["ph"] == "waiting"


def test_a_reading_years_old_is_taken_again():
    old = [read(one["analyte"], one["value"], 8, -24 * 800, one["unit"]) for one in BALANCE]
    answer = ask([*old, read("ph", 7.5, 0.2, -24 * 800, "pH")])
    assert answer["step"]["kind"] == "measure"


def test_replaced_water_is_measured_again():
    events = [
        *BALANCE,
        read("ph", 7.5, 0.2, unit="pH"),
        event("replaced_water", -0.5, fraction=0.4),
    ]
    answer = ask(events)
    assert answer["step"]["kind"] == "measure"
    assert "calcium_hardness" in answer["step"]["analytes"]


def test_a_sensor_that_has_not_settled_is_left_out():
    early = event("reading", analyte="free_chlorine", source="sensor", unit="mg/L", value=5.0)
    assert any("before the sensor counts" in text for text in ask([early])["cautions"])


def test_monopersulfate_makes_the_sensor_wait_a_week():
    answer = ask([event("dose", product="monopersulfate", amount_g=20)])
    assert any("let a week pass" in text for text in answer["cautions"])


@pytest.mark.parametrize(
    ("procedure", "sanitizer"),
    [
        *[("salt_startup", "salt_chlorine"), ("chlorine_startup", "chlorine")],
        *[("bromine_startup", "bromine"), ("upkeep", "chlorine"), ("upkeep", "bromine")],
    ],
)
def test_biguanide_in_the_water_ends_it_in_every_procedure(procedure, sanitizer):
    used = event("dose", product="biguanide", amount_g=50)
    answer = ask([used], procedure=procedure, sanitizer=sanitizer)
    assert answer["step"]["action"] == "drain"
    assert "purge the pipes" in answer["step"]["text"]
    assert any("Power off" in caution for caution in answer["cautions"])


def test_upkeep_waits_for_what_is_due_next():
    events = [*BALANCE[:3], read("salt", 1750, 60), read("ph", 7.5, 0.2, unit="pH")]
    answer = ask([*events, read("free_chlorine", 5, 0.5)], procedure="upkeep")
    assert answer["step"]["kind"] == "wait"
    assert answer["step"]["not_before"] == (START + timedelta(hours=7 * 24 - 1)).isoformat()
    assert not answer["complete"]


def test_upkeep_measures_together_what_is_nearly_due():
    events = [*BALANCE[:3], read("salt", 1750, 60), read("ph", 7.5, 0.2, unit="pH")]
    later = START + timedelta(days=8)
    answer = ask([*events, read("free_chlorine", 5, 0.5)], later, "upkeep")
    assert answer["step"]["kind"] == "measure"
    assert {"ph", "free_chlorine", "total_alkalinity"} <= set(answer["step"]["analytes"])


def test_hand_dosed_chlorine_and_bromine_have_their_own_start():
    assert ask([], procedure="chlorine_startup", sanitizer="chlorine")["step"]["sample"] == "fill"
    assert ask([], procedure="bromine_startup", sanitizer="bromine")["step"]["sample"] == "fill"


def test_acid_and_chlorine_within_ten_minutes_in_the_log_are_called_out():
    given = [
        event("dose", -1.0, product="dry-acid", amount_g=10.0),
        event("dose", -0.95, product="liquid-chlorine", amount_g=10.0),
    ]
    cautions = ask([*BALANCE, *given])["cautions"]
    assert any("3 min apart" in caution and "poisonous" in caution for caution in cautions)


def test_acid_and_chlorine_half_an_hour_apart_are_not():
    given = [
        event("dose", -1.0, product="dry-acid", amount_g=10.0),
        event("dose", -0.5, product="liquid-chlorine", amount_g=10.0),
    ]
    assert not any(
        "min apart" in one for one in ask([*BALANCE, *given])["cautions"] if "events[" in one
    )
