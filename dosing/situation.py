"""The tub at the moment of asking: its history, its water, its procedure and products."""

from __future__ import annotations

from copy import copy
from datetime import datetime, timedelta

from dosing.analytes import ANALYTES
from dosing.errors import LogError
from dosing.gates import GateState, of_step, side, waiting
from dosing.history import History
from dosing.log import Dose, Log, Reading
from dosing.procedure import Confirm, Gate, Hold, Never, Procedure, Stage, Step, Wait
from dosing.procedure_file import hours
from dosing.products import Product, Products
from dosing.standing import Standing

SLOW = ("phosphate_remover", "softening_medium")
"""Kinds that act over hours while other things go on."""

BALANCE = ("total_alkalinity", "ph")
AIRED_AFTER = timedelta(minutes=30)
"""Age of a pH reading from which jets and air may have moved it while the balance is sought."""

NO_ROOM_FOR_ACID = 7.6
"""Under this pH a high alkalinity is answered with air before acid, or may have been."""

OUTDATED_AFTER = timedelta(days=31)
"""Age from which a reading tells nothing of the water any more (common practice)."""

FRESH_H = 20.0
"""A reading of what drifts that is older than this is taken again with the next dip [h]."""


class Situation:
    """Everything the next step is found from."""

    def __init__(self, log: Log, procedure: Procedure, products: Products, at: datetime) -> None:
        if log.tub.sanitizer not in procedure.sanitizers:
            raise LogError(
                f"tub.sanitizer: {procedure.name} is for {' or '.join(procedure.sanitizers)}, "
                f"this tub runs on {log.tub.sanitizer}; name the procedure that fits, "
                "or correct the sanitizer"
            )
        self.log, self.procedure, self.products, self.at = log, procedure, products, at
        self.history = History(log, procedure, products, at)
        self.water = self.history.water
        self.taken_as_done = self._evident()

    def grown(self, log: Log, at: datetime) -> Situation:
        """Return the same tub later, its log with new events at the end."""
        twin = copy(self)
        twin.log, twin.at, twin.history = log, at, self.history.grown(log, at)
        twin.water = twin.history.water
        twin.taken_as_done = twin._evident()
        return twin

    def is_just_after_an_event(self) -> bool:
        """Say whether the log's last event is so near that nothing has been waited for since."""
        events = self.log.events
        return bool(events) and self.at - events[-1].at <= AIRED_AFTER

    def at_last_event(self) -> Situation | None:
        """Return the same tub as it stood at the last event, if time has passed since."""
        events = self.log.events
        if not events or events[-1].at >= self.at:
            return None
        then = copy(self)
        then.at, then.water = events[-1].at, self.history.water_at_last_event
        return then

    def _evident(self) -> frozenset[str]:
        """Steps that a log without a single confirmation shows to be done.

        A tub whose water was read or dosed is filled, and one at its heat is heated: an existing
        tub may be taken up without ticking every step.
        """
        events = self.log.events
        in_tub = any(isinstance(one, Dose) for one in events) or any(
            isinstance(one, Reading) and one.sample == "tub" for one in events
        )
        if not in_tub or self.history.ever_done:
            return frozenset()
        evident: set[str] = set()
        for stage in self.procedure.stages:
            if any(isinstance(step, Gate) and step.sample == "tub" for step in stage.steps):
                break
            evident |= {step.id for step in stage.steps if self._shows(step)}
        return frozenset(evident)

    def _shows(self, step: Step) -> bool:
        if isinstance(step, Confirm) and step.action == "heat" and step.value:
            return self.log.tub.temperature_c >= step.value.value
        return True

    def applies(self, step: Step | Never) -> bool:
        """Say whether this tub has what a step or a rule is about."""
        tub = self.log.tub
        return {
            "": True,
            "sensor": tub.has_sensor,
            "generator": tub.sanitizer == "salt_chlorine",
            "no_generator": tub.sanitizer != "salt_chlorine",
            "chlorine": tub.sanitizer != "bromine",
            "bromine": tub.sanitizer == "bromine",
        }[step.only_with]

    def is_over(self, stage: Stage) -> bool:
        """Say whether a stage is not looked at again."""
        return bool(stage.until) and self.is_done(stage.until)

    def is_done(self, name: str) -> bool:
        """Say whether a step was confirmed, or is evident."""
        return name in self.taken_as_done or bool(self.history.times_done(name))

    def standing(self, gate: Gate | Hold) -> Standing:
        """Return what the readings say of a gate's analyte."""
        return self.history.standing(gate.analyte, gate.sample)

    def state(self, gate: Gate | Hold) -> GateState:
        """Return a gate as it stands at the moment of asking."""
        standing = self.standing(gate)
        if isinstance(gate, Hold) and not (
            standing.at is not None and self.history.counts_for(gate, standing.at)
        ):
            return waiting(gate)
        if self.is_outdated(gate):
            return waiting(gate)
        return self.history.judged(gate, standing, self.water, self.at)

    def is_outdated(self, gate: Gate | Hold) -> bool:
        """Say whether a reading is so old that it tells nothing of the water now."""
        read_at = self.standing(gate).at
        return read_at is not None and self.at - read_at > OUTDATED_AFTER

    def gate_states(self) -> tuple[GateState, ...]:
        """Return every gate that is still looked at, in order."""
        states = []
        for stage, step in self.procedure.steps():
            if self.is_over(stage) or not self.applies(step):
                continue
            if isinstance(step, Gate | Hold):
                states.append(waiting(step) if self.is_aired(step) else self.state(step))
            elif isinstance(step, Wait):
                states.append(of_step(step.id, self.wait_is_over(step)))
        return tuple(states)

    def is_aired(self, gate: Gate | Hold) -> bool:
        """Say whether jets and air may have moved the pH since it was read.

        They run while alkalinity and pH are being brought in; the gate shows no old reading then.
        """
        standing = self.standing(gate)
        if gate.analyte != "ph" or standing.at is None:
            return False
        if self.at - standing.at < AIRED_AFTER:
            return False
        pair = [one for _, one in self.gates() if one.analyte in BALANCE]
        return any(self._asks_for_air(one) for one in pair if one.id not in self.history.passed)

    def _asks_for_air(self, gate: Gate | Hold) -> bool:
        """Say whether the answer to a gate of the balance was jets and air."""
        standing, state = self.standing(gate), self.state(gate).state
        if state == "undecided":
            return standing.count >= 3
        band = standing.now(self.at)
        if state != "shut" or band is None:
            return False
        if gate.analyte == "ph":
            return side(gate, band) == "low"
        ph = self.history.standing("ph").band
        return side(gate, band) == "high" and ph is not None and ph.mode < NO_ROOM_FOR_ACID

    def wait_ends(self, wait: Wait) -> datetime | None:
        """Return when a wait ends; None as long as what it follows is not done."""
        since = self.history.last_done(wait.since)
        if since is None:
            return None
        ends = since + timedelta(hours=hours(wait.rest))
        for never in self.procedure.nevers:
            if never.rule == "sensor_waits" and never.rest is not None:
                for dose in self.history.doses_of(never.kind):
                    ends = max(ends, dose.at + timedelta(hours=hours(never.rest)))
        return ends

    def wait_is_over(self, wait: Wait) -> bool:
        """Say whether a wait has ended."""
        ends = self.wait_ends(wait)
        return ends is not None and ends <= self.at

    def is_stale(self, gate: Gate | Hold) -> bool:
        """Say whether a reading of what drifts should be renewed with the next dip."""
        standing = self.standing(gate)
        if standing.at is None:
            return True
        drifts = ANALYTES[gate.analyte].drifts
        return drifts and self.at - standing.at > timedelta(hours=FRESH_H)

    def gates(self) -> list[tuple[Stage, Gate | Hold]]:
        """Return the gates that apply to this tub, in order."""
        return [(stage, one) for stage, one in self.procedure.gates() if self.applies(one)]

    def mixing_ends(self) -> tuple[datetime, Dose | None] | None:
        """Return until when the last quick dose or new water mixes, if it still does."""
        ends: list[tuple[datetime, Dose | None]] = []
        for dose in self.history.doses[-5:]:
            product = self.history.product(dose)
            if product.kind not in SLOW:
                ends.append((dose.at + self.history.mixing(product.kind), dose))
        ends += [(one.at + self.history.mixing("new_water"), None) for one in self.history.replaced]
        running = [one for one in ends if one[0] > self.at]
        return max(running, key=lambda one: one[0]) if running else None

    def kept_apart_until(self, product: Product) -> datetime | None:
        """Return until when a product must wait for another that does not go with it."""
        until: datetime | None = None
        for apart in self.procedure.aparts:
            if product.kind in apart.kinds:
                others = [kind for kind in apart.kinds if kind != product.kind]
                for dose in self.history.doses_of(*others)[-1:]:
                    ends = dose.at + timedelta(hours=hours(apart.rest))
                    if ends > self.at:
                        until = max(until or ends, ends)
        return until

    def offset(self, when: datetime) -> str:
        """Return a moment in the words of the question's own clock."""
        return when.astimezone(self.at.tzinfo).strftime("%Y-%m-%d %H:%M")
