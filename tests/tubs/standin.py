"""A simple-minded policy to try the tub and the umpire with: it believes every value shown.

It is no model of the engine and answers only a salt start-up.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

ACTS_BEFORE = (
    *(("power_down", "purge", None), ("cell", "cell_in", None), ("water", "fill", None)),
    *(("power", "power_on", None), ("warm", "heat", 38.0), ("off", "generator_output", 0.0)),
)
GOALS = (  # analyte, low, high, aim, product that lifts, product that lowers
    ("calcium_hardness", 25.0, 75.0, 50.0, "calcium-1", "softening-1"),
    ("total_alkalinity", 60.0, 150.0, 90.0, "buffer-1", "acid-1"),
    ("ph", 7.2, 7.8, 7.5, "raiser-1", "acid-1"),
    ("phosphate", 0.0, 300.0, 150.0, None, "phosphate-1"),
    ("salt", 1500.0, 2000.0, 1750.0, "salt-1", None),
    ("free_chlorine", 4.0, 10.0, 5.0, "chlorine-1", None),
)
UNITS = {"ph": "pH", "phosphate": "ug/L"}
G_PER_M3 = {"calcium-1": 1.5, "buffer-1": 1.68, "salt-1": 1.0, "chlorine-1": 9.5,
            "softening-1": 12.5, "phosphate-1": 0.04}  # fmt: skip
WAIT_MIN = {"softening-1": 1440.0, "phosphate-1": 1440.0}


class StandIn:
    """Answers one question; what it knows is in the log alone."""

    def __init__(self, text: str, at: datetime) -> None:
        self.log, self.at = json.loads(text), at
        self.events = sorted(
            self.log["events"], key=lambda event: datetime.fromisoformat(event["at"])
        )
        self.m3 = self.log["tub"]["volume_l"] / 1000
        self.kinds = {p["id"].partition("-")[0]: p["id"] for p in self.log["products"]}
        self.done = [e["step"] for e in self.events if e["type"] == "done"]
        self.gates: list[dict[str, Any]] = []

    def newest(self, analyte: str, sample: str = "tub") -> Mapping[str, Any] | None:
        fits = [
            e
            for e in self.events
            if e["type"] == "reading" and (e["analyte"], e["sample"]) == (analyte, sample)
        ]
        return fits[-1] if fits else None

    def last(self, product: str) -> datetime | None:
        given = [e["at"] for e in self.events if e["type"] == "dose" and e["product"] == product]
        return datetime.fromisoformat(given[-1]) if given else None

    def answer(self) -> dict[str, Any]:
        for choose in (self._fill, self._acts, self._balance, self._run):
            step = choose()
            if step is not None:
                return self._say(step)
        return self._say({"kind": "none", "id": "end"})

    def _fill(self) -> dict[str, Any] | None:
        if self.newest("iron", "fill") is None:
            names = ["iron", "copper", "manganese", "phosphate", "calcium_hardness"]
            return {"kind": "measure", "id": "fill-test", "analytes": names, "sample": "fill"}
        limits = {"iron": 200, "copper": 200, "manganese": 50}
        over = any(self.newest(m, "fill")["value"] > top * 0.8 for m, top in limits.items())
        if over and "metals" not in self.done:
            return {"kind": "confirm", "id": "metals", "action": "prefilter"}
        return None

    def _acts(self) -> dict[str, Any] | None:
        for name, action, value in ACTS_BEFORE:
            if name not in self.done:
                return {"kind": "confirm", "id": name, "action": action, "value": value}
        return None

    def _balance(self) -> dict[str, Any] | None:
        if "full" in self.done:
            return None
        for goal in GOALS:
            step = self._toward(*goal)
            if step is not None:
                return step
        return None

    def _toward(
        self, analyte: str, low: float, high: float, aim: float, up: str | None, down: str | None
    ) -> dict[str, Any] | None:
        reading = self.newest(analyte)
        product = {p for p in (up, down) if p}
        times = [(self.last(self._own(p)), p) for p in product]
        recent = max(((t, p) for t, p in times if t), default=None)
        seen = datetime.fromisoformat(reading["at"]) if reading else None
        if recent and (seen is None or seen < recent[0]):
            ready = recent[0] + timedelta(minutes=WAIT_MIN.get(recent[1], 10.0))
            if self.at < ready:
                return {"kind": "wait", "id": f"mix-{analyte}", "not_before": ready.isoformat()}
            seen = None
        if seen is None or reading is None:
            count = len(self.events)
            return {"kind": "measure", "id": f"test-{analyte}-{count}", "analytes": [analyte]}
        inside = low <= reading["value"] <= high
        self._gate(analyte, low, high, 0.96 if inside else 0.04)
        if inside:
            return None
        if analyte == "free_chlorine" and "around" not in self.done:
            return {"kind": "confirm", "id": "around", "action": "circulate"}
        return self._dose(analyte, reading["value"], aim, up if reading["value"] < low else down)

    def _own(self, product: str) -> str:
        return str(self.kinds[product.partition("-")[0]])

    def _dose(self, analyte: str, value: float, aim: float, product: str | None) -> dict[str, Any]:
        if product is None:
            return {"kind": "ask", "id": "stuck"}
        alkalinity = self.newest("total_alkalinity")
        buffer = alkalinity["value"] if alkalinity else 90.0
        if product in ("acid-1", "raiser-1"):
            grams = {"ph": abs(value - aim) * 0.18, "total_alkalinity": 0.12}[analyte]
            grams *= buffer * self.m3
            if analyte == "total_alkalinity":
                grams = 0.15 * buffer * 2.4 * self.m3
        else:
            half = 0.5 if product == "salt-1" and value < 600 else 0.95
            grams = abs(aim - value) * G_PER_M3[product] * self.m3 * half
        count = len(self.events)
        dose = {"kind": "dose", "id": f"dose-{analyte}-{count}", "product": self._own(product)}
        return {**dose, "amount_g": round(max(grams, 0.1), 1)}

    def _run(self) -> dict[str, Any] | None:
        if "full" not in self.done:
            return {"kind": "confirm", "id": "full", "action": "generator_output", "value": 1.0}
        dosed = self.last(self.kinds["chlorine"]) or self.at
        reading = self.newest("free_chlorine")
        assert reading is not None
        day_after = datetime.fromisoformat(reading["at"]) >= dosed + timedelta(hours=23.5)
        if not day_after and self.at < dosed + timedelta(hours=24):
            until = (dosed + timedelta(hours=24)).isoformat()
            return {"kind": "wait", "id": "day", "not_before": until}
        if not day_after:
            return {"kind": "measure", "id": f"hold-{self.at}", "analytes": ["free_chlorine"]}
        if reading["value"] < 3:
            return self._dose("free_chlorine", reading["value"], 5.0, "chlorine-1")
        for name, action, value in (("eye", "sensor_in", None), ("low", "generator_output", 0.5)):
            if name not in self.done and (name == "low" or self.log["tub"]["has_sensor"]):
                return {"kind": "confirm", "id": name, "action": action, "value": value}
        return None

    def _gate(self, analyte: str, low: float, high: float, chance: float) -> None:
        unit = UNITS.get(analyte, "mg/L")
        gate = {"id": analyte, "analyte": analyte, "low": low, "high": high, "unit": unit}
        state = "open" if chance > 0.5 else "shut"
        needs = f"{low:g} to {high:g}"
        self.gates.append({**gate, "needs": needs, "state": state, "probability": chance})

    def _say(self, step: Mapping[str, Any]) -> dict[str, Any]:
        empty = dict.fromkeys(("action", "value", "product", "amount_g", "fraction", "not_before"))
        filled = {"text": step["id"], **empty, "analytes": [], "sample": "tub", **step}
        return {
            "at": self.at.isoformat(),
            "stage": "simple",
            "complete": step["kind"] == "none",
            "gates": self.gates,
            "step": filled,
            "expect": {},
            "why": ["It believes every value."],
            "cautions": ["Add chemical to water; never mix chemicals; no bathers."],
        }


def next_step(text: str, at: datetime) -> dict[str, Any]:
    """The stand-in's answer to a log."""
    return StandIn(text, at).answer()
