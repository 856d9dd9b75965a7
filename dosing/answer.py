"""The answer as plain values, ready to become JSON."""

from __future__ import annotations

from datetime import datetime, tzinfo
from typing import Any

from dosing.gates import GateState
from dosing.steps import NextStep, Todo


def as_dict(answer: NextStep) -> dict[str, Any]:
    """Return the answer with the keys of the contract, times in the offset of the question."""
    zone = answer.at.tzinfo
    step = answer.step
    return {
        "at": answer.at.isoformat(),
        "stage": answer.stage,
        "complete": answer.complete,
        "gates": [_gate(gate) for gate in answer.gates],
        "step": _step(step, zone),
        "expect": {
            analyte: {"value": _short(one.value), "low": _short(one.low), "high": _short(one.high)}
            for analyte, one in step.expect.items()
        },
        "why": list(answer.why),
        "cautions": list(answer.cautions),
    }


def _gate(gate: GateState) -> dict[str, Any]:
    return {
        "id": gate.id,
        "analyte": gate.analyte,
        "low": gate.low,
        "high": gate.high,
        "unit": gate.unit,
        "needs": gate.needs,
        "state": gate.state,
        "probability": None if gate.probability is None else round(gate.probability, 4),
    }


def _step(step: Todo, zone: tzinfo | None) -> dict[str, Any]:
    return {
        "id": step.id,
        "kind": step.kind,
        "text": step.text,
        "action": step.action,
        "value": step.value,
        "analytes": list(step.analytes),
        "product": step.product,
        "amount_g": step.amount_g,
        "fraction": step.fraction,
        "not_before": _moment(step.not_before, zone),
        "sample": step.sample,
    }


def _moment(when: datetime | None, zone: tzinfo | None) -> str | None:
    return None if when is None else when.astimezone(zone).isoformat()


def _short(value: float) -> float:
    """Round to four significant figures: more would pretend."""
    return float(f"{value:.4g}")
