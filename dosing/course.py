"""What the steps done tell of the water: when it was filled, aerated, and what was switched."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from dosing.analytes import ANALYTES
from dosing.log import Done, Dose, Event, Log, Reading
from dosing.procedure import Confirm, Gate, Procedure
from dosing.procedure_file import hours
from dosing.products import Products
from dosing.water import Course, Filled

_NUMBERED = re.compile(r"^(.*?)(?:-(\d+))?$")
_PERCENT = re.compile(r"^(.*?)_at_(\d+)$")


def split_id(step: str) -> tuple[str, int]:
    """Return name and number of a step id."""
    found = _NUMBERED.match(step)
    if found is None:
        return step, 1
    return found[1], int(found[2] or 1)


def numbered(base: str, number: int) -> str:
    """Return the id of the n-th time a step is done."""
    return base if number <= 1 else f"{base}-{number}"


def with_output(base: str, output: float) -> str:
    """Return a step id that remembers the output it set, 0 to 1."""
    return f"{base}_at_{100.0 * output:.0f}"


def plain_base(base: str) -> str:
    """Return a step's name without the output it remembers."""
    found = _PERCENT.match(base)
    return found[1] if found else base


def output_of(base: str, procedure: Procedure) -> float | None:
    """Return the generator's output that a step set, 0 to 1; None for other steps."""
    found = _PERCENT.match(base)
    if found:
        return min(int(found[2]) / 100.0, 1.0)
    for _, step in procedure.steps():
        if step.id == base and isinstance(step, Confirm) and step.action == "generator_output":
            return step.value.value if step.value else None
    return None


def course_of(log: Log, procedure: Procedure, products: Products) -> Course:
    """Return what the belief must know beyond readings and doses."""
    actions = {
        step.id: step.action for _, step in procedure.steps() if isinstance(step, Confirm)
    } | {"prefilter": "prefilter"}
    done = [(event.at, split_id(event.step)[0]) for event in log.events if isinstance(event, Done)]
    outputs = ((at, output_of(base, procedure)) for at, base in done)
    return Course(
        filled=tuple(Filled(at) for at, base in done if actions.get(base) == "fill"),
        outputs=tuple((at, output) for at, output in outputs if output is not None),
        aerated=tuple(_aerated(log.events, procedure, products)),
        prefiltered=tuple(at for at, base in done if actions.get(base) == "prefilter"),
    )


def _aerated(
    events: tuple[Event, ...], procedure: Procedure, products: Products
) -> list[tuple[datetime, datetime]]:
    """Return when the jets ran with air because an answer asked for it.

    Air follows acid given for a high alkalinity, and a pH read low; until the next reading or dose.
    """
    gates = {gate.analyte: gate for _, gate in procedure.gates() if isinstance(gate, Gate)}
    alkalinity, ph = gates.get("total_alkalinity"), gates.get("ph")
    spans: list[tuple[datetime, datetime]] = []
    last_alkalinity = 0.0
    for event in events:
        rest = timedelta(0)
        if isinstance(event, Reading) and event.sample == "tub":
            if event.analyte == "total_alkalinity":
                last_alkalinity = event.value
            if ph and ph.air and ph.low and _surely_below(event, ph.low.value):
                rest = timedelta(hours=hours(ph.air))
        if isinstance(event, Dose) and event.product in products and alkalinity:
            acid = products[event.product].kind == "acid"
            high = alkalinity.high is not None and last_alkalinity > alkalinity.high.value
            if acid and high and alkalinity.air:
                rest = timedelta(hours=hours(alkalinity.air))
        if rest:
            ends = _next_of_ph(events, event)
            spans.append((event.at, min(event.at + rest, ends or event.at + rest)))
    return spans


def _surely_below(reading: Reading, limit: float) -> bool:
    return reading.analyte == "ph" and reading.value + 0.5 * ANALYTES["ph"].photo.fixed < limit


def _next_of_ph(events: tuple[Event, ...], event: Event) -> datetime | None:
    """Return when the pH was next read or the water next dosed."""
    for later in events:
        if later.at > event.at and (
            isinstance(later, Dose) or (isinstance(later, Reading) and later.analyte == "ph")
        ):
            return later.at
    return None
