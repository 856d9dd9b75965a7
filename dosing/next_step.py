"""From a tub's log to the one thing to do now."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from dosing import texts, wear
from dosing.analytes import ANALYTES
from dosing.cautions import no_bathers, with_action
from dosing.course import numbered
from dosing.holding import hold_step, lower_output, still_running, tune_step
from dosing.log import Log
from dosing.measuring import ask, expected, measure, undecided
from dosing.procedure import Confirm, Gate, Hold, Procedure, Step, Test, Wait
from dosing.procedure_file import hours
from dosing.products import Products
from dosing.situation import Situation
from dosing.sources import cite
from dosing.steps import NextStep, Todo
from dosing.treating import by_the_ph, treat
from dosing.urgent import air_after_acid, drained, impossible, mixing, start_again

MOST_PREFILTERS = 3
"""Prefilters tried before a person must look at the hose's water."""

DUE_LOOKS = 3
"""Undecided looks at a passed gate of upkeep after which the next day judges."""

PREFILTER_AFTER = 3
"""Undecided metal readings after which a prefilter is fitted to be safe: it does no harm."""


def next_step(log: Log, procedure: Procedure, products: Products, at: datetime) -> NextStep:
    """Return the one thing to do now.

    Parameters
    ----------
    log
        The tub's log, all events at or before `at`.
    procedure
        The procedure the tub is in.
    products
        The products at hand; the generic ones when the log brings none.
    at
        The moment of asking, with an offset.

    Returns
    -------
    NextStep
        Stage, gates, step, what to expect, why, cautions. The same log and moment always give the
        same answer.

    Raises
    ------
    LogError
        If an event names a product or a step that does not exist, or the procedure does not fit
        the tub.
    """
    return answered(Situation(log, procedure, products, at))


def answered(now: Situation) -> NextStep:
    """Return the one thing to do now, for those who have the situation already."""
    stage, step = _first(now)
    complete = step.kind == "none"
    gates = now.gate_states()
    return NextStep(now.at, stage, complete, gates, step, _why(now, step), _cautions(now, step))


def step_now(now: Situation) -> Todo:
    """Return the step alone, for those who have the situation already."""
    return _first(now)[1]


def _first(now: Situation) -> tuple[str, Todo]:
    """Return the first thing that is not as it should be, with its stage."""
    urgent = start_again(now) or drained(now) or mixing(now) or impossible(now)
    beside: list[tuple[str, Todo]] = []
    main: tuple[str, Todo] | None = None
    for stage, step in now.procedure.steps():
        if now.is_over(stage) or not now.applies(step) or (main and not _is_beside(step)):
            continue
        todo = _step(now, step)
        if todo is None:
            continue
        if _is_beside(step) or (todo.kind == "wait" and not now.procedure.ends):
            beside.append((stage.id, todo))
        else:
            main = stage.id, todo
    if urgent is not None:
        return (main or (now.procedure.stages[-1].id, urgent))[0], urgent
    return _soonest(now, main, beside)


def _is_beside(step: Step) -> bool:
    """Say whether a step runs beside the others, due by the clock."""
    return isinstance(step, Confirm) and bool(step.after_dose or step.every)


def _soonest(
    now: Situation, main: tuple[str, Todo] | None, beside: list[tuple[str, Todo]]
) -> tuple[str, Todo]:
    """Return what is due by the clock, else the main step, else the wait that ends first."""
    for stage, todo in beside:
        if todo.kind != "wait":
            return stage, todo
    waits = [one for one in beside if one[1].not_before is not None]
    if main is not None and main[1].kind != "wait":
        return main
    waits += [main] if main else []
    if not waits:
        return now.procedure.stages[-1].id, _nothing(now)
    return min(waits, key=lambda one: one[1].not_before or now.at)


def _nothing(now: Situation) -> Todo:
    phs = [gate for _, gate in now.gates() if gate.analyte == "ph"]
    near = any(now.history.as_read.get(gate.id) == "undecided" for gate in phs)
    again = ("The pH lies near its limit: read it again within two days.",) if near else ()
    return Todo(
        "done",
        "none",
        f"{now.procedure.title}: complete. Upkeep is next: name the procedure `upkeep`.",
        why=("Every step is confirmed and every gate was passed.", *again),
    )


def _step(now: Situation, step: Step) -> Todo | None:
    """Return what a step of the procedure asks for now; None when it is as it should be."""
    if isinstance(step, Gate):
        return _gate(now, step)
    if isinstance(step, Confirm):
        return _confirm(now, step)
    if isinstance(step, Hold):
        return hold_step(now, step)
    if isinstance(step, Wait):
        return _wait(now, step)
    if isinstance(step, Test):
        return _test(now, step)
    return tune_step(now, step)


