"""One pass over a log: time, readings, doses and steps done move the state.

What is walked through, and what the steps done add to it, stands here; `dosing.water` asks.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from dosing import happenings
from dosing.log import Done, Dose, Event, Log, Reading, ReplacedWater
from dosing.motion import advance
from dosing.products import Product
from dosing.scale import quantile, surprise
from dosing.state import State, new_state


@dataclass(frozen=True, slots=True)
class Filled:
    """The moment a tub was filled from the hose."""

    at: datetime
    softened: float = 0.0
    """Share of the water that went through a softener."""


@dataclass(frozen=True, slots=True)
class Course:
    """What the steps done tell beyond the events themselves."""

    filled: tuple[Filled, ...] = ()
    """None: the tub is taken as filled when the last reading of the hose before any of the tub was
    made."""
    outputs: tuple[tuple[datetime, float], ...] = ()
    """When the generator was set to which output, 0 to 1."""
    aerated: tuple[tuple[datetime, datetime], ...] = ()
    """From when to when the jets ran with air."""
    prefiltered: tuple[datetime, ...] = ()
    """When a metal filter was put in the hose."""


WHOLE: Final = 1000
MOST: Final = 2000
"""How many of the newest events are all walked through, and how many at most."""
SHORTEST_H: Final = 0.005
"""Times closer than this count as one [h]."""
NO_COURSE: Final = Course()


def worth_keeping(events: Sequence[Event]) -> Sequence[Event]:
    """Return the events worth walking through: all of a usual log, a bounded number of a long one.

    The newest `WHOLE` stay; of what is older one reading a day of each analyte and method, doses
    and water replaced; at most `MOST` in all. What is left out knows nothing the rest does not.
    """
    if len(events) <= WHOLE:
        return events
    old, new = events[:-WHOLE], events[-WHOLE:]
    kept: list[Event] = []
    seen: set[tuple[str, str, str, int]] = set()
    for event in reversed(old):
        if isinstance(event, Reading):
            day = (event.analyte, event.sample, event.source, event.at.toordinal())
            if day in seen:
                continue
            seen.add(day)
        kept.append(event)
        if len(kept) == MOST - WHOLE:
            break
    return [*reversed(kept), *new]


class Walk:
    """One pass over a log, event by event; `state` is the belief so far."""

    def __init__(
        self, log: Log, products: Mapping[str, Product], course: Course, until: datetime
    ) -> None:
        self.state = new_state(log.tub)
        self.products = products
        self.now = self.reached = log.events[0].at if log.events else until
        self.jets = _Jets(course.aerated)
        self.turns = _turns(log, course, until)
        self.next_turn = 0
        # A salt tub whose start is not in the log has been running at some output.
        if _runs_already(log, course):
            self.state.forget_output()

    def begin(self, now: datetime, *, anew: bool) -> None:
        """Start at the first event kept; `anew` when older ones were left out.

        What was filled before is then long changed: only the generator's output still counts.
        """
        self.now = self.reached = now
        while anew and self.next_turn < len(self.turns) and self.turns[self.next_turn][0] < now:
            self.turns[self.next_turn][1](self.state)
            self.next_turn += 1
        if anew:
            old, self.state = self.state, new_state(self.state.tub)
            if old.output_known:
                self.state.set_output(old.output)
            else:
                self.state.forget_output()

    def take(self, event: Event) -> None:
        """Let time pass up to the event, then let it happen."""
        if isinstance(event, Done):
            return
        self.wait_until(event.at)
        if isinstance(event, Reading):
            happenings.read(self.state, event)
        elif isinstance(event, Dose):
            happenings.dose(self.state, self.products[event.product], event.amount_g)
        elif isinstance(event, ReplacedWater):
            happenings.replace_water(self.state, event.fraction)

    def foretold(self, reading: Reading) -> tuple[float, float]:
        """Return what stood to be read, and how many joint deviations a reading lies off it."""
        self.wait_until(reading.at)
        mean, variance = self.state.shown(reading.analyte, reading.sample)
        middle = quantile(reading.analyte, mean, variance, 0.5)
        return middle, surprise(reading, mean, variance)

    def wait_until(self, then: datetime) -> None:
        """Let time pass, stopping at fillings, outputs set and filters put in."""
        while self.next_turn < len(self.turns) and self.turns[self.next_turn][0] <= then:
            when, act = self.turns[self.next_turn]
            self._stand(when)
            act(self.state)
            self.next_turn += 1
        self._stand(then)
        self.reached = max(self.reached, then)

    def copy(self) -> Walk:
        """Return one that can go on without moving this."""
        twin = copy(self)
        twin.state = self.state.copy()
        return twin

    def going_on(self, log: Log, course: Course, until: datetime) -> Walk:
        """Return a walk that stands where this one does, for a log and course that have grown."""
        twin = self.copy()
        twin.jets, twin.turns = _Jets(course.aerated), _turns(log, course, until)
        twin.next_turn = sum(when <= self.reached for when, _ in twin.turns)
        return twin

    def agrees(self, other: Walk) -> bool:
        """Say whether the other's course has been the same up to where this one stands."""
        ours, theirs = self.turns[: self.next_turn], other.turns[: other.next_turn]
        ran = self.jets.spans_until(self.now) == other.jets.spans_until(self.now)
        return ran and [when for when, _ in ours] == [when for when, _ in theirs]

    def _stand(self, then: datetime) -> None:
        if then <= self.now:
            return
        hours = (then - self.now).total_seconds() / 3600.0
        if hours < SHORTEST_H:  # waits until it has added up
            return
        advance(self.state, hours, self.jets.hours(self.now, then))
        self.now = then


