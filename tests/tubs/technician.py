"""The technician: does to the letter what the answer says, and enters it in the log."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from typing import Any

import numpy as np

from tests.tubs.draw import Facts
from tests.tubs.equilibrium import Equilibrium
from tests.tubs.letter import departures, moment
from tests.tubs.record import LETTER, RULE, SOFT, Record
from tests.tubs.strips import Reader
from tests.tubs.trade import START
from tests.tubs.tub import Tub
from tests.tubs.watch import Watch, brief

MINUTES = {
    "prefilter": 10, "cell_in": 15, "power_on": 10, "heat": 5, "generator_output": 1,
    "circulate": 10, "clean_filter": 10, "sensor_in": 15, "drain": 60, "purge": 45,
}  # fmt: skip
HOSE_L_PER_MIN = 15.0
OFFSETS_H = (0, 2, -5, 5.5, -8)
FED_MG_L_DAY = 1.2
MOST_ANSWERS = 12

NextStep = Callable[[str, datetime], Mapping[str, Any]]
Meddle = Callable[["Technician"], None]


class Technician:
    """One tub, one log, one walk."""

    def __init__(
        self,
        facts: Facts,
        chemistry: Equilibrium,
        ask: NextStep,
        tub: Tub | None = None,
        reader: Reader | None = None,
    ) -> None:
        self.facts, self.ask = facts, ask
        self.rng = np.random.default_rng([7, facts.seed])
        self.tub = tub or Tub(facts, chemistry, START)
        self.reader = reader or Reader(facts.habits, np.random.default_rng([11, facts.seed]))
        self.record = Record(facts)
        self.watch = Watch(self.record, self.tub)
        self.products = {p["id"]: p for p in facts.products}
        self.away = facts.habits.away_days
        self.answer: Mapping[str, Any] = {}
        self.events: list[dict[str, Any]] = []
        self.meddle: Meddle | None = None
        self.forgotten: set[str] = set()
        self.pen = np.random.default_rng([5, facts.seed])
        self.answered = 0
        if facts.procedure == "upkeep":
            self.tub.in_use(self.rng.uniform(0.2, 1.5))

    # ---- the walk
    def walk(self, most_steps: int = 150, most_days: float = 30.0) -> Record:
        record = self.record
        while record.ended == "running":
            if record.steps >= most_steps or self.days > most_days:
                kept = self.facts.procedure == "upkeep" and record.steps < most_steps
                record.ended = "complete" if kept else "too long"
                break
            if self.meddle is not None:
                self.meddle(self)
            self._turn()
        record.days = self.days
        if self.tub.filled:
            self.watch.at_the_end()
        record.use = dict(self.tub.given)
        record.log = json.loads(self.log_text())
        if self.tub.filled:
            self.tub.advance(self.tub.now + timedelta(days=1))
            record.chlorine_next_day = self.tub.truth()["free_chlorine"]
        return record

    def keep_up(self, most_steps: int, days: float) -> Record:
        """Go on with the same log under the procedure of upkeep, the tub now in use."""
        if self.record.ended != "complete":
            return self.record
        self.record.trace.append("    == upkeep")
        self.facts = self.tub.facts = replace(self.facts, procedure="upkeep")
        self.tub.bathers_mg_l_day = float(self.rng.uniform(0.2, 1.5))
        self.watch.kept_from = self.tub.now
        self.record.ended = "running"
        return self.walk(self.record.steps + most_steps, self.days + days)

    @property
    def days(self) -> float:
        return (self.tub.now - START).total_seconds() / 86400

    def _turn(self) -> None:
        answer = self._question(self.log_text())
        if answer is None:
            return
        self.answer = answer
        self.watch.answer(answer)
        step = answer["step"]
        self.record.trace.append(self._line(answer))
        self.record.steps += step["kind"] != "none"
        getattr(self, f"_do_{step['kind']}")(step)

    def _question(self, text: str) -> Mapping[str, Any] | None:
        """Ask, time it, and hold the answer to the letter; None ends the walk."""
        begun = time.perf_counter()
        try:
            answer = self.ask(text, self.tub.now)
        except Exception as fault:  # the walk reports whatever the engine does
            self.record.fault(RULE, "no_answer", self.tub.now, f"{type(fault).__name__}: {fault}")
            self.record.ended = "error"
            self.record.log = json.loads(text)
            return None
        self.record.engine_s.append(time.perf_counter() - begun)
        found = departures(answer, self.tub.now, set(self.products))
        for sentence in found:
            self.record.fault(LETTER, "letter", self.tub.now, sentence)
        if any("lacks" in s or "step kind" in s or "no object" in s for s in found):
            self.record.ended = "error"
            return None
        if self.rng.random() < 0.05:
            self._same_again(answer)
        return answer

    def _same_again(self, answer: Mapping[str, Any]) -> None:
        """The order of events in the file and the offset of times do not matter."""
        shuffled = json.loads(self.log_text())
        self.rng.shuffle(shuffled["events"])
        if unplaced(self.ask(json.dumps(shuffled), self.tub.now)) != unplaced(answer):
            self.record.fault(RULE, "order_in_file_matters", self.tub.now, "events shuffled")
        if unplaced(self.ask(self.log_text(), self.tub.now)) != unplaced(answer):
            self.record.fault(RULE, "not_repeatable", self.tub.now, "same log, same time")

    def log_text(self) -> str:
        facts, told = self.facts, 38.0
        if facts.habits.tells_temperature and self.tub.filled:
            told = round(self.tub.temperature_c, 1)
        tub = {
            "name": f"Tub {facts.seed}",
            "volume_l": facts.stated_volume_l,
            "temperature_c": told,
            "sanitizer": facts.sanitizer,
            "has_sensor": facts.has_sensor,
        }
        events = self.jumbled() if facts.habits.offsets else self.events
        log = {"tub": tub, "procedure": facts.procedure, "products": list(facts.products)}
        return json.dumps({**log, "events": events})

    def jumbled(self) -> list[dict[str, Any]]:
        """The events in any order, with any offset."""
        events = [dict(event) for event in self.events]
        self.pen.shuffle(events)
        for place, event in enumerate(events):
            offset = timezone(timedelta(hours=OFFSETS_H[(place + len(events)) % len(OFFSETS_H)]))
            event["at"] = datetime.fromisoformat(event["at"]).astimezone(offset).isoformat()
        return events

    def _line(self, answer: Mapping[str, Any]) -> str:
        step = answer["step"]
        what = {
            "measure": f"{','.join(step['analytes'])} of {step['sample']}",
            "dose": f"{step['product']} {step['amount_g']} g",
            "wait": f"until {step['not_before']} {step['action'] or ''}",
            "confirm": f"{step['action']} {'' if step['value'] is None else step['value']}",
            "replace_water": f"{step['fraction']}",
        }.get(step["kind"], step["text"])
        truth = brief(self.tub.truth()) if self.tub.filled else "empty"
        day = f"d{self.days:5.2f}"
        return f"{day} {answer['stage']:<22} {step['kind']} {what} [{step['id']}] | {truth}"

    # ---- helpers of time and log
    def pass_minutes(self, minutes: float) -> None:
        whole = timedelta(seconds=max(1, round(minutes * 60)))
        self.tub.advance(self.tub.now + whole)

    def enter(self, **event: Any) -> None:
        """Write an event down, perhaps some minutes later and with that time."""
        habits = self.facts.habits
        if habits.enters_late_min[1] > 0 and event["type"] != "reading":
            self.pass_minutes(self.pen.uniform(*habits.enters_late_min))
        self.events.append({"at": self.tub.now.isoformat(), **event})
        if len(self.events) > 1 and habits.swaps and self.pen.random() < habits.swaps:
            one, two = self.events[-2:]
            one["at"], two["at"] = two["at"], one["at"]
            self.record.trace.append("      (times of the last two entries exchanged)")

    # ---- what the answer asks for
    def _do_measure(self, step: Mapping[str, Any]) -> None:
        self.record.measures += 1
        if step["sample"] == "tub" and not self.tub.filled:
            self.record.fault(RULE, "order", self.tub.now, "measure the water of an empty tub")
            self.record.ended = "error"
            return
        self.pass_minutes(3)
        truth, at = self.tub.truth(step["sample"]), self.tub.now.isoformat()
        for analyte in step["analytes"]:
            event = self.reader.read(analyte, truth[analyte], step["sample"], at)
            self.watch.measured(analyte, step["sample"], event["value"], truth[analyte])
            self._enter_reading(event)
        if step["sample"] == "tub" and self.tub.sensor_since and self.facts.habits.enters_sensor:
            settled = self.tub.now - self.tub.sensor_since >= timedelta(hours=24)
            for analyte in set(step["analytes"]) & {"ph", "free_chlorine"}:
                self.events.append(self.reader.sensor(analyte, truth[analyte], settled, at))
        self.pass_minutes(1)

    def _enter_reading(self, event: dict[str, Any]) -> None:
        self.record.readings += 1
        self.events.append(event)
        band = f"{event['value']:g} [{event.get('low')}, {event.get('high')}]"
        self.record.trace.append(f"      {event['analyte']} {band} {event['source']}")

    def _do_dose(self, step: Mapping[str, Any]) -> None:
        product = self.products.get(step["product"])
        if product is None:
            self.record.fault(RULE, "unknown_product", self.tub.now, str(step["product"]))
            self.record.ended = "error"
            return
        self.pass_minutes(2)
        printed = float(step["amount_g"])
        if self.rng.random() < self.facts.habits.stray_dose:
            printed = float(round(printed * self.rng.uniform(*self.facts.habits.stray_share), 1))
        scaled = printed * (1 + self.rng.normal(0, 0.01 / 1.96))
        self.watch.dose(product, scaled)
        if not self.tub.filled:
            self.record.ended = "error"
            return
        self.tub.add(product, scaled)
        self.tub.jets(15)
        self.enter(type="dose", product=step["product"], amount_g=printed)

    def _do_wait(self, step: Mapping[str, Any]) -> None:
        until = moment(step["not_before"])
        if until is None or until <= self.tub.now:
            self.record.ended = "error"
            return
        if step["action"] == "aerate":
            self.tub.jets((until - self.tub.now).total_seconds() / 60)
        if self.rng.random() < self.facts.habits.asks_halfway:
            self._ask_halfway(until)
        self.tub.advance(until)
        self.watch.waited()
        if self.facts.habits.enters_waits:
            self.enter(type="done", step=step["id"])
        self.pass_minutes(max(self.rng.uniform(*self.facts.habits.late_min), 0.0))
        if self.away and self.days > 1.5 and self.rng.random() < 0.3:
            self.pass_minutes(self.away * 1440)
            self.away = 0.0

    def _ask_halfway(self, until: datetime) -> None:
        now = self.tub.now
        half = (until - now) * float(self.rng.uniform(0.2, 0.9))
        self.tub.advance(now + timedelta(seconds=int(half.total_seconds())))
        if self.tub.now == now or self.tub.now >= until:
            return
        again = self._question(self.log_text())
        if again is not None:
            self.watch.wait_again(self.answer, again)
            self.watch.answer(again)

    def _do_confirm(self, step: Mapping[str, Any]) -> None:
        action, value = step["action"], step["value"]
        if action not in MINUTES and action != "fill":
            self.record.ended = "error"
            return
        if step["id"] in self.forgotten:  # done before, only not entered
            self.forgotten.discard(step["id"])
            self.enter(type="done", step=step["id"])
            return
        self.watch.confirm(action, value, step["id"])
        getattr(self, f"_act_{action}", lambda _: None)(value)
        minutes = MINUTES.get(action, 0)
        if action in ("circulate", "purge"):
            self.tub.jets(minutes)
        self.pass_minutes(minutes)
        if action == "heat" and self.facts.habits.waits_for_heat:
            self._wait_for_heat(float(value))
        if step["id"].startswith("feeder_set"):
            self.tub.feeds_mg_l_day = FED_MG_L_DAY
        if self.pen.random() < self.facts.habits.skips_done:
            self.forgotten.add(step["id"])
            return
        self.enter(type="done", step=step["id"])

    def _act_prefilter(self, _: float | None) -> None:
        self.tub.prefilter = True

    def _act_cell_in(self, _: float | None) -> None:
        self.tub.cell = True

    def _act_fill(self, _: float | None) -> None:
        self.pass_minutes(self.facts.volume_l / HOSE_L_PER_MIN)
        self.tub.fill_up()

    def _act_power_on(self, _: float | None) -> None:
        self.tub.powered = True

    def _act_heat(self, value: float) -> None:
        self.tub.heater_c = float(value)

    def _act_generator_output(self, value: float) -> None:
        self.tub.output = float(value)

    def _act_clean_filter(self, _: float | None) -> None:
        self.tub.in_filter = 0.0

    def _act_sensor_in(self, _: float | None) -> None:
        self.tub.sensor_since = self.tub.now

    def _act_drain(self, _: float | None) -> None:
        self.tub.drain()

    def _wait_for_heat(self, goal: float) -> None:
        for _ in range(60):
            if self.tub.temperature_c >= goal - 0.3 or not self.tub.filled:
                return
            self.pass_minutes(30)

    def _do_replace_water(self, step: Mapping[str, Any]) -> None:
        share = float(step["fraction"])
        self.pass_minutes(60)
        self.tub.replace(min(1.0, share * (1 + self.rng.normal(0, 0.02))))
        self.tub.jets(15)
        self.enter(type="replaced_water", fraction=share)

    def _do_ask(self, step: Mapping[str, Any]) -> None:
        self.record.asked.append(step["text"])
        missing = re.search(r"About ([\d.]+) g of bromine are missing", step["text"])
        if missing is None or self.answered >= MOST_ANSWERS:
            self.record.ended = "ask"
            return
        self.answered += 1
        grams = float(missing[1])
        self.tub.bromine += grams * self.rng.uniform(0.85, 1.1) * 1000 / self.facts.volume_l
        self.tub.jets(15)
        self.enter(type="dose", product="bromine-1", amount_g=grams)
        self.pass_minutes(15)

    def _do_none(self, _: Mapping[str, Any]) -> None:
        self.record.ended = "complete"
        ph = self.tub.truth()["ph"] if self.tub.filled else 0.0
        if not 7.0 <= ph <= 8.0:
            self.record.fault(SOFT, "left_out_of_range", self.tub.now, f"pH {ph:.2f}")


def unplaced(answer: Mapping[str, Any]) -> dict[str, Any]:
    """An answer without the places of events in the file, which a caution may name."""
    cautions = sorted(re.sub(r"events\[\d+\]", "events[]", one) for one in answer["cautions"])
    return {**answer, "cautions": cautions}
