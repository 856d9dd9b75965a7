"""What the steps done tell of the water: when it was filled, aerated, and what was switched."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from itertools import islice

from dosing.analytes import ANALYTES
from dosing.log import Done, Dose, Event, Log, Reading
from dosing.procedure import Confirm, Gate, Procedure, load_builtin
from dosing.procedure_file import hours
from dosing.products import Products
from dosing.water import Course, Filled

_NUMBERED = re.compile(r"^(.*?)(?:-(\d+))?$")
_PERCENT = re.compile(r"^(.*?)_at_(\d+)$")


UNTOLD_OUTPUT = 0.4
"""Output of a generator that others have set and no log tells of, 0 to 1 (common practice)."""

LOOKS = 3
"""Undecided looks at an alkalinity after which air and the acid that follows settle it."""


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
    for one in (procedure, load_builtin("salt_startup")):
        for _, step in one.steps():
            if step.id == base and isinstance(step, Confirm) and step.value:
                return step.value.value if step.action == "generator_output" else None
    return None


def course_of(log: Log, procedure: Procedure, products: Products) -> Course:
    """Return what the belief must know beyond readings and doses."""
    actions = {
        step.id: step.action for _, step in procedure.steps() if isinstance(step, Confirm)
    } | {"prefilter": "prefilter"}
    done = [(event.at, split_id(event.step)[0]) for event in log.events if isinstance(event, Done)]
    set_to = [(at, output_of(base, procedure)) for at, base in done]
    outputs = [(at, output) for at, output in set_to if output is not None]
    if not outputs and not procedure.ends and log.tub.sanitizer == "salt_chlorine" and log.events:
        outputs = [(log.events[0].at, UNTOLD_OUTPUT)]
    return Course(
        filled=tuple(Filled(at) for at, base in done if actions.get(base) == "fill"),
        outputs=tuple(outputs),
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
    ph, pair = gates.get("ph"), _Alkalinity(gates.get("total_alkalinity"), products)
    spans: list[tuple[datetime, datetime]] = []
    for place, event in enumerate(events):
        rest = pair.air_after(event)
        if ph and ph.air and ph.low and _surely_below(event, ph.low.value):
            rest = timedelta(hours=hours(ph.air))
        if rest:
            ends = _next_of_ph(events, place)
            spans.append((event.at, min(event.at + rest, ends or event.at + rest)))
    return spans


class _Alkalinity:
    """Follows the alkalinity's readings and doses, to tell when an answer asked for air."""

    def __init__(self, gate: Gate | None, products: Products) -> None:
        self.high = gate.high.value if gate and gate.high else None
        self.rest = timedelta(hours=hours(gate.air)) if gate and gate.air else timedelta(0)
        self.products, self.last, self.looks = products, 0.0, 0

    def air_after(self, event: Event) -> timedelta:
        """Return how long jets and air ran after an event for the alkalinity's sake."""
        none = timedelta(0)
        if self.high is None:
            return none
        if isinstance(event, Dose):
            self.looks = 0
            acid = event.product in self.products and self.products[event.product].kind == "acid"
            return self.rest if acid and self.last > self.high else none
        if not isinstance(event, Reading) or event.analyte != "total_alkalinity":
            return none
        if event.sample != "tub":
            return none
        self.last, self.looks = event.value, self.looks + 1
        return self.rest if self.looks >= LOOKS and event.value > 0.75 * self.high else none


def _surely_below(event: Event, limit: float) -> bool:
    if not isinstance(event, Reading) or event.analyte != "ph" or event.sample != "tub":
        return False
    return event.value + 0.5 * ANALYTES["ph"].photo.fixed < limit


def _next_of_ph(events: tuple[Event, ...], place: int) -> datetime | None:
    """Return when the pH was next read or the water next dosed."""
    for later in islice(events, place + 1, None):
        if later.at > events[place].at and (
            isinstance(later, Dose) or (isinstance(later, Reading) and later.analyte == "ph")
        ):
            return later.at
    return None
