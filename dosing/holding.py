"""The daily residual, the generator's output, and when it is set to the use."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import datetime, timedelta

from dosing.analytes import ANALYTES
from dosing.course import numbered, with_output
from dosing.gates import OPEN_FROM, limits
from dosing.log import Reading
from dosing.measuring import expected, measure, undecided
from dosing.procedure import Hold, Tune, Wait
from dosing.procedure_file import hours
from dosing.situation import Situation
from dosing.steps import Todo
from dosing.treating import treat

AHEAD_H = 24.0
"""How far ahead the chlorine is forecast [h]."""

TOO_SURE = 0.02
"""Chance of passing the upper limit by tomorrow from which the output is turned down."""

SETTLED_H = 14.0 * 24.0
"""After so long at one output the chlorine stands where that output holds it, and no surplus of
today flatters it [h]."""

SAME_USE = timedelta(hours=44.0)
"""How long output and use must have been the same before a reading may change the output."""

LEAST_APART = timedelta(hours=12)
"""How far apart two readings lie whose difference tells what chlorine gained or lost."""

LOOKS_BACK = timedelta(days=4)
"""Older readings are of another use."""

EASES_IN_DAYS = 7.0
"""How long a surplus may take to ease down to the aim (common practice)."""

BEARABLE_SURPLUS = 3.0
"""So much above the aim may the chlorine come to stand by our own law [mg/L]."""

MOST_DOWN = 0.65
"""Share of the present output that one step leaves at least (common practice)."""

PH_LOOKS = 3
TRIFLE_PH = 0.1
"""After so many looks a tub is handed over with a pH that may lie so far out (common practice)."""

UNDECIDED_LOOKS = 3
"""Undecided looks at a residual after which the next day judges."""


def hold_step(now: Situation, hold: Hold) -> Todo | None:
    """Return what the daily residual asks for; None when it has held."""
    history, standing = now.history, now.standing(hold)
    if hold.id in history.passed:
        return None
    anchor = history.hold_anchor(hold) or now.at
    if standing.at is not None and standing.band and history.counts_for(hold, standing.at):
        return still_running(now, lambda then: _judge(then, hold)) or _judge(now, hold)
    ends = anchor + timedelta(hours=hours(hold.rest))
    if ends > now.at:
        return _until_tomorrow(now, hold, ends)
    return measure(now, hold, "A day has passed since the last chlorine dose: what is left?")


def still_running(now: Situation, act: Callable[[Situation], Todo | None]) -> Todo | None:
    """Return the wait that was decided on at the last event, as long as it runs.

    Bands widen with age; a wait once told must not turn into something else halfway.
    """
    then = now.at_last_event()
    if then is None:
        return None
    decided = act(then)
    if decided is None or decided.kind != "wait" or decided.not_before is None:
        return None
    return decided if decided.not_before > now.at else None


def _judge(now: Situation, hold: Hold) -> Todo | None:
    standing, state = now.standing(hold), now.state(hold)
    if state.state == "open":
        return None
    if state.state == "undecided" and standing.count < 2:
        return undecided(now, hold)
    too_high = standing.band is not None and standing.band.mode > hold.aim_up.value
    if too_high and (lower := lower_output(now)):
        return lower
    if state.state == "shut":
        return treat(now, hold)
    if standing.at is not None and standing.count >= UNDECIDED_LOOKS:
        ends = standing.at + timedelta(hours=hours(hold.rest))
        if ends > now.at:
            return _until_tomorrow(now, hold, ends)
        return measure(now, hold, "Yesterday's residual decided nothing: look again.")
    return undecided(now, hold)


def _until_tomorrow(now: Situation, hold: Hold, ends: datetime) -> Todo:
    return Todo(
        numbered(f"wait_{hold.id}", 1 + now.history.readings + len(now.history.doses)),
        "wait",
        "Leave the tub alone until tomorrow: cover on, no bathers, nothing by hand. Then the "
        f"residual shows whether the {ANALYTES[hold.analyte].label.removeprefix('free ')} holds.",
        not_before=ends,
        analytes=(hold.analyte,),
        expect=expected(now, (hold.analyte, "ph"), ends),
        why=(
            f"Held means {hold.low.value:g} {hold.low.unit} or more a day after the last dose.",
            _chance_of_holding(now, hold, ends),
        ),
    )


def _chance_of_holding(now: Situation, hold: Hold, ends: datetime) -> str:
    """Forecast the residual from what demand, loss and yield have shown so far."""
    later = now.water.later((ends - now.water.at).total_seconds() / 3600.0)
    chance = 100.0 * later.probability(hold.analyte, *limits(hold))
    return f"Chance that the residual then lies in range: {chance:.0f} %."


def _hold_of(now: Situation) -> Hold | None:
    holds = [one for _, one in now.gates() if isinstance(one, Hold)]
    return holds[0] if holds else None


def lower_output(now: Situation) -> Todo | None:
    """Turn the generator down when the chlorine would pass its upper limit by tomorrow."""
    hold = _hold_of(now)
    if hold is None or now.water.output <= 0.0:
        return None
    standing = now.standing(hold)
    judged = standing.at is not None and now.history.counts_for(hold, standing.at)
    if standing.band is None or not judged or standing.band.mode < hold.aim_up.value:
        return None
    lowered = now.history.last_done("lower_output")
    if lowered is not None and standing.at is not None and lowered >= standing.at:
        return None  # once for each reading: the next one tells whether it was enough
    ahead = now.water.later(AHEAD_H)
    if 1.0 - ahead.probability(hold.analyte, None, hold.high.value) < TOO_SURE:
        return None
    output = _low_enough(now, hold)
    reason = (
        f"At {100 * now.water.output:.0f} % output the chlorine would stand at about "
        f"{ahead.value(hold.analyte):.1f} {hold.high.unit} tomorrow; the most is "
        f"{hold.high.value:g}."
    )
    return Todo(
        now.history.next_id(with_output("lower_output", output)),
        "confirm",
        f"Turn the generator's output down to {100 * output:.0f} %.",
        action="generator_output",
        value=output,
        analytes=(hold.analyte,),
        why=(reason,),
    )


def _low_enough(now: Situation, hold: Hold) -> float:
    """Return the highest output, 0 to 1, that the log bears out and tomorrow's limit allows."""
    aim, high = hold.aim_up.value, hold.high.value
    least = MOST_DOWN * now.water.output
    output = min(_careful(now, hold.analyte, aim), now.water.output - 0.05)
    output = max(math.ceil(20.0 * output - 1e-6) / 20.0, 0.0)
    while output > least:
        ahead = now.water.later(AHEAD_H, output=output)
        if 1.0 - ahead.probability(hold.analyte, None, high) < TOO_SURE:
            break
        output = round(output - 0.05, 2)
    return output


