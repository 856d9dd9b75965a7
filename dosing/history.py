"""What the log's events mean together: readings that still count, steps done, gates passed."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from datetime import datetime, timedelta

from dosing import texts
from dosing.analytes import ANALYTES
from dosing.bands import band_of, together
from dosing.course import course_of, numbered, output_of, plain_base, split_id
from dosing.edge import FEW, on_the_edge
from dosing.errors import LogError
from dosing.gates import OPEN_FROM, SHUT_TO, GateState, between, standing_gate, state_of
from dosing.known_steps import KnownSteps
from dosing.log import Done, Dose, Event, Log, Reading, ReplacedWater
from dosing.procedure import Confirm, Gate, Hold, Procedure, Wait
from dosing.procedure_file import hours
from dosing.products import KINDS, Product, Products
from dosing.standing import MOVED_BY, UNFORETOLD, Standing, as_it_moves, bar
from dosing.water import Walk, Water

DEFAULT_MIXING = timedelta(minutes=15)
NEVER_WITHIN = timedelta(minutes=10)
"""Acid and chlorine given within so little are called out (epa_550_f_01_003; common practice)."""

FORETOLD_FOR = timedelta(days=3)
"""How far ahead the log foretells a reading well enough to hold it against one."""

REMEMBERS = 400
"""Newest events that the belief walks through: what came before is other water."""


class History:
    """The log replayed once, in order of time, for one procedure."""

    def __init__(self, log: Log, procedure: Procedure, products: Products, at: datetime) -> None:
        self.log, self.procedure, self.products = log, procedure, products
        self.course = course_of(log, procedure, products)
        self._walk = Walk(log, products, self.course, at)
        self._remembered = len(log.events) - REMEMBERS
        self.standings: dict[tuple[str, str], Standing] = {}
        self.done_at: dict[str, datetime] = {}
        """First time each step id was confirmed since the tub was last drained."""
        self._done_by_name: dict[str, list[datetime]] = {}
        self.ever_done: set[str] = set()
        self.doses: list[Dose] = []
        self._doses_by_kind: dict[str, list[Dose]] = {}
        self.replaced: list[ReplacedWater] = []
        self.passed: dict[str, datetime] = {}
        """When each gate was passed, as long as no newer reading has shut it."""
        self.as_read: dict[str, str] = {}
        """What each gate was when last read: a verdict that age does not change."""
        self.cautions: list[str] = list(log.cautions)
        self._zone = at.tzinfo
        self.drained_at: datetime | None = None
        self.output_set_at: datetime | None = None
        """When a step last set the generator's output; None when the log does not tell it."""
        self.began = log.events[0].at if log.events else at
        """When this water's story began: the first event, or the last filling."""
        self.readings = 0
        self.read_counts: dict[tuple[str, str], int] = {}
        self._gates = [gate for _, gate in procedure.gates()]
        self._given_by_hand = {gate.id for gate in self._gates if "bromine" in gate.raise_with}
        self._known = KnownSteps(procedure)
        self._believes = False
        for place, event in enumerate(log.events):
            self._believes = place >= self._remembered
            self._take(event)
        self._ask(at)

    def _ask(self, at: datetime) -> None:
        """Let the belief stand until the moment of asking, once all events were taken."""
        self._believes = True
        self._walk_of_events = self._walk.copy()
        self.last_at = self.log.events[-1].at if self.log.events else at
        self._walk.wait_until(self.last_at)
        self.water_at_last_event = Water(self._walk.state.copy(), self.last_at)
        self._walk.wait_until(at)
        self.water = Water(self._walk.state, at)
        """The belief at the moment of asking."""

    def grown(self, log: Log, at: datetime) -> History:
        """Return the history of this log with later events at its end, asked at a later moment.

        What was replayed is not replayed, unless the new events tell that it went otherwise.
        """
        course = course_of(log, self.procedure, self.products)
        walk = self._walk_of_events.going_on(log, course, at)
        if not (self.log.events and self._walk_of_events.agrees(walk)):
            return History(log, self.procedure, self.products, at)
        twin = copy(self)
        twin.log, twin.course, twin._walk = log, course, walk
        if log is self.log:
            twin._ask(at)
            twin.water_at_last_event = self.water_at_last_event
            return twin
        for name, own in vars(self).items():
            if isinstance(own, dict | list | set):
                setattr(twin, name, own.copy())
        twin.standings = {key: one.copy() for key, one in self.standings.items()}
        twin._done_by_name = {key: times.copy() for key, times in self._done_by_name.items()}
        twin._doses_by_kind = {key: some.copy() for key, some in self._doses_by_kind.items()}
        for event in log.events[len(self.log.events) :]:
            twin._take(event)
        twin._ask(at)
        return twin

    def _take(self, event: Event) -> None:
        if isinstance(event, Reading) and self._unsettled(event):
            return
        if isinstance(event, Dose):
            self.product(event)
        foretold = self._foretold(event) if isinstance(event, Reading) else None
        if self._believes:
            self._walk.take(event)
        if isinstance(event, Reading):
            self._read(event, foretold)
        elif isinstance(event, Dose):
            self._dose(event)
        elif isinstance(event, ReplacedWater):
            self.replaced.append(event)
            self._move_all(event.at + self.mixing("new_water"))
        else:
            self._done(event)

    def _foretold(self, reading: Reading) -> float | None:
        """Return what the log foretold, where a reading lies too far off to decide alone.

        The first of a tub may well differ from the hose's water: a softener, or a tub not quite
        empty. And over days much may happen that nobody writes down.
        """
        standing = self.standing(reading.analyte, reading.sample)
        last = standing.last
        if not self._believes or last is None or reading.at - last.at > FORETOLD_FOR:
            return None
        if any(KINDS[self.product(dose).kind].analyte is None for dose in standing.doses):
            return None  # given by hand: what it does is its label's to say
        foretold, off = self._walk.foretold(reading)
        return foretold if off > UNFORETOLD else None

    def walk(self) -> Walk:
        """Return the walk through the log at the moment of asking, free to go on."""
        return self._walk.copy()

    def standing(self, analyte: str, sample: str = "tub") -> Standing:
        """Return what is known of an analyte in one sample."""
        return self.standings.setdefault((analyte, sample), Standing())

    def mixing(self, kind: str, product: Product | None = None) -> timedelta:
        """Return how long a dose of the kind mixes or acts before a reading counts."""
        limit = self.procedure.mixing.get(kind)
        mix = timedelta(hours=hours(limit)) if limit else DEFAULT_MIXING
        acts = timedelta(hours=(product.acts_over_h or 0.0) if product else 0.0)
        return max(mix, acts)

    def product(self, dose: Dose) -> Product:
        """Return the product of a dose; raise `LogError` when the list does not hold it."""
        try:
            return self.products[dose.product]
        except KeyError:
            known = ", ".join(self.products)
            raise LogError(
                f"events[{dose.place}].product: {dose.product!r} is not among the products; "
                f"add it to the log's products, or correct the id (known: {known})"
            ) from None

    def _read(self, reading: Reading, foretold: float | None) -> None:
        self.readings += 1
        key = (reading.analyte, reading.sample)
        self.read_counts[key] = self.read_counts.get(key, 0) + 1
        standing = self.standing(reading.analyte, reading.sample)
        if standing.ready_at is not None and reading.at < standing.ready_at:
            minutes = (standing.ready_at - reading.at).total_seconds() / 60.0
            self.cautions.append(
                f"events[{reading.place}] ({ANALYTES[reading.analyte].label}) was read "
                f"{minutes:.0f} min before the last dose had mixed: it does not count."
            )
            return
        self._at_odds(reading, standing.last)
        standing.read(reading, foretold)
        for gate in self._gates:
            if gate.analyte == reading.analyte and gate.sample == reading.sample:
                self._judge(gate, standing, reading)

    def _at_odds(self, reading: Reading, last: Reading | None) -> None:
        """Say so when one method read two things at the same moment."""
        if last is None or (last.at, last.source) != (reading.at, reading.source):
            return
        if together((band_of(last), band_of(reading)))[1]:
            name = reading.analyte
            one, other = (texts.plain(name, value) for value in sorted((last.value, reading.value)))
            self.cautions.append(
                f"At {self._when(reading.at)} the log reads {ANALYTES[name].label} as {one} and as "
                f"{other}: correct one, or dip again."
            )

    def _judge(self, gate: Gate | Hold, standing: Standing, reading: Reading) -> None:
        if isinstance(gate, Hold) and not self.counts_for(gate, reading.at):
            return
        state = self.judged(gate, standing, Water(self._walk.state, reading.at), reading.at).state
        self.as_read[gate.id] = state
        if state == "open":
            self.passed.setdefault(gate.id, reading.at)
        elif state == "shut":
            self.passed.pop(gate.id, None)

    def judged(
        self, gate: Gate | Hold, standing: Standing, water: Water, at: datetime
    ) -> GateState:
        """Return a gate by its newest valid readings; where they leave it undecided, by the belief.

        The belief knows the doses and readings before. Where it contradicts a verdict of the
        readings, nothing is decided.
        """
        seen = standing_gate(gate, standing.now(at), standing.contradicts)
        if seen.probability is None:
            return seen
        if seen.state == "undecided" and not standing.contradicts:
            seen = on_the_edge(seen, standing.looks)
        if not self._believes:
            return seen  # so old that the belief does not go back to it
        if ANALYTES[gate.analyte].drifts:
            may_shut = gate.analyte == "free_chlorine" or not self.procedure.ends
            return as_it_moves(seen, standing, water, at, may_shut=may_shut)
        believed = round(water.probability(gate.analyte, seen.low, seen.high, gate.sample), 4)
        surely = believed >= OPEN_FROM or believed <= SHUT_TO
        few = standing.count <= FEW and not standing.contradicts
        if seen.state == "undecided" and surely and few:
            return replace(seen, state=state_of(believed), probability=believed)
        against = (seen.state == "open" and believed < max(0.5, bar(standing))) or (
            seen.state == "shut" and believed > 0.5
        )
        if against and standing.count <= FEW:
            return replace(seen, state="undecided", probability=between(believed))
        return seen

    def _unsettled(self, reading: Reading) -> bool:
        """A sensor's reading does not count before the sensor has settled."""
        if reading.source != "sensor":
            return False
        for _, step in self.procedure.steps():
            if isinstance(step, Wait) and step.only_with == "sensor":
                since = self.last_done(step.since)
                ready = since and since + timedelta(hours=hours(step.rest))
                if ready is None or reading.at < ready:
                    self.cautions.append(
                        f"events[{reading.place}] is a sensor's value from before the sensor "
                        "counts: it is left out."
                    )
                    return True
        return False

    def counts_for(self, hold: Hold, at: datetime) -> bool:
        """Say whether a reading at this moment may judge the residual."""
        anchor = self.hold_anchor(hold)
        if anchor is None:
            return False
        return at >= anchor + timedelta(hours=hours(hold.judged_after))

    def hold_anchor(self, hold: Hold) -> datetime | None:
        """Return the moment from which the residual must hold: last dose, or the step before."""
        since = self.last_done(hold.since) if hold.since else None
        if hold.since and since is None:
            return None
        newest = reversed(self.doses)
        last = next((d.at for d in newest if self.product(d).kind in hold.raise_with), None)
        moments = [moment for moment in (since, last) if moment]
        return max(moments) if moments else None

    def _dose(self, dose: Dose) -> None:
        product = self.product(dose)
        self._too_close(dose, product)
        self.doses.append(dose)
        self._doses_by_kind.setdefault(product.kind, []).append(dose)
        ready_at = dose.at + self.mixing(product.kind, product)
        for analyte in _moved_by(product):
            self.standing(analyte).move(ready_at, dose)

    def _too_close(self, dose: Dose, product: Product) -> None:
        """Say so when the log itself shows acid and chlorine given within minutes."""
        other = {"acid": "chlorinating", "chlorinating": "acid"}.get(product.kind)
        for before in self.doses_of(other)[-1:] if other else ():
            if dose.at - before.at < NEVER_WITHIN:
                minutes = (dose.at - before.at).total_seconds() / 60.0
                self.cautions.append(
                    f"events[{dose.place}] and events[{before.place}]: acid and chlorine went in "
                    f"{minutes:.0f} min apart. Together they give poisonous gas: keep them at "
                    "least 15 minutes apart, jets on, and air the room."
                )

    def _move_all(self, ready_at: datetime) -> None:
        for analyte in ANALYTES:
            self.standing(analyte).move(ready_at, None)

    def _done(self, done: Done) -> None:
        base = plain_base(split_id(done.step)[0])
        if not self._known(base):
            raise LogError(
                f"events[{done.place}].step: {done.step!r} is no step of "
                f"{self.procedure.name}; write the id that `dipstep next` gave"
            )
        self.ever_done.add(done.step)
        if done.step not in self.done_at:
            self.done_at[done.step] = done.at
            self._done_by_name.setdefault(base, []).append(done.at)
        if output_of(split_id(done.step)[0], self.procedure) is not None:
            self.output_set_at = done.at
        action = self._action(base)
        asked = base.removeprefix("ask_")
        if base != asked and asked not in self._given_by_hand:
            self.passed.setdefault(asked, done.at)
        if action == "prefilter":
            for gate in self._gates:
                if isinstance(gate, Gate) and gate.remedy == base:
                    self.standing(gate.analyte, gate.sample).move(done.at, None)
                    self.passed.pop(gate.id, None)
        if action == "fill":
            self.began = done.at
            self.cautions += [
                f"The dose of {dose.product} at {self._when(dose.at)} lies before the tub was "
                "filled and does not count: correct its time if it went into this water."
                for dose in self.doses
            ]
            self.doses.clear()
            self._move_all(done.at)
        if action == "drain":
            self._start_over(done.at)

    def _action(self, base: str) -> str:
        if base in ("drain", "prefilter"):
            return base
        for _, step in self.procedure.steps():
            if step.id == base and isinstance(step, Confirm):
                return step.action
        return ""

    def _start_over(self, at: datetime) -> None:
        """The tub was drained: its old water counts no more; what wears keeps its age."""
        self.began = self.drained_at = at
        self.standings = {key: one for key, one in self.standings.items() if key[1] == "fill"}
        self.done_at.clear()
        wears = {one.id for _, one in self.procedure.steps() if getattr(one, "every", None)}
        kept = {name: times for name, times in self._done_by_name.items() if name in wears}
        self._done_by_name = {} if self.procedure.ends else kept
        self.doses.clear()
        self._doses_by_kind.clear()
        self.replaced.clear()
        self.passed = {
            gate.id: self.passed[gate.id]
            for gate in self._gates
            if gate.sample == "fill" and gate.id in self.passed
        }

    def _when(self, at: datetime) -> str:
        return at.astimezone(self._zone).strftime("%Y-%m-%d %H:%M")

    def times_done(self, base: str) -> list[datetime]:
        """Return when the steps of this name were confirmed, in order."""
        return sorted(self._done_by_name.get(base, ()))

    def last_done(self, base: str) -> datetime | None:
        """Return when a step of this name was last confirmed."""
        times = self.times_done(base)
        return times[-1] if times else None

    def doses_of(self, *kinds: str) -> list[Dose]:
        """Return the doses of these kinds since the tub was last drained."""
        if len(kinds) == 1:
            return self._doses_by_kind.get(kinds[0], []).copy()
        return [dose for dose in self.doses if self.product(dose).kind in kinds]

    def next_id(self, base: str) -> str:
        """Return the first id of this name that was never confirmed."""
        number = 1
        while numbered(base, number) in self.ever_done:
            number += 1
        return numbered(base, number)


def _moved_by(product: Product) -> tuple[str, ...]:
    """Return the analytes a dose of the product moves so far that their readings are void."""
    moved = MOVED_BY[product.kind]
    if product.formula == "NaCl2C3N3O3.2H2O":
        return (*moved, "cyanuric_acid")
    return moved
