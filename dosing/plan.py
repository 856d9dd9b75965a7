"""Looking ahead: steps likely to come, products to bring, visits and days until done.

Each run draws what the measurements to come may show from the belief, enters them in a copy of the
log, and does what the engine answers. Drawn one after the other, readings of one run are as much
like each other as one tub's are.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from random import Random
from typing import Any

from dosing.analytes import ANALYTES, NORMAL_95
from dosing.chemistry import softened_share
from dosing.log import Done, Dose, Event, Log, Reading, ReplacedWater
from dosing.next_step import step_now
from dosing.procedure import Procedure
from dosing.products import Products
from dosing.situation import Situation
from dosing.steps import Todo

MINUTES = {"fill": 75, "heat": 8 * 60, "circulate": 12, "sensor_in": 15, "drain": 60}
"""How long a person's steps take, others five minutes [min] (common practice)."""

VISIT_GAP = timedelta(hours=4)
"""A wait this long ends a visit."""

MOST_STEPS = 120
MOST_DAYS = 60.0
WITHIN_DAYS = (2, 3, 4, 5, 7, 10, 14, 21)
SOFT_WATER_MG_L = 5.0
"""Hardness behind a softener [mg/L as CaCO3] (common practice)."""


@dataclass
class Run:
    """One way the tub may go."""

    steps: list[tuple[float, str, str]] = field(default_factory=list)
    """Hours from now, kind, and what."""
    grams: dict[str, float] = field(default_factory=dict)
    measurements: int = 0
    visits: int = 1
    days: float = 0.0
    done: bool = False


@dataclass(frozen=True)
class Spread:
    """A middle with the limits that hold eight runs of ten."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True)
class Plan:
    """What a technician packs the van for."""

    steps: tuple[tuple[float, str, str], ...]
    """Of the run nearest the middle: hours from now, kind, what."""
    products: dict[str, Spread]
    """Grams by product id."""
    measurements: Spread
    visits: Spread
    days: Spread
    done_within: dict[int, float]
    """Probability that all is done within so many days."""
    fill: tuple[str, ...]
    """What the water from the hose will need."""


def plan(
    log: Log, procedure: Procedure, products: Products, at: datetime, random: Random, runs: int = 8
) -> Plan:
    """Return what is likely to come.

    Parameters
    ----------
    log, procedure, products, at
        As for `dosing.next_step.next_step`.
    random
        The source of chance; the same seed gives the same plan.
    runs
        How many ways are walked; each costs a second or two for a whole start-up.
    """
    walked = [_walk(log, procedure, products, at, random) for _ in range(runs)]
    middle = sorted(walked, key=lambda run: run.days)[(len(walked) - 1) // 2]
    used = dict.fromkeys(name for run in walked for name in run.grams)
    return Plan(
        tuple(middle.steps),
        {name: _spread([run.grams.get(name, 0.0) for run in walked]) for name in used},
        _spread([run.measurements for run in walked]),
        _spread([run.visits for run in walked]),
        _spread([run.days for run in walked]),
        {
            days: sum(run.done and run.days <= days for run in walked) / len(walked)
            for days in WITHIN_DAYS
        },
        _fill(Situation(log, procedure, products, at)),
    )


def _spread(values: Sequence[float]) -> Spread:
    ranked = sorted(values)
    last = len(ranked) - 1
    return Spread(
        ranked[round(0.5 * last)], ranked[math.floor(0.1 * last)], ranked[math.ceil(0.9 * last)]
    )


def _walk(log: Log, procedure: Procedure, products: Products, at: datetime, random: Random) -> Run:
    """Do what the engine answers until it is done, asks a person, or takes too long."""
    run, now = Run(), at
    while len(run.steps) < MOST_STEPS and (now - at).total_seconds() < MOST_DAYS * 86400.0:
        situation = Situation(log, procedure, products, now)
        todo = step_now(situation)
        run.steps.append(((now - at).total_seconds() / 3600.0, todo.kind, _what(todo)))
        if todo.kind in ("none", "ask"):
            run.done = todo.kind == "none"
            break
        if todo.kind == "wait":
            then = todo.not_before or now
            run.visits += then - now >= VISIT_GAP
            now = then
            continue
        events, now = _done(todo, situation, random)
        run.measurements += todo.kind == "measure"
        if todo.product is not None and todo.amount_g is not None:
            run.grams[todo.product] = run.grams.get(todo.product, 0.0) + todo.amount_g
        log = replace(log, events=(*log.events, *events))
    run.days = (now - at).total_seconds() / 86400.0
    return run


def _what(todo: Todo) -> str:
    if todo.kind == "dose":
        return f"{todo.amount_g:g} g of {todo.product}"
    if todo.kind == "measure":
        return ", ".join(todo.analytes)
    return todo.action or todo.id


def _done(todo: Todo, now: Situation, random: Random) -> tuple[list[Event], datetime]:
    """Return the events that carrying out a step enters, and the moment after it."""
    at = now.at
    if todo.kind == "measure":
        read = [_draw(now, name, todo.sample, random) for name in todo.analytes]
        return list(read), at + timedelta(minutes=2)
    if todo.kind == "dose":
        return [Dose(at, todo.product or "", todo.amount_g or 0.0)], at + timedelta(seconds=1)
    if todo.kind == "replace_water":
        then = at + timedelta(minutes=60)
        return [ReplacedWater(then, todo.fraction or 0.0)], then
    then = at + timedelta(minutes=MINUTES.get(todo.action or "", 5))
    return [Done(then, todo.id)], then


def _draw(now: Situation, name: str, sample: str, random: Random) -> Reading:
    """Return a reading as the belief and a strip's own error may bring it."""
    analyte = ANALYTES[name]
    value, sd = now.water.value(name, sample), now.water.sd(name, sample)
    own = analyte.photo.half_band(value) / NORMAL_95
    shown = value + random.gauss(0.0, 1.0) * math.hypot(sd, own)
    shown = round(min(max(shown, 0.0), 0.9 * analyte.most), 2)
    half = analyte.photo.half_band(shown)
    return Reading(now.at, name, shown, max(shown - half, 0.0), shown + half, "photo", sample)


