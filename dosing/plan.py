"""Looking ahead: steps likely to come, products to bring, visits and days until done.

Each run is one tub, drawn once from the belief (volume, strengths, state, demand, yield and all
they have in common) and moved by the engine's own laws. Measurements show that tub through the
usual strip's error; the engine answers to them as it would to a log.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from random import Random
from typing import Any, NamedTuple

from dosing import hose
from dosing.log import Done, Dose, Event, Log, ReplacedWater
from dosing.next_step import step_now
from dosing.procedure import Procedure
from dosing.products import Products
from dosing.situation import Situation
from dosing.steps import Todo
from dosing.truth import Truth

MINUTES = {"fill": 75, "heat": 8 * 60, "circulate": 12, "sensor_in": 15, "drain": 60}
"""How long a person's steps take, others five minutes [min] (common practice)."""

VISIT_GAP = timedelta(hours=4)
"""A wait this long, or heating this long, ends a visit."""

MOST_STEPS = 120
MOST_DAYS = 21.0
"""A run that takes longer counts as not finished."""
RUNS = 9
"""Tubs walked through when nobody says otherwise: their ends hold eight tubs in ten, and a plan
takes seconds. From 19 on the limits hold nine in ten."""
BAND = 0.90
WITHIN_DAYS = (2, 3, 4, 5, 7, 10, 14, 21)


class Ahead(NamedTuple):
    """One step likely to come."""

    after_h: float
    """Hours from now."""
    kind: str
    what: str
    visit: int
    """The first is 1."""


@dataclass
class Run:
    """One way the tub may go."""

    steps: list[Ahead] = field(default_factory=list)
    grams: dict[str, float] = field(default_factory=dict)
    measurements: int = 0
    visits: int = 1
    days: float = 0.0
    stopped: str = ""
    """Why it was not finished; empty when it was."""