def _runs_already(log: Log, course: Course) -> bool:
    salt = log.tub.sanitizer == "salt_chlorine" and not log.procedure.endswith("_startup")
    return salt and not _filled(log, course)


Turn = tuple[datetime, Callable[[State], None]]


def _turns(log: Log, course: Course, until: datetime) -> list[Turn]:
    """Everything of the course that changes the state, in order of time."""
    turns: list[Turn] = [(when, happenings.prefilter) for when in course.prefiltered]
    turns += [(filled.at, _filling(filled.softened)) for filled in _filled(log, course)]
    turns += [(when, _setting(output)) for when, output in course.outputs]
    return sorted((turn for turn in turns if turn[0] <= until), key=lambda turn: turn[0])


def _filling(softened: float) -> Callable[[State], None]:
    return lambda state: happenings.fill(state, softened)


def _setting(output: float) -> Callable[[State], None]:
    return lambda state: state.set_output(output)


def _filled(log: Log, course: Course) -> tuple[Filled, ...]:
    """Return the fillings; without any told, one after the hose's readings that open a log."""
    if course.filled:
        return course.filled
    last: datetime | None = None
    for event in log.events:
        if isinstance(event, Done):
            continue
        if not (isinstance(event, Reading) and event.sample == "fill"):
            break
        last = event.at
    return () if last is None else (Filled(last + timedelta(microseconds=1)),)


class _Jets:
    """How many hours the jets ran between two moments."""

    def __init__(self, spans: Iterable[tuple[datetime, datetime]]) -> None:
        self.starts: list[datetime] = []
        self.ends: list[datetime] = []
        self.before: list[float] = []
        total = 0.0
        for start, end in sorted(spans):
            if self.ends and start <= self.ends[-1]:
                gained = max((end - self.ends[-1]).total_seconds() / 3600.0, 0.0)
                self.ends[-1] = max(self.ends[-1], end)
            else:
                self.starts.append(start)
                self.ends.append(end)
                self.before.append(total)
                gained = max((end - start).total_seconds() / 3600.0, 0.0)
            total += gained

    def hours(self, start: datetime, end: datetime) -> float:
        """Return the hours with jets from start to end."""
        return self._until(end) - self._until(start)

    def spans_until(self, when: datetime) -> list[tuple[datetime, datetime]]:
        """Return from when to when they ran, up to a moment."""
        spans = zip(self.starts, self.ends, strict=True)
        return [(start, min(end, when)) for start, end in spans if start < when]

    def _until(self, when: datetime) -> float:
        place = bisect_right(self.starts, when) - 1
        if place < 0:
            return 0.0
        ran = (min(when, self.ends[place]) - self.starts[place]).total_seconds() / 3600.0
        return self.before[place] + ran
