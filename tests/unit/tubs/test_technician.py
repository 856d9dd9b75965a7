"""The technician walks, the umpire sees the faults that are put in front of it."""

import copy
from collections import Counter
from datetime import timedelta

import pytest

from tests.tubs.draw import FAMILIES, Habits, draw
from tests.tubs.record import CHANCE, LETTER, RULE
from tests.tubs.score import score, table
from tests.tubs.standin import next_step
from tests.tubs.technician import START, Technician


def plain(_):
    return Habits(asks_halfway=1.0)


def walked(chemistry, seed, ask=next_step, habits=plain):
    return Technician(draw(seed, habits=habits), chemistry, ask).walk()


def codes(record, kind):
    return Counter(fault.code for fault in record.of_kind(kind))


@pytest.mark.parametrize("seed", range(len(FAMILIES)), ids=FAMILIES)
def test_the_simple_policy_walks_every_fill_water(chemistry, seed):
    """What believes every value gets through, to the letter, though not without faults."""
    record = walked(chemistry, seed)

    assert record.ended == "complete"
    assert 20 < record.steps < 110
    assert not record.of_kind(LETTER)
    assert set(codes(record, RULE)) <= {"wrong_sign", "open_but_outside", "wait_cut_short"}


def test_the_same_seed_is_the_same_walk(chemistry):
    assert walked(chemistry, 2).trace == walked(chemistry, 2).trace


def meddled(change):
    """The simple policy with its answers changed on the way."""

    def ask(text, at):
        answer = copy.deepcopy(next_step(text, at))
        change(answer, at)
        return answer

    return ask


def sooner(answer, at):
    if answer["step"]["kind"] == "wait":
        answer["step"]["not_before"] = (at + timedelta(minutes=2)).isoformat()


def tenfold(answer, at):
    if answer["step"]["kind"] == "dose":
        answer["step"]["amount_g"] *= 10


def no_cell(answer, at):
    if answer["step"]["action"] == "cell_in":
        answer["step"] |= {"action": "purge"}


def always_open(answer, at):
    for gate in answer["gates"]:
        gate |= {"state": "open", "probability": 1.0}


def silent(answer, at):
    answer["cautions"] = []


@pytest.mark.parametrize(
    ("change", "kind", "code"),
    [
        (tenfold, CHANCE, "past_far_limit"),
        (no_cell, RULE, "order"),
        (always_open, RULE, "open_but_outside"),
        (silent, LETTER, "letter"),
    ],
)
def test_a_spoiled_policy_is_caught(chemistry, change, kind, code):
    assert codes(walked(chemistry, 3, meddled(change)), kind)[code]


def test_a_wait_cut_short_is_caught(chemistry):
    def impatient(text, at):
        answer = next_step(text, at)
        if answer["step"]["kind"] == "wait" and at.minute % 2:
            answer["step"] |= {"kind": "measure", "analytes": ["calcium_hardness"]}
            answer["step"] |= {"not_before": None, "id": "early"}
        return answer

    assert codes(walked(chemistry, 2, impatient), RULE)["wait_cut_short"]


def at_the_tub(chemistry):
    technician = Technician(draw(0, habits=plain), chemistry, next_step)
    technician.tub.fill_up()
    return technician


def test_acid_and_chlorine_within_ten_minutes_is_caught(chemistry):
    technician = at_the_tub(chemistry)
    kinds = {p["kind"]: p for p in technician.facts.products}
    technician.watch.dose(kinds["acid"], 1.0)
    technician.tub.now += timedelta(minutes=9)
    technician.watch.dose(kinds["chlorinating"], 1.0)

    assert codes(technician.record, RULE)["acid_and_chlorine"] == 1


def test_the_sensor_before_the_residual_holds_is_caught(chemistry):
    technician = at_the_tub(chemistry)
    kinds = {p["kind"]: p for p in technician.facts.products}
    technician.watch.dose(kinds["chlorinating"], 1.0)
    technician.tub.now += timedelta(hours=23)
    technician.watch.measured("free_chlorine", "tub", 4.0, 4.0)
    technician.watch.confirm("sensor_in", None, "eye")

    assert codes(technician.record, RULE)["sensor_before_hold"] == 1


def test_the_generator_before_the_salt_gate_is_caught(chemistry):
    technician = at_the_tub(chemistry)
    technician.watch.confirm("generator_output", 1.0, "full")

    assert codes(technician.record, RULE)["generator_before_salt_gate"] == 1


def test_an_engine_that_fails_ends_the_walk_and_is_kept(chemistry):
    def fails(text, at):
        raise ValueError("no")

    record = walked(chemistry, 0, fails)
    assert record.ended == "error"
    assert codes(record, RULE)["no_answer"] == 1


def test_the_score_tells_shares_intervals_and_faults(chemistry):
    result = score([walked(chemistry, seed) for seed in (0, 1)])

    assert result["targets"]["completed"]["value"] == 1.0
    low, high = result["targets"]["median_days"]["interval_95"]
    assert low <= result["targets"]["median_days"]["value"] <= high
    assert result["none_seen_means_at_most"] == pytest.approx(1 - 0.05**0.5)
    assert "2 tubs" in table(result)


def test_the_log_begins_where_the_contract_says(chemistry):
    technician = Technician(draw(0, habits=plain), chemistry, next_step)
    record = technician.walk()

    assert record.log["events"][0]["at"] >= START.isoformat()
    assert {e["type"] for e in record.log["events"]} == {"reading", "dose", "done"}


def test_what_was_done_but_not_entered_is_only_entered_when_asked_again(chemistry):
    """The tub is filled once, although the first entry of it was forgotten."""
    record = walked(chemistry, 2, habits=lambda _: Habits(asks_halfway=0.0, skips_done=0.6))

    assert record.ended == "complete"
    assert not {"order", "same_id_again"} & set(codes(record, RULE))
    ids = [event["step"] for event in record.log["events"] if event["type"] == "done"]
    assert len(ids) == len(set(ids))


def test_exchanged_times_and_late_entries_never_lie_in_the_future(chemistry):
    habits = Habits(asks_halfway=0.0, swaps=0.5, enters_late_min=(0.0, 20.0), offsets=True)
    record = walked(chemistry, 3, habits=lambda _: habits)

    assert "no_answer" not in codes(record, RULE)
    assert record.ended != "error"
