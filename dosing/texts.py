"""Sentences of the answer, in plain words."""

from __future__ import annotations

from collections.abc import Iterable

from dosing.analytes import ANALYTES
from dosing.bands import Band
from dosing.gates import GateState
from dosing.log import Reading
from dosing.procedure import Gate, Hold
from dosing.products import Product
from dosing.sources import cite

METHODS = {
    "photo": "strip photo",
    "hand": "strip by eye",
    "drop_test": "drop test",
    "lab": "laboratory",
    "sensor": "sensor",
}


def names(analytes: Iterable[str]) -> str:
    """Return analytes as people list them."""
    labels = [ANALYTES[analyte].label for analyte in analytes]
    if len(labels) < 2:
        return "".join(labels)
    return f"{', '.join(labels[:-1])} and {labels[-1]}"


def plain(analyte: str, value: float) -> str:
    """Return a value without exponent, as precise as people read it."""
    if analyte in ("ph", "free_chlorine", "total_chlorine", "bromine"):
        return f"{value:.1f}"
    return f"{round(value, 1 - len(str(int(value)))):g}" if value < 10 else f"{value:.0f}"


def amount(product: Product, grams: float) -> str:
    """Return grams, with millilitres for liquids."""
    text = f"{grams:g} g"
    millilitres = product.millilitres(grams)
    if millilitres is not None:
        text += f" ({millilitres:.0f} mL)" if millilitres >= 10 else f" ({millilitres:.1f} mL)"
    return text


def reads(reading: Reading, band: Band, count: int, when: str) -> str:
    """Say what the readings of an analyte are."""
    analyte = ANALYTES[reading.analyte]
    low, high = band.edges()
    edges = f"{plain(analyte.name, low)} to {plain(analyte.name, high)}"
    unit = "" if analyte.unit == "pH" else f" {analyte.unit}"
    where = " of the water from the hose" if reading.sample == "fill" else ""
    if count > 1:
        return (
            f"{count} readings of {analyte.label}{where}, the last at {when}, together say "
            f"{plain(analyte.name, band.mode)}{unit} (95 %: {edges})."
        )
    return (
        f"The {METHODS[reading.source]} of {when} reads {analyte.label}{where} "
        f"{plain(analyte.name, reading.value)}{unit} (95 %: {edges})."
    )


def judged(gate: Gate | Hold, state: GateState) -> str:
    """Say what the gate makes of it."""
    label = ANALYTES[gate.analyte].label
    if state.probability is None:
        return f"Wanted for {label}: {state.needs}; no reading counts for it now."
    share = f"{100.0 * state.probability:.0f} %"
    verdict = {
        "open": "that is inside",
        "shut": "that is outside",
        "undecided": "that is neither surely inside nor surely outside",
    }[state.state]
    return f"Wanted for {label}: {state.needs}; chance of being inside {share}: {verdict}."


def rests_on(gate: Gate | Hold) -> str:
    """Name the source of a gate's limits."""
    keys = {limit.source for limit in (gate.low, gate.high) if limit}
    cited = "; ".join(cite(key).rstrip(".") for key in sorted(keys))
    return f"The limits for {ANALYTES[gate.analyte].label} rest on: {cited}."