def _fill(now: Situation) -> tuple[str, ...]:
    """Say what the water from the hose will need, once it was tested."""
    said = []
    gate = next((one for _, one in now.gates() if one.analyte == "calcium_hardness"), None)
    hard = now.history.standing("calcium_hardness", "fill").band
    if gate is not None and gate.high is not None and hard is not None:
        aim = getattr(gate, "aim_down", None)
        if hard.mode > gate.high.value and aim is not None:
            share = softened_share(hard.mode, SOFT_WATER_MG_L, aim.value)
            said.append(
                f"Hardness of the hose's water is about {hard.mode:.0f} mg/L: with "
                f"{100 * share:.0f} % of it softened the tub starts at {aim.value:g} mg/L."
            )
    for _, metal in now.gates():
        if metal.sample == "fill" and now.state(metal).state == "shut":
            label = ANALYTES[metal.analyte].label
            said.append(f"Too much {label} in the hose's water: bring a metal-removing prefilter.")
    return tuple(said)


def as_dict(found: Plan) -> dict[str, Any]:
    """Return the plan as plain values, ready to become JSON."""

    def spread(one: Spread) -> dict[str, float]:
        return {
            "middle": round(one.middle, 2),
            "low": round(one.low, 2),
            "high": round(one.high, 2),
        }

    return {
        "steps": [
            {"after_h": round(hour, 2), "kind": kind, "what": what}
            for hour, kind, what in found.steps
        ],
        "products_g": {name: spread(one) for name, one in found.products.items()},
        "measurements": spread(found.measurements),
        "visits": spread(found.visits),
        "days": spread(found.days),
        "done_within_days": {str(days): share for days, share in found.done_within.items()},
        "fill": list(found.fill),
    }
