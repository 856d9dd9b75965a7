"""Gates: open, shut, undecided or waiting, with the probability behind it."""

from __future__ import annotations

from dataclasses import dataclass

from dosing.analytes import ANALYTES
from dosing.bands import Band
from dosing.procedure import Gate, Hold

OPEN_FROM = 0.95
SHUT_TO = 0.05
"""A gate is open from the first, shut to the second, undecided between."""

STATES = ("open", "shut", "undecided", "waiting")


@dataclass(frozen=True)
class GateState:
    """One gate as it stands."""

    id: str
    analyte: str | None
    low: float | None
    high: float | None
    unit: str | None
    state: str
    probability: float | None

    @property
    def needs(self) -> str:
        """The wanted range in words."""
        return needs(self.low, self.high, self.unit)


def judged(gate: Gate | Hold, band: Band) -> tuple[str, float]:
    """Return state and probability of a gate on a quantity whose band is known."""
    probability = round(band.share_inside(*limits(gate)), 4)  # the state fits what is printed
    return state_of(probability), probability


def state_of(probability: float) -> str:
    """Return what a probability of being inside means."""
    if probability >= OPEN_FROM:
        return "open"
    return "shut" if probability <= SHUT_TO else "undecided"


def between(probability: float) -> float:
    """Return the probability kept where nothing is decided."""
    return min(max(probability, SHUT_TO + 0.001), OPEN_FROM - 0.001)


def limits(gate: Gate | Hold) -> tuple[float | None, float | None]:
    """Return the two limits of a gate, None for a side that has none."""
    return (
        gate.low.value if gate.low else None,
        gate.high.value if gate.high else None,
    )


def side(gate: Gate | Hold, band: Band) -> str:
    """Return on which side of a shut gate the water lies: `low` or `high`."""
    low, high = limits(gate)
    below = band.share_below(low) if low is not None else 0.0
    above = 1.0 - band.share_below(high) if high is not None else 0.0
    return "low" if below >= above else "high"


def needs(low: float | None, high: float | None, unit: str | None) -> str:
    """Return a wanted range in words, such as `7.2 to 7.8` or `at most 300 ug/L`."""
    after = "" if unit in (None, "pH") else f" {unit}"
    if low is None and high is None:
        return "done"
    if low is None:
        return f"at most {high:g}{after}"
    if high is None:
        return f"at least {low:g}{after}"
    return f"{low:g} to {high:g}{after}"


def waiting(gate: Gate | Hold) -> GateState:
    """Return the gate while a wait runs or no valid reading stands."""
    return GateState(gate.id, gate.analyte, *limits(gate), _unit(gate), "waiting", None)


def standing_gate(gate: Gate | Hold, band: Band | None, contradicts: bool = False) -> GateState:
    """Return the gate as the band has it; readings that contradict decide nothing."""
    if band is None:
        return waiting(gate)
    state, probability = judged(gate, band)
    if contradicts:
        state, probability = "undecided", between(probability)
    return GateState(gate.id, gate.analyte, *limits(gate), _unit(gate), state, probability)


def of_step(name: str, is_open: bool) -> GateState:
    """Return the gate of a wait or a confirmed step, which has no quantity."""
    state = "open" if is_open else "waiting"
    return GateState(name, None, None, None, None, state, 1.0 if is_open else None)


def _unit(gate: Gate | Hold) -> str:
    return ANALYTES[gate.analyte].unit