def _careful(now: Situation, analyte: str, aim: float) -> float:
    """Return the output for the aim, turned down by no more than a third at once.

    What a day or two have shown of demand and loss may be another law than ours: a tub whose
    chlorine is eaten at a fixed rate would run dry within the week. So the output is no lower than
    the change from reading to reading bears out, unless the surplus would last.
    """
    by_law = output_for(now, analyte, aim)
    by_change = _by_change(now, analyte, aim)
    if by_change is not None and by_change > by_law:
        by_law = min(by_change, output_for(now, analyte, aim + BEARABLE_SURPLUS))
    return max(by_law, MOST_DOWN * now.water.output)


def _by_change(now: Situation, analyte: str, aim: float) -> float | None:
    """Return the output that takes the level to the aim within days, by what it did so far.

    Whatever eats the chlorine: what it gained or lost at a known output tells which output would
    hold it. None as long as no two readings lie far enough apart.
    """
    last = now.history.standing(analyte).last
    if last is None:
        return None
    dosed = [dose.at for dose in now.history.doses_of("chlorinating", "dechlorinating")[-1:]]
    since = max([now.history.began, last.at - LOOKS_BACK, *dosed])
    earlier = [
        event
        for event in now.log.events
        if isinstance(event, Reading)
        and (event.analyte, event.sample) == (analyte, "tub")
        and since < event.at <= last.at - LEAST_APART
    ]
    if not earlier:
        return None
    first = earlier[0]
    gained = (last.value - first.value) / ((last.at - first.at) / timedelta(days=1))
    wanted = (aim - last.value) / EASES_IN_DAYS
    made = max(now.water.yield_mg_l_day()[0], 1.0)
    return _mean_output(now, first.at, last.at) - (gained - wanted) / made


def _mean_output(now: Situation, start: datetime, end: datetime) -> float:
    """Return the generator's mean output between two moments, 0 to 1."""
    sets = [(at, output) for at, output in now.history.course.outputs if at < end]
    before = [output for at, output in sets if at <= start]
    edges = [(start, before[-1] if before else 0.0), *[one for one in sets if one[0] > start]]
    ends = [at for at, _ in edges[1:]] + [end]
    ran = sum(
        output * (until - at).total_seconds()
        for (at, output), until in zip(edges, ends, strict=True)
    )
    return ran / max((end - start).total_seconds(), 1.0)