def _gate(now: Situation, gate: Gate) -> Todo | None:
    """Return what a gate asks for: a wait, a measurement, a treatment, or nothing."""
    standing = now.standing(gate)
    if gate.every is not None:
        due = _due(now, gate)
        if due is not None:
            return due
    if gate.id in now.history.passed and not _must_check(now, gate):
        return None
    if standing.band is None:
        return _unread(now, gate)
    if now.is_outdated(gate):
        return measure(now, gate, "The last reading is more than a month old.")
    running = still_running(now, lambda then: _act(then, gate))
    if running is None and now.is_aired(gate):
        return measure(now, gate, "Jets and air may have moved the pH since it was read.")
    return running or _act(now, gate)


def _act(now: Situation, gate: Gate) -> Todo | None:
    """Return what the gate's state asks for."""
    state = now.state(gate)
    if state.state == "open":
        return None
    if gate.remedy:
        return _remedy(now, gate, state.state)
    if state.state == "undecided":
        return by_the_ph(now, gate) or undecided(now, gate)
    return treat(now, gate)


def _must_check(now: Situation, gate: Gate) -> bool:
    """A passed gate is measured again after much of the water was replaced."""
    standing = now.standing(gate)
    if standing.band is not None or gate.sample != "tub" or standing.at is None:
        return False
    return any(one.at > standing.at and one.fraction >= 0.05 for one in now.history.replaced)


def _due(now: Situation, gate: Gate) -> Todo | None:
    """Upkeep: a gate is measured every so many days, and waited for between."""
    standing = now.standing(gate)
    rest = timedelta(hours=hours(gate.every)) if gate.every else timedelta(0)
    if standing.band is None or standing.at is None:
        return None
    if now.at >= standing.at + rest:
        return measure(now, gate, f"The last reading is {(now.at - standing.at).days} days old.")
    if now.history.as_read.get(gate.id) == "undecided" and gate.id in now.history.passed:
        if standing.count < DUE_LOOKS:
            return undecided(now, gate)
        rest = min(rest, timedelta(days=1))
        if now.at >= standing.at + rest:
            return measure(now, gate, "Yesterday's readings decided nothing: look again.")
    if now.state(gate).state != "shut" and gate.id in now.history.passed:
        return Todo(
            numbered(f"wait_{gate.id}", 1 + now.history.readings),
            "wait",
            f"Nothing is due now. Measure {ANALYTES[gate.analyte].label} next.",
            not_before=standing.at + rest,
            analytes=(gate.analyte,),
            why=(texts.judged(gate, now.state(gate)),),
        )
    return None


def _unread(now: Situation, gate: Gate) -> Todo:
    """No reading counts: wait until the last treatment has acted, then measure."""
    standing = now.standing(gate)
    if standing.ready_at is not None and standing.ready_at > now.at:
        return Todo(
            numbered(f"wait_{gate.id}", len(now.history.doses)),
            "wait",
            f"Let the treatment act, pump running, until the time given; then "
            f"{ANALYTES[gate.analyte].label} is measured again.",
            not_before=standing.ready_at,
            analytes=(gate.analyte,),
            expect=expected(now, (gate.analyte,), standing.ready_at),
            why=("The treatment acts slowly; a reading before its time would mislead.",),
        )
    air = air_after_acid(now, gate)
    if air is not None:
        return air
    label = ANALYTES[gate.analyte].label
    reason = (
        f"No reading of {label} counts yet."
        if standing.last is None
        else f"The water was moved since {label} was last read."
    )
    return measure(now, gate, reason)


def _remedy(now: Situation, gate: Gate, state: str) -> Todo:
    """The hose's water fails: something is fitted to the hose, then it is tested again."""
    fitted = len(now.history.times_done(gate.remedy))
    judged = texts.judged(gate, now.state(gate))
    if state == "undecided" and now.standing(gate).count < PREFILTER_AFTER:
        return undecided(now, gate)
    if fitted >= MOST_PREFILTERS:
        return ask(
            now,
            f"ask_{gate.id}",
            f"{fitted} prefilters did not bring {ANALYTES[gate.analyte].label} of the hose's water "
            "into range. Use other water, or confirm this step to fill with it all the same.",
            judged,
        )
    return Todo(
        now.history.next_id(gate.remedy),
        "confirm",
        "Fit a metal-removing prefilter to the hose (a fresh one if one was on), run it a minute; "
        "then the hose's water is tested again.",
        action="prefilter",
        why=(judged,),
    )


