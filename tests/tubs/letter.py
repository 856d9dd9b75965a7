"""Is an answer to the letter of the contract? Every departure is one sentence."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from tests.tubs.strips import UNITS

ACTIONS = (
    *("prefilter", "cell_in", "fill", "power_on", "heat", "generator_output"),
    *("circulate", "clean_filter", "sensor_in", "drain", "purge"),
)
TOP = {"at", "stage", "complete", "gates", "step", "expect", "why", "cautions"}
GATE = {"id", "analyte", "low", "high", "unit", "needs", "state", "probability"}
STEP = {
    *("id", "kind", "text", "action", "value", "analytes"),
    *("product", "amount_g", "fraction", "not_before", "sample"),
}
KINDS = ("measure", "dose", "wait", "confirm", "replace_water", "ask", "none")
STATES = ("open", "shut", "undecided", "waiting")


def departures(answer: Any, at: datetime, products: set[str] | None = None) -> list[str]:
    """Everything in `answer` that the contract does not allow; empty is good."""
    if not isinstance(answer, Mapping):
        return ["the answer is no object"]
    found = [*_plain_json(answer), *_missing(answer, TOP, "answer")]
    if found:
        return found
    found += _top(answer, at)
    for gate in answer["gates"]:
        found += _missing(gate, GATE, "gate") or _gate(gate)
    ids = [gate.get("id") for gate in answer["gates"]]
    found += [f"gate ids repeat: {ids}"] if len(set(ids)) != len(ids) else []
    step = answer["step"]
    found += _missing(step, STEP, "step") or _step(step, at, bool(answer["complete"]), products)
    found += _expect(answer["expect"])
    if step.get("kind") == "dose" and not answer["cautions"]:
        found.append("a dose without cautions")
    return found


def _plain_json(answer: Any) -> list[str]:
    try:
        json.dumps(answer, allow_nan=False)
    except (TypeError, ValueError) as fault:
        return [f"not plain JSON: {fault}"]
    return []


def _missing(thing: Any, keys: set[str], name: str) -> list[str]:
    if not isinstance(thing, Mapping):
        return [f"{name} is no object"]
    return [f"{name} lacks {key}" for key in sorted(keys - set(thing))]


def number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _top(answer: Mapping[str, Any], at: datetime) -> Iterator[str]:
    told = moment(answer["at"])
    if told is None or told != at:
        yield f"at is {answer['at']!r}, asked was {at.isoformat()}"
    if not (isinstance(answer["stage"], str) and answer["stage"]):
        yield f"stage is {answer['stage']!r}"
    if not isinstance(answer["complete"], bool):
        yield f"complete is {answer['complete']!r}"
    for name in ("why", "cautions"):
        if not _sentences(answer[name]):
            yield f"{name} is no list of sentences: {answer[name]!r}"


def _sentences(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(s, str) and s.strip() for s in value)


def moment(text: Any) -> datetime | None:
    """An instant with an offset, or None."""
    try:
        when = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return when if when.tzinfo else None


def _gate(gate: Mapping[str, Any]) -> Iterator[str]:
    name = f"gate {gate['id']!r}"
    for key in ("id", "unit", "needs"):
        unit_of_none = key == "unit" and gate["analyte"] is None
        if not (isinstance(gate[key], str) and gate[key]) and not unit_of_none:
            yield f"{name}: {key} is {gate[key]!r}"
    analyte, low, high = gate["analyte"], gate["low"], gate["high"]
    if analyte is not None and UNITS.get(analyte) != gate["unit"]:
        yield f"{name}: analyte {analyte!r} with unit {gate['unit']!r}"
    for key, value in (("low", low), ("high", high)):
        if value is not None and not number(value):
            yield f"{name}: {key} is {value!r}"
    if number(low) and number(high) and low > high:
        yield f"{name}: low over high"
    yield from _state(name, gate["state"], gate["probability"])


def _state(name: str, state: Any, chance: Any) -> Iterator[str]:
    if state not in STATES:
        yield f"{name}: state {state!r}"
    elif state == "waiting":
        if chance is not None:
            yield f"{name}: waiting with probability {chance!r}"
    elif not number(chance) or not 0 <= chance <= 1:
        yield f"{name}: {state} with probability {chance!r}"
    elif state != ("open" if chance >= 0.95 else "shut" if chance <= 0.05 else "undecided"):
        yield f"{name}: {state} at probability {chance}"


def _step(
    step: Mapping[str, Any], at: datetime, complete: bool, products: set[str] | None
) -> Iterator[str]:
    kind = step["kind"]
    if kind not in KINDS:
        yield f"step kind {kind!r}"
        return
    for key in ("id", "text"):
        if not (isinstance(step[key], str) and step[key].strip()):
            yield f"step {key} is {step[key]!r}"
    if (kind == "none") != complete:
        yield f"complete is {complete} with a step of kind {kind}"
    yield from _measure(step, kind)
    yield from _dose(step, kind, products)
    yield from _action(step, kind)
    yield from _when_and_share(step, kind, at)


def _measure(step: Mapping[str, Any], kind: str) -> Iterator[str]:
    names = step["analytes"]
    if not isinstance(names, list) or any(name not in UNITS for name in names):
        yield f"{kind} names analytes {names!r}"
    elif kind == "measure" and (not names or len(set(names)) != len(names)):
        yield f"measure names {names!r}"
    if step["sample"] not in ("tub", "fill"):
        yield f"{kind} with sample {step['sample']!r}"


def _dose(step: Mapping[str, Any], kind: str, products: set[str] | None) -> Iterator[str]:
    product, grams = step["product"], step["amount_g"]
    if kind != "dose":
        if product is not None or grams is not None:
            yield f"{kind} with product {product!r} and amount {grams!r}"
        return
    if not isinstance(product, str) or (products is not None and product not in products):
        yield f"dose of unknown product {product!r}"
    if not number(grams) or grams <= 0:
        yield f"dose of {grams!r} g"


def _action(step: Mapping[str, Any], kind: str) -> Iterator[str]:
    action, value = step["action"], step["value"]
    allowed = {"confirm": ACTIONS, "wait": (None, "aerate")}.get(kind, (None,))
    if action not in allowed:
        yield f"{kind} with action {action!r}"
    if action == "generator_output":
        if not number(value) or not 0 <= value <= 1:
            yield f"generator_output with value {value!r}"
    elif action == "heat":
        if not number(value) or not 5 <= value <= 45:
            yield f"heat with value {value!r}"
    elif value is not None:
        yield f"{kind} {action} with value {value!r}"


def _when_and_share(step: Mapping[str, Any], kind: str, at: datetime) -> Iterator[str]:
    when, share = step["not_before"], step["fraction"]
    if kind == "wait":
        told = moment(when)
        if told is None:
            yield f"wait until {when!r}"
        elif told <= at:
            yield f"wait until {when}, which is not in the future"
    elif when is not None:
        yield f"{kind} with not_before {when!r}"
    if kind == "replace_water":
        if not number(share) or not 0 < share <= 1:
            yield f"replace_water of {share!r}"
    elif share is not None:
        yield f"{kind} with fraction {share!r}"


def _expect(expect: Any) -> Iterator[str]:
    if not isinstance(expect, Mapping):
        yield f"expect is {expect!r}"
        return
    for analyte, band in expect.items():
        if analyte not in UNITS:
            yield f"expect names {analyte!r}"
        if not isinstance(band, Mapping) or not {"value", "low", "high"} <= set(band):
            yield f"expect {analyte} is {band!r}"
            continue
        low, value, high = band["low"], band["value"], band["high"]
        if not all(map(number, (low, value, high))):
            yield f"expect {analyte} holds no numbers: {dict(band)}"
        elif not low <= value <= high:
            yield f"expect {analyte} does not hold its value: {dict(band)}"
