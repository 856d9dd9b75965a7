"""What we believe of a tub's water, with bands: the log's readings, doses and time in one estimate.

`believe` walks the log once. The `Water` it returns is never changed; it answers what a value is,
how sure that is, and what the water would be after a dose, a change of water, or some hours.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from dosing import happenings
from dosing.chemistry import calcite_index
from dosing.log import Done, Dose, Event, Log, Reading, ReplacedWater
from dosing.motion import advance
from dosing.products import Product
from dosing.sample import WaterSample
from dosing.scale import inside, quantile
from dosing.state import VOLUME_SD, State, new_state, sample_at

JETS_AFTER_DOSE: Final = timedelta(minutes=15)
"""How long the jets run with a dose unless the course says more (common practice)."""


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


class Water:
    """A belief about one tub's water at one moment; questions only, nothing changes it."""

    def __init__(self, state: State, at: datetime) -> None:
        self._state = state
        self.at = at
        """The moment it speaks of."""

    @property
    def state(self) -> State:
        """Return the belief behind it; to look at, not to move."""
        return self._state

    # What a value is
    def value(self, analyte: str, sample: str = "tub") -> float:
        """Return the middle of what is believed of an analyte, in its unit."""
        return quantile(analyte, *self._state.shown(analyte, sample), 0.5)

    def sd(self, analyte: str, sample: str = "tub") -> float:
        """Return the standard deviation of an analyte, in its unit."""
        return math.sqrt(self._state.shown(analyte, sample)[1])

    def band(
        self, analyte: str, confidence: float = 0.95, sample: str = "tub"
    ) -> tuple[float, float]:
        """Return the limits that hold the truth with this confidence, in the analyte's unit."""
        mean, variance = self._state.shown(analyte, sample)
        tail = 0.5 * (1.0 - confidence)
        return (
            quantile(analyte, mean, variance, tail),
            quantile(analyte, mean, variance, 1.0 - tail),
        )

    def probability(
        self, analyte: str, low: float | None, high: float | None, sample: str = "tub"
    ) -> float:
        """Return the probability that an analyte lies from low to high; None is an open side."""
        return inside(analyte, *self._state.shown(analyte, sample), low, high)

    # What would be
    def after_dose(self, product: Product, grams: float) -> Water:
        """Return the water after a dose has mixed; slow products have only begun."""
        state = self._state.copy()
        happenings.dose(state, product, grams)
        return Water(state, self.at)

    def after_replacement(self, fraction: float) -> Water:
        """Return the water after a share of it was replaced from the hose."""
        state = self._state.copy()
        happenings.replace_water(state, fraction)
        return Water(state, self.at)

    def later(self, hours: float, *, aerated: bool = False, output: float | None = None) -> Water:
        """Return the water some hours later.

        Parameters
        ----------
        hours
            How long it stands.
        aerated
            Whether the jets run with air all the while.
        output
            Generator output from now on, 0 to 1; as it is when None.
        """
        state = self._state.copy()
        if output is not None:
            state.output = output
        advance(state, hours, hours if aerated else 0.0)
        return Water(state, self.at + timedelta(hours=hours))

    # The tub
    @property
    def volume_l(self) -> float:
        """Return the middle of what is believed of the volume [L]."""
        return self._state.tub.volume_l * math.exp(self._state.belief.of("volume"))

    @property
    def volume_sd_l(self) -> float:
        """Return the standard deviation of the volume [L]."""
        return self.volume_l * self._state.belief.sd("volume")

    def volume_band_l(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the limits that hold the volume with this confidence [L]."""
        return self._ln_band(self._state.tub.volume_l, "volume", confidence)

    def strength(self, product_id: str) -> float:
        """Return true strength over the label's, as far as doses have shown."""
        name = f"strength of {product_id}"
        belief = self._state.belief
        return math.exp(belief.of(name)) if name in belief.index else 1.0

    @property
    def output(self) -> float:
        """Return the generator's output now, 0 to 1."""
        return self._state.output

    @property
    def sample(self) -> WaterSample:
        """Return the water believed in as a sample for `dosing.chemistry`."""
        return sample_at(self._state, self._state.tub.temperature_c)

    @property
    def calcite_index(self) -> float:
        """Return the saturation index of calcite of the water believed in."""
        return calcite_index(self.sample)

    # How the water behaves
    def decay_per_day(self) -> tuple[float, float, float]:
        """Return the share of chlorine that fades in a day as a rate: middle, low, high (95 %)."""
        return self._rate("decay")

    def new_demand_mg_l_day(self) -> tuple[float, float, float]:
        """Return the chlorine that new dirt eats in a day [mg/L]: middle, low, high (95 %)."""
        return self._rate("organics")

    def yield_mg_l_day(self) -> tuple[float, float, float]:
        """Return what the generator makes in a day at full output [mg/L]: middle, low, high."""
        return self._rate("yield")

    def co2_loss_per_h(self, *, aerated: bool = False) -> tuple[float, float, float]:
        """Return the share of excess CO2 lost in an hour as a rate: middle, low, high (95 %)."""
        return self._rate("jets" if aerated else "still")

    def _rate(self, name: str) -> tuple[float, float, float]:
        return (math.exp(self._state.belief.of(name)), *self._ln_band(1.0, name, 0.95))

    def _ln_band(self, unit: float, name: str, confidence: float) -> tuple[float, float]:
        mean, variance = self._state.belief.moments({name: 1.0})
        half = happenings.two_sided(confidence) * math.sqrt(max(variance, 0.0))
        return unit * math.exp(mean - half), unit * math.exp(mean + half)

    @property
    def facts(self) -> tuple[str, ...]:
        """Return what the log has taught about this tub, as sentences."""
        return tuple(_facts(self, self._state))


def _facts(water: Water, state: State) -> Iterable[str]:
    """Tell only what the log has taught: a belief clearly narrower than it began."""
    stated = state.tub.volume_l
    low, high = water.volume_band_l()
    if state.belief.sd("volume") < 0.8 * VOLUME_SD and not 0.97 < water.volume_l / stated < 1.03:
        yield (
            f"This tub seems to hold {water.volume_l:,.0f} L, not {stated:,.0f} "
            f"(95 %: {low:,.0f} to {high:,.0f})."
        )
    for name, place in state.belief.index.items():
        if name.startswith("strength of ") and abs(state.belief.mean[place]) > 0.03:
            way = "stronger" if state.belief.mean[place] > 0.0 else "weaker"
            share = abs(math.expm1(state.belief.mean[place]))
            yield f"{name[12:]} seems {share:.0%} {way} than its label."
    yield from _rates_told(water, state)


def _rates_told(water: Water, state: State) -> Iterable[str]:
    if state.belief.sd("decay") < 0.4:
        middle, low, high = water.decay_per_day()
        yield (
            f"Chlorine fades by {-math.expm1(-middle):.0%} a day by itself "
            f"(95 %: {-math.expm1(-low):.0%} to {-math.expm1(-high):.0%})."
        )
    if state.belief.sd("yield") < 0.5:
        middle, low, high = water.yield_mg_l_day()
        yield (
            f"The generator makes {middle:.1f} mg/L a day at full output "
            f"(95 %: {low:.1f} to {high:.1f})."
        )
    if state.belief.sd("still") < 0.6:
        middle, low, high = water.co2_loss_per_h()
        yield (
            f"Standing water loses {24 * middle:.0%} of its excess carbon dioxide a day "
            f"(95 %: {24 * low:.0%} to {24 * high:.0%}), which lifts the pH."
        )


def believe(
    log: Log,
    products: Mapping[str, Product],
    at: datetime,
    course: Course = NO_COURSE,
    counts: Callable[[Reading], bool] | None = None,
) -> Water:
    """Return what is believed of the water at a moment, from all the log says up to it.

    Parameters
    ----------
    log
        Events in order of time.
    products
        Every product a dose of the log names.
    at
        The moment asked about; later events are left out.
    course
        What the steps done tell: when the tub was filled, outputs set, jets run.
    counts
        Which readings count; all when None. A sensor's before it has settled should not.
    """
    past = [event for event in log.events if event.at <= at and not isinstance(event, Done)]
    if counts is not None:
        past = [event for event in past if not isinstance(event, Reading) or counts(event)]
    kept = worth_keeping(past)
    walk = Walk(log, products, course, at)
    walk.begin(kept[0].at if kept else at, anew=bool(kept) and kept[0] is not past[0])
    for event in kept:
        walk.take(event)
    walk.wait_until(at)
    return Water(walk.state, at)


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
        self.now = log.events[0].at if log.events else until
        self.jets = _Jets(_jets_of(log, course))
        self.turns = _turns(log, course, until)
        self.next_turn = 0

    def begin(self, now: datetime, *, anew: bool) -> None:
        """Start at the first event kept; `anew` when older ones were left out.

        What was filled before is then long changed: only the generator's output still counts.
        """
        self.now = now
        while anew and self.next_turn < len(self.turns) and self.turns[self.next_turn][0] < now:
            self.turns[self.next_turn][1](self.state)
            self.next_turn += 1
        if anew:
            output = self.state.output
            self.state = new_state(self.state.tub)
            self.state.output = output

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

    def wait_until(self, then: datetime) -> None:
        """Let time pass, stopping at fillings, outputs set and filters put in."""
        while self.next_turn < len(self.turns) and self.turns[self.next_turn][0] <= then:
            when, act = self.turns[self.next_turn]
            self._stand(when)
            act(self.state)
            self.next_turn += 1
        self._stand(then)

    def _stand(self, then: datetime) -> None:
        if then <= self.now:
            return
        hours = (then - self.now).total_seconds() / 3600.0
        if hours < SHORTEST_H:  # waits until it has added up
            return
        advance(self.state, hours, self.jets.hours(self.now, then))
        self.now = then


_Walk = Walk

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
    def act(state: State) -> None:
        state.output = min(max(output, 0.0), 1.0)

    return act


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


def _jets_of(log: Log, course: Course) -> list[tuple[datetime, datetime]]:
    doses = [event.at for event in log.events if isinstance(event, Dose)]
    return [*course.aerated, *((when, when + JETS_AFTER_DOSE) for when in doses)]


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

    def _until(self, when: datetime) -> float:
        place = bisect_right(self.starts, when) - 1
        if place < 0:
            return 0.0
        ran = (min(when, self.ends[place]) - self.starts[place]).total_seconds() / 3600.0
        return self.before[place] + ran
