"""What to measure now, in one dip, and what to do when a reading decides nothing."""

from __future__ import annotations

from datetime import datetime, timedelta

from dosing import texts
from dosing.analytes import ANALYTES
from dosing.course import numbered
from dosing.dose import Mixed
from dosing.gates import limits
from dosing.procedure import Gate, Hold
from dosing.procedure_file import hours
from dosing.situation import Situation
from dosing.standing import Standing
from dosing.steps import Expected, Todo

DROP_TEST_AFTER = 2
"""Undecided strips after which a drop test is the better source."""

STRIPS_END = 6
"""Undecided strips in one visit after which the text says plainly that strips will not decide."""

ASK_AFTER = 40
"""Undecided readings of one water after which a person must decide."""

SURELY_ABOVE = 0.98
"""Chance of an alkalinity over its limit under which it is read with every pH."""

MOVES_BY_ITSELF_AFTER = 3
"""Undecided readings of chlorine or pH after which an hour tells more than another dip."""

SAME_WATER = {"ph": 2}
"""Of these so many must be of the water as it is now: one pH alone tells little after an hour of
air, while chlorine only falls."""


BETTER = "The strips do not decide: use a drop test, or send a sample to a laboratory."
FAR_BETTER = (
    "{} strips lie on the edge, and more of them may decide nothing: now a drop test, or a "
    "laboratory. Dip once more only where neither is at hand."
)


def measure(now: Situation, gate: Gate | Hold, reason: str, better: str = "") -> Todo:
    """Return one measurement that serves a gate and what can be read with it."""
    analytes = dip(now, gate)
    sample = gate.sample
    name = numbered(f"measure_{gate.id}", 1 + _times_read(now, gate))
    return Todo(
        name,
        "measure",
        _text(analytes, sample, better),
        analytes=analytes,
        sample=sample,
        expect=expected(now, analytes) if sample == "tub" else {},
        why=(reason,),
    )


def _times_read(now: Situation, gate: Gate | Hold) -> int:
    readings = now.history.read_counts
    return readings.get((gate.analyte, gate.sample), 0)


def _text(analytes: tuple[str, ...], sample: str, better: str) -> str:
    what = texts.names(analytes)
    if sample == "fill":
        return (
            f"Run the hose for a minute, take a sample of its water, and measure {what}. "
            "Enter each as water from the hose, not from the tub."
        )
    way = better or (
        "One dip of the strip reads all the pads it has; use the single tests for the rest."
    )
    return (
        f"Measure {what} in the tub: jets off, sample from elbow depth away from the returns. {way}"
    )


def dip(now: Situation, gate: Gate | Hold) -> tuple[str, ...]:
    """Return the analytes worth reading together, the gate's own first."""
    chosen = [gate.analyte]
    if gate.analyte == "total_alkalinity" and gate.sample == "tub":
        chosen.append("ph")  # the same strip, and the acid for either needs both
    for stage, other in now.gates():
        if gate.analyte == "ph" and _is_near_its_limit(now, other) and other.analyte not in chosen:
            chosen.append(other.analyte)  # acid for the pH would take it further
        wanted = (
            other.sample == gate.sample
            and other.analyte not in chosen
            and not now.is_over(stage)
            and _worth_reading(now, other)
        )
        if wanted:
            chosen.append(other.analyte)
    return tuple(chosen)


def _is_near_its_limit(now: Situation, gate: Gate | Hold) -> bool:
    """Say whether an alkalinity read before may be under its limit, or soon."""
    known = gate.sample == "tub" and now.standing(gate).band is not None
    if gate.analyte != "total_alkalinity" or not known or gate.low is None:
        return False
    return now.water.probability(gate.analyte, gate.low.value, None) < SURELY_ABOVE


def _worth_reading(now: Situation, gate: Gate | Hold) -> bool:
    standing = now.standing(gate)
    if isinstance(gate, Hold) or (standing.ready_at is not None and standing.ready_at > now.at):
        return False
    analyte = ANALYTES[gate.analyte]
    if standing.last is None:
        return True
    every = gate.every if isinstance(gate, Gate) else None
    if every and standing.at and now.at - standing.at > 0.5 * timedelta(hours=hours(every)):
        return True
    if gate.id in now.history.passed:
        return analyte.on_strip and (standing.band is None or now.is_stale(gate))
    undecided = now.state(gate).state in ("undecided", "waiting")
    return undecided and (analyte.on_strip or gate.sample == "fill")


