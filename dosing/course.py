"""What the steps done tell of the water: when it was filled, aerated, and what was switched."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

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
"""Undecided looks at an alkalinity or a pH after which air settles it."""
MOVES_ALKALINITY = ("acid", "base_carbonate", "bicarbonate")
"""Kinds of product after which an alkalinity read before no longer holds."""
SAME_DIP = timedelta(minutes=10)
"""Readings closer than this were made in one visit to the water."""
AN_HOUR = timedelta(hours=1)
"""How long air runs for a pH on its edge."""
LEAST_AIR = timedelta(minutes=50)
"""No answer asks for less air; what comes sooner came instead of it."""
LATEST = timedelta(hours=3)
"""How much later than told a technician comes back from air; a longer pause was another wait."""
ON_EDGE = 1.0
"""A pH nearer to a limit than so many of its strip's half bands may be undecided."""


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

    Air follows acid given for a high alkalinity, an alkalinity or a pH on its edge after some
    looks, and a pH read low. A dip's readings are taken together; what comes soon after them shows
    that no air ran, and so does a pause far longer than any air.
    """
    gates = {gate.analyte: gate for _, gate in procedure.gates() if isinstance(gate, Gate)}
    balance = _Balance(gates.get("ph"), gates.get("total_alkalinity"), products)
    spans: list[tuple[datetime, datetime]] = []
    for place, event in enumerate(events):
        rest = balance.air_after(event)
        after = _next_of_water(events, place)
        if after is not None and isinstance(event, Reading):
            pause = after.at - event.at
            if pause < SAME_DIP and isinstance(after, Reading):
                continue  # the dip goes on: what it says together counts
            if pause < LEAST_AIR or pause > rest + LATEST:
                continue
        if rest:
            ends = _next_of_ph(events, place)
            spans.append((event.at, min(event.at + rest, ends or event.at + rest)))
    return spans


class _Balance:
    """Follows pH and alkalinity through the log, to tell when an answer asked for air."""

    def __init__(self, ph: Gate | None, alkalinity: Gate | None, products: Products) -> None:
        self.ph, self.products = ph, products
        self.high = alkalinity.high.value if alkalinity and alkalinity.high else None
        self.rest = _air_of(alkalinity)
        self.alkalinities: list[Reading] = []
        self.phs: list[Reading] = []

    def air_after(self, event: Event) -> timedelta:
        """Return how long jets and air ran after an event, as far as it and those before tell."""
        if isinstance(event, Dose):
            return self._after_dose(event)
        if not isinstance(event, Reading) or event.sample != "tub":
            return timedelta(0)
        if event.analyte == "total_alkalinity":
            self.alkalinities.append(event)
        elif event.analyte == "ph":
            self.phs.append(event)
        return max(self._for_alkalinity(event), self._for_ph(event))

    def _after_dose(self, dose: Dose) -> timedelta:
        product = self.products.get(dose.product)
        kind = product.kind if product is not None else ""
        acid, level = kind == "acid", _middle(self.alkalinities)
        self.phs = []
        if kind in MOVES_ALKALINITY:
            self.alkalinities = []
        over = self.high is not None and level is not None and level > self.high
        return self.rest if acid and over else timedelta(0)

    def _for_alkalinity(self, event: Reading) -> timedelta:
        newest = self.alkalinities[-1] if self.alkalinities else None
        if self.high is None or newest is None or event.at - newest.at > SAME_DIP:
            return timedelta(0)
        level, looks = _middle(self.alkalinities) or 0.0, len(self.alkalinities)
        edge = looks >= LOOKS and level > 0.75 * self.high
        return self.rest if edge or level > self.high else timedelta(0)

    def _for_ph(self, event: Reading) -> timedelta:
        newest = self.phs[-1] if self.phs else None
        if self.ph is None or newest is None or event.at - newest.at > SAME_DIP:
            return timedelta(0)
        spread = ANALYTES["ph"].photo.fixed
        low, high = self.ph.low, self.ph.high
        if low is not None and newest.value + 0.5 * spread < low.value:
            return _air_of(self.ph)
        edges = [abs(newest.value - limit.value) for limit in (low, high) if limit is not None]
        on_edge = bool(edges) and min(edges) < ON_EDGE * spread
        return AN_HOUR if on_edge and len(self.phs) >= LOOKS else timedelta(0)


def _air_of(gate: Gate | None) -> timedelta:
    return timedelta(hours=hours(gate.air)) if gate and gate.air else timedelta(0)


def _middle(readings: list[Reading]) -> float | None:
    """Return the middle of the readings since the last dose, of the last few at most."""
    values = [reading.value for reading in readings[-5:]]
    return sum(values) / len(values) if values else None


def _next_of_water(events: tuple[Event, ...], place: int) -> Reading | Dose | None:
    """Return the next reading of the tub or dose."""
    for later in (events[next_] for next_ in range(place + 1, len(events))):
        if isinstance(later, Dose) or (isinstance(later, Reading) and later.sample == "tub"):
            return later
    return None


def _next_of_ph(events: tuple[Event, ...], place: int) -> datetime | None:
    """Return when the pH was next read or the water next dosed."""
    for later in (events[next_] for next_ in range(place + 1, len(events))):
        if later.at > events[place].at and (
            isinstance(later, Dose) or (isinstance(later, Reading) and later.analyte == "ph")
        ):
            return later.at
    return None