@dataclass(frozen=True)
class Spread:
    """A middle, with limits within which another such tub lies as often as `Plan.held` says."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True)
class Plan:
    """What a technician packs the van for."""

    at: datetime
    """The moment looked ahead from."""
    runs: int
    """How many tubs were walked through; all probabilities are shares of them."""
    held: float
    """Share of tubs that the limits hold: 0.9, or less where there are too few runs for it."""
    ends: bool
    """Whether the procedure ends at all; upkeep does not."""
    stopped: dict[str, int]
    """Runs that were not finished, by what stopped them."""
    steps: tuple[Ahead, ...]
    """Of the run nearest the middle."""
    products: dict[str, Spread]
    """Grams by product id, of the runs that were finished where these are most."""
    names: dict[str, str]
    """What to call the products."""
    measurements: Spread
    visits: Spread
    days: Spread | None
    """Of the runs that were finished; None when none was."""
    done_within: dict[int, float]
    """Probability that all is done within so many days."""
    fill: tuple[str, ...]
    """What the water from the hose will need."""


def plan(
    log: Log,
    procedure: Procedure,
    products: Products,
    at: datetime,
    random: Random,
    runs: int = RUNS,
) -> Plan:
    """Return what is likely to come.

    Parameters
    ----------
    log, procedure, products, at
        As for `dosing.next_step.next_step`.
    random
        The source of chance; the same seed gives the same plan.
    runs
        How many tubs are walked through; a whole start-up costs about half a second each.
    """
    start = Situation(log, procedure, products, at)
    walked = sorted((_walk(start, random) for _ in range(runs)), key=_length)
    done = [run.days for run in walked if not run.stopped]
    whole = [run for run in walked if not run.stopped] if 2 * len(done) > runs else walked
    used = dict.fromkeys(name for run in whole for name in run.grams)
    return Plan(
        at,
        runs,
        held(runs),
        procedure.ends,
        dict(Counter(run.stopped for run in walked if run.stopped)),
        tuple(walked[(runs - 1) // 2].steps),
        {name: _spread([run.grams.get(name, 0.0) for run in whole]) for name in used},
        {name: products[name].label for name in used},
        _spread([run.measurements for run in whole]),
        _spread([run.visits for run in whole]),
        _spread(done) if done else None,
        {days: sum(one <= days for one in done) / runs for days in WITHIN_DAYS},
        hose.needs(start),
    )


def _length(run: Run) -> tuple[bool, float]:
    return bool(run.stopped), run.days


def _cut(runs: int) -> int:
    """Return how many runs lie outside the limits at each end."""
    return max(math.floor(0.5 * (1.0 - BAND) * (runs + 1) + 1e-9) - 1, 0)


def held(runs: int) -> float:
    """Return the share of further tubs that the limits from so many runs hold, on average.

    Of n + 1 tubs in random order the next is equally likely to lie at any place among the others.
    """
    return max(runs - 1 - 2 * _cut(runs), 0) / (runs + 1)


def _spread(values: Sequence[float]) -> Spread:
    ranked, cut = sorted(values), _cut(len(values))
    return Spread(ranked[(len(ranked) - 1) // 2], ranked[cut], ranked[-1 - cut])


def _walk(start: Situation, random: Random) -> Run:
    """Do what the engine answers for one drawn tub until it is done, asks, or takes too long."""
    run, log, now = Run(stopped="too many steps"), start.log, start
    truth = Truth(start.history, random)
    while len(run.steps) < MOST_STEPS:
        run.days = (now.at - start.at).total_seconds() / 86400.0
        if run.days > MOST_DAYS:
            run.days, run.stopped = MOST_DAYS, "too many days"
            break
        todo = step_now(now)
        run.steps.append(Ahead(24.0 * run.days, todo.kind, _what(todo), run.visits))
        if todo.kind in ("none", "ask"):
            run.stopped = "" if todo.kind == "none" else f"a person must decide: {todo.id}"
            break
        events, then = _done(todo, now.at, truth)
        run.visits += then - now.at >= VISIT_GAP
        run.measurements += todo.kind == "measure"
        if todo.product is not None and todo.amount_g is not None:
            run.grams[todo.product] = run.grams.get(todo.product, 0.0) + todo.amount_g
        if events:
            log = replace(log, events=(*log.events, *events))
        now = now.grown(log, then)
        truth.follow(now.history, events, then)
    return run


def _what(todo: Todo) -> str:
    if todo.kind == "dose":
        return f"{todo.amount_g:g} g of {todo.product}"
    if todo.kind == "measure":
        return ", ".join(todo.analytes)
    return todo.action or todo.id


def _done(todo: Todo, at: datetime, truth: Truth) -> tuple[list[Event], datetime]:
    """Return the events that carrying out a step enters, and the moment after it."""
    if todo.kind == "wait":
        return [], todo.not_before or at
    if todo.kind == "measure":
        read = [truth.read(at, name, todo.sample) for name in todo.analytes]
        return list(read), at + timedelta(minutes=2)
    if todo.kind == "dose":
        return [Dose(at, todo.product or "", todo.amount_g or 0.0)], at + timedelta(seconds=1)
    if todo.kind == "replace_water":
        then = at + timedelta(minutes=60)
        return [ReplacedWater(then, todo.fraction or 0.0)], then
    then = at + timedelta(minutes=MINUTES.get(todo.action or "", 5))
    return [Done(then, todo.id)], then


def as_dict(found: Plan) -> dict[str, Any]:
    """Return the plan as plain values, ready to become JSON."""
    return {
        "at": found.at.isoformat(),
        "runs": found.runs,
        "band_holds": round(found.held, 2),
        "ends": found.ends,
        "stopped": found.stopped,
        "steps": [one._asdict() | {"after_h": round(one.after_h, 2)} for one in found.steps],
        "products_g": {
            name: {"name": found.names[name]} | _rounded(one)
            for name, one in found.products.items()
        },
        "measurements": _rounded(found.measurements),
        "visits": _rounded(found.visits),
        "days": None if found.days is None else _rounded(found.days),
        "done_within_days": {
            str(days): round(share, 3) for days, share in found.done_within.items()
        },
        "fill": list(found.fill),
    }


def _rounded(one: Spread) -> dict[str, Any]:
    return {"middle": round(one.middle, 2), "low": round(one.low, 2), "high": round(one.high, 2)}