def expected(
    now: Situation, analytes: tuple[str, ...], at: datetime | None = None, aerated: bool = False
) -> dict[str, Expected]:
    """Return the 95 % bands of what these should show then, where anything was ever read."""
    water = now.water
    if at is not None and at > water.at:
        water = water.later((at - water.at).total_seconds() / 3600.0, aerated=aerated)
    known = [one for one in analytes if now.history.standing(one).last is not None]
    return {analyte: believed(water, analyte) for analyte in known}


def believed(water: Mixed, analyte: str) -> Expected:
    """Return the 95 % band of a belief."""
    return Expected(water.value(analyte), *water.band(analyte, 0.95))


def undecided(now: Situation, gate: Gate | Hold) -> Todo:
    """Return what settles an undecided gate: another dip, a drop test, time, or a person."""
    standing, state = now.standing(gate), now.state(gate)
    reason = texts.judged(gate, state)
    label = ANALYTES[gate.analyte].label
    if standing.contradicts:
        reason = f"Two readings of {label} contradict each other: a third tells which one holds."
    else:
        reason = odd_one_out(gate, standing) or reason
    if standing.count >= ASK_AFTER:
        return ask(
            now,
            f"ask_{gate.id}",
            f"{standing.count} readings of {ANALYTES[gate.analyte].label} lie on the edge of "
            f"{state.needs}. Decide by hand: confirm this step to go on with the water as it is, "
            "or enter a laboratory value.",
            reason,
        )
    same_water = len(standing.newest) >= SAME_WATER.get(gate.analyte, 1)
    looked = standing.count >= MOVES_BY_ITSELF_AFTER and same_water
    if looked and standing.at is not None:
        again = standing.at + timedelta(hours=1)
        if _time_helps(now, gate) and again > now.at:
            return _an_hour(now, gate, again, reason)
    return measure(now, gate, reason, _better(standing))


def _time_helps(now: Situation, gate: Gate | Hold) -> bool:
    """Say whether an hour tells more than another dip: chlorine falls, pH rises under air.

    A pH that likely lies inside, near its upper limit, air would only drive out.
    """
    if gate.analyte != "ph":
        return gate.analyte in ("free_chlorine", "bromine")
    low, high = limits(gate)
    read = now.history.water_at_last_event  # not the water now: a wait once told must stand
    is_high = low is None or (high is not None and read.value("ph") > 0.5 * (low + high))
    return not is_high or read.probability("ph", low, high) < 0.5


def _better(standing: Standing) -> str:
    """Return what is surer than another strip, once some have decided nothing."""
    strips = min(standing.strips, len(standing.looks))
    if strips < DROP_TEST_AFTER:
        return ""
    return FAR_BETTER.format(strips) if strips >= STRIPS_END else BETTER


def odd_one_out(gate: Gate | Hold, standing: Standing) -> str:
    """Say that all rests on one reading that the log did not foretell; empty where it does not."""
    if not standing.is_odd or standing.foretold is None or standing.last is None:
        return ""
    label = ANALYTES[gate.analyte].label
    read, foretold = (
        texts.plain(gate.analyte, value) for value in (standing.last.value, standing.foretold)
    )
    return (
        f"One dip reads {label} {read}, where {foretold} was foretold from the log: "
        "so far off, one dip decides nothing alone."
    )


def _an_hour(now: Situation, gate: Gate | Hold, again: datetime, reason: str) -> Todo:
    """Let an hour move what moves by itself: chlorine falls, pH rises under air."""
    is_ph = gate.analyte == "ph"
    text = (
        "Run the jets with the air open for an hour: the pH moves by itself, and the next dip "
        "will tell more than another now."
        if is_ph
        else "Let an hour pass, cover on: the chlorine moves by itself, and the next dip will "
        "tell more than another now."
    )
    return Todo(
        numbered(f"wait_{gate.id}", 1 + _times_read(now, gate)),
        "wait",
        text,
        action="aerate" if is_ph else None,
        not_before=again,
        analytes=(gate.analyte,),
        expect=expected(now, (gate.analyte,), again, aerated=is_ph),
        why=(reason,),
    )


def ask(now: Situation, base: str, text: str, why: str, cautions: tuple[str, ...] = ()) -> Todo:
    """Return a question that only a person can answer."""
    return Todo(now.history.next_id(base), "ask", text, why=(why,), cautions=cautions)