def output_for(now: Situation, analyte: str, aim: float) -> float:
    """Return the output, 0 to 1, at which the chlorine would come to stand at the aim."""
    low, high = 0.0, 1.0
    if now.water.later(SETTLED_H, output=high).value(analyte) <= aim:
        return high
    for _ in range(5):
        middle = 0.5 * (low + high)
        above = now.water.later(SETTLED_H, output=middle).value(analyte) > aim
        low, high = (low, middle) if above else (middle, high)
    return high


def _undecided_ph(now: Situation) -> Todo | None:
    """The tub is not handed over with a pH that its last readings left undecided.

    Unless it surely lies no more than a trifle beyond its limit: then some looks are enough.
    """
    gate = next((one for _, one in now.gates() if one.analyte == "ph"), None)
    standing = now.standing(gate) if gate else None
    if gate is None or standing is None or standing.at is None:
        return None
    if now.history.as_read.get(gate.id) != "undecided":
        return None
    low, high = limits(gate)
    bounds = low and low - TRIFLE_PH, high and high + TRIFLE_PH
    near_enough = now.water.probability("ph", *bounds) >= OPEN_FROM
    return None if near_enough and standing.count >= PH_LOOKS else undecided(now, gate)


def tune_step(now: Situation, step: Tune) -> Todo | None:
    """Set the output by what is left at the present one."""
    if not now.procedure.ends:
        return _fitted(now, step)
    hold = _hold_of(now)
    if hold is None or now.history.times_done(step.id):
        return None
    standing = now.standing(hold)
    waits = [one for _, one in now.procedure.steps() if isinstance(one, Wait) and now.applies(one)]
    ends = [end for end in (now.wait_ends(one) for one in waits) if end]
    if standing.band is None or standing.at is None or any(standing.at < end for end in ends):
        return measure(now, hold, "The output is set by what is left at the present one.")
    open_ph = _undecided_ph(now)
    if open_ph is not None:
        return open_ph
    value = _careful(now, step.analyte, step.aim.value)
    value = min(max(math.ceil(20.0 * value - 1e-6) / 20.0, step.least.value), 1.0)
    level = now.water.value(step.analyte)
    return Todo(
        now.history.next_id(with_output(step.id, value)),
        "confirm",
        f"Set the generator's output to {100 * value:.0f} %. {step.text}",
        action="generator_output",
        value=value,
        analytes=(step.analyte,),
        why=(
            f"At {100 * now.water.output:.0f} % output {level:.1f} mg/L is left now; about "
            f"{step.aim.value:g} mg/L is wanted in the long run, by what the generator has made "
            "and the water has eaten so far.",
        ),
    )


def _fitted(now: Situation, step: Tune) -> Todo | None:
    """Upkeep: a new output where the present one lets the chlorine settle out of its range."""
    history = now.history
    gate = next((one for _, one in now.gates() if one.analyte == step.analyte), None)
    if gate is None or history.output_set_at is None or not now.is_just_after_an_event():
        return None
    standing = now.standing(gate)
    given = [dose.at for dose in history.doses_of("chlorinating")[-1:]]
    since = max([history.output_set_at, *given])
    if standing.at is None or standing.at - since < SAME_USE:
        return None
    output = now.water.output
    settled = now.water.later(SETTLED_H)
    if settled.probability(step.analyte, *limits(gate)) >= 0.5:
        return None
    value = min(max(_careful(now, step.analyte, step.aim.value), step.least.value), 1.0)
    value = math.ceil(20.0 * value - 1e-6) / 20.0
    if abs(value - output) < 0.04:
        return None
    way = "up" if value > output else "down"
    return Todo(
        history.next_id(with_output(step.id, value)),
        "confirm",
        f"Turn the generator's output {way} from {100 * output:.0f} to {100 * value:.0f} %. "
        f"{step.text}",
        action="generator_output",
        value=value,
        analytes=(step.analyte,),
        why=(
            f"At {100 * output:.0f} % the chlorine would come to stand at about "
            f"{settled.value(step.analyte):.1f} mg/L with the use of late; about "
            f"{step.aim.value:g} mg/L is wanted.",
        ),
    )