def _confirm(now: Situation, step: Confirm) -> Todo | None:
    """Return something a person does, if it is due."""
    if step.after_dose:
        return wear.after_dose(now, step, _confirm_step(now, step))
    if step.every is not None:
        return wear.returning(now, step, _confirm_step(now, step))
    return None if now.is_done(step.id) else _confirm_step(now, step)


def _confirm_step(now: Situation, step: Confirm) -> Todo:
    stages = now.procedure.stages
    place = next(place for place, one in enumerate(stages) if step in one.steps)
    if step.every is not None:
        return _as_a_step(now, step, _cited(step))
    because = f"`{stages[place].title}` comes first."
    if place > 0:
        before = stages[place - 1].title
        because = f"`{stages[place].title}` is next: `{before}` before it is as it should be."
    return _as_a_step(now, step, (because, *_cited(step)))


def _as_a_step(now: Situation, step: Confirm, why: tuple[str, ...]) -> Todo:
    return Todo(
        now.history.next_id(step.id),
        "confirm",
        step.text,
        action=step.action,
        value=step.value.value if step.value else None,
        why=why,
        cautions=with_action(step.action),
    )


def _cited(step: Confirm) -> tuple[str, ...]:
    limit = step.value or step.rest or step.every
    if limit is None:
        return ()
    if limit.unit == "1":
        amount = f"{100.0 * limit.value:g} % output"
    else:
        amount = f"{limit.value:g} {limit.unit.replace('deg C', '°C')}"
    return (f"{amount} rests on: {cite(limit.source)}",)


def _wait(now: Situation, step: Wait) -> Todo | None:
    ends = now.wait_ends(step)
    if ends is None or ends <= now.at:
        return None
    lower = lower_output(now) if now.is_just_after_an_event() else None
    if lower is not None:
        return lower
    why = f"It began {now.offset(now.history.last_done(step.since) or now.at)}."
    return Todo(f"wait_{step.id}", "wait", step.text, not_before=ends, why=(why,))


def _test(now: Situation, step: Test) -> Todo | None:
    """Measure once what a later stage builds on, together with its sample's gates."""
    missing = tuple(
        analyte
        for analyte in step.analytes
        if now.history.standing(analyte, step.sample).last is None
    )
    if not missing:
        return None
    gates = [gate for _, gate in now.gates() if gate.sample == step.sample]
    unread = tuple(gate.analyte for gate in gates if now.standing(gate).last is None)
    if gates:
        todo = measure(now, gates[0], "The water from the hose decides the whole recipe.")
        wanted = tuple(dict.fromkeys((*unread, *missing)))
        text = todo.text.replace(texts.names(todo.analytes), texts.names(wanted))
        return replace(todo, analytes=wanted, text=text)
    return None


def _why(now: Situation, step: Todo) -> tuple[str, ...]:
    """Return readings, rules and sources behind the step, as sentences."""
    said = []
    for analyte in step.analytes[:3]:
        standing = now.history.standing(analyte, step.sample)
        if standing.band and standing.last and standing.at:
            when = now.offset(standing.at)
            said.append(texts.reads(standing.last, standing.band, len(standing.newest), when))
    gates = [
        gate
        for _, gate in now.gates()
        if gate.analyte in step.analytes[:1] and gate.sample == step.sample
    ]
    rests = [texts.rests_on(gate) for gate in gates[:1]]
    learned = now.water.facts if _rests_on_the_tub(step) else ()
    return tuple(dict.fromkeys((*said, *step.why, *learned, *rests)))


def _rests_on_the_tub(step: Todo) -> bool:
    """Say whether what was learned of volume, strengths, loss and yield is behind the step."""
    return step.kind in ("dose", "replace_water", "none") or step.action == "generator_output"


def _cautions(now: Situation, step: Todo) -> tuple[str, ...]:
    """Return what must be said beside the step, the log's own oddities, and the tub's rules."""
    nevers = [
        never.text
        for never in now.procedure.nevers
        if never.rule != "drain" and now.history.doses_of(never.kind)
    ]
    wet = step.kind in ("wait", "measure") and now.procedure.ends
    bathers = [no_bathers(now.log.tub.sanitizer)] if wet else []
    evident = []
    if now.taken_as_done:
        evident.append(
            "No step is confirmed in this log, but its tub was read or dosed: filling, power and "
            "heat are taken as done. See that the cell is in and the generator's output is zero."
        )
    return tuple(
        dict.fromkeys((*step.cautions, *bathers, *nevers, *evident, *now.history.cautions))
    )
