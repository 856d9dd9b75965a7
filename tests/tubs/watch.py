"""The umpire: holds every answer and every act against the truth and the rules of the trade."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from tests.tubs.equilibrium import Ions
from tests.tubs.record import CHANCE, RULE, SOFT, Forecast, GateSeen, Record
from tests.tubs.trade import (
    AIM,
    METAL_LIMIT,
    METALS,
    MOVES,
    NEEDS_OPEN,
    NEEDS_OPEN_CHLORINE,
    RANK,
    RETEST_AFTER,
    SERVES,
    START,
    TOLERANCE,
    UPKEEP_DAYS,
)
from tests.tubs.tub import Tub, brought


class Watch:
    """Keeps what was done and when, and writes faults into the record."""

    def __init__(self, record: Record, tub: Tub) -> None:
        self.record, self.tub = record, tub
        self.opened: set[str] = set()
        self.open_now: set[str] = set()
        self.faulty_open: set[str] = set()
        self.dosed: dict[str, datetime] = {}
        self.acted: dict[str, datetime] = {}
        self.done_ids: set[str] = set()
        self.pending: dict[tuple[str, str], tuple[float, float]] = {}
        self.chlorine_readings: list[tuple[datetime, float, float]] = []
        self.output_since: datetime | None = None
        self.salted = False
        self.kept_from = START
        self.times: dict[str, list[datetime]] = {}
        self.salty = tub.facts.procedure in ("salt_startup", "upkeep")
        self.products = {p["id"]: p for p in tub.facts.products}

    # ---- answers
    def answer(self, answer: Mapping[str, Any]) -> None:
        for gate in answer["gates"]:
            self._gate(gate)
        step, kind = answer["step"], answer["step"]["kind"]
        if not answer["why"]:
            self._say(SOFT, "no_why", f"{kind} {step['id']} gives no reason")
        if kind == "dose" and step["product"] in self.products:
            self._decided(answer["gates"], self.products[step["product"]]["kind"])
        for analyte, band in answer["expect"].items():
            self.pending[analyte, kind] = (band["low"], band["high"])

    def _decided(self, gates: Sequence[Mapping[str, Any]], product: str) -> None:
        """No dose unless a gate that it serves is shut."""
        analytes = SERVES.get(product, ())
        states = {g["id"]: g["state"] for g in gates if g["analyte"] in analytes}
        if states and "shut" not in states.values():
            self._say(RULE, "dose_on_undecided", f"{product} with gates {states}")

    def _gate(self, gate: Mapping[str, Any]) -> None:
        analyte, name = gate["analyte"], gate["id"]
        if analyte is None or gate["probability"] is None:
            self.faulty_open.discard(name)
            return
        fill = analyte in METALS or "fill" in name or not self.tub.filled
        truth = self.tub.truth("fill" if fill else "tub")[analyte]
        beyond = outside(truth, gate["low"], gate["high"])
        self.record.gates.append(GateSeen(name, analyte, gate["probability"], beyond <= 0))
        if gate["state"] != "open":
            self.faulty_open.discard(name)
            return
        if not fill:
            self.opened.add(analyte)
        absolute, relative = TOLERANCE.get(analyte, (0.0, 0.1))
        limit = gate["low"] if gate["low"] is not None and truth < gate["low"] else gate["high"]
        allowed = absolute + relative * (limit or 0.0)
        if beyond > 0 and name not in self.faulty_open:
            self.faulty_open.add(name)
            kind = RULE if beyond > allowed else SOFT
            code = "open_but_outside" if kind == RULE else "open_but_just_outside"
            self._say(kind, code, f"{name} open at {gate['probability']:.3f}, truth {truth:.4g}")

    # ---- measurements
    def measured(self, analyte: str, sample: str, shown: float, truth: float) -> None:
        if sample != "tub":
            return
        self._foreseen("measure", {analyte: truth}, shown)
        self.times.setdefault(analyte, []).append(self.tub.now)
        if analyte == "free_chlorine":
            self.chlorine_readings.append((self.tub.now, shown, truth))
        self._too_early(analyte)

    def _foreseen(self, kind: str, truth: Mapping[str, float], shown: float | None = None) -> None:
        """Hold what a step of this kind let expect against what came."""
        for analyte in [name for name, of in self.pending if of == kind and name in truth]:
            low, high = self.pending.pop((analyte, kind))
            came, (cause, age_h) = truth[analyte], self._cause(analyte)
            self.record.forecasts.append(
                Forecast(analyte, kind, low, high, came, shown, cause, age_h)
            )

    def _cause(self, analyte: str) -> tuple[str, float]:
        """What moved an analyte since it was read, and how long ago that was."""
        read = self.times.get(analyte, [START])[-1]
        age_h = (self.tub.now - read).total_seconds() / 3600
        since = [(at, kind) for kind, at in self.dosed.items() if at >= read]
        if since:
            return max(since)[1], age_h
        return ("air" if self.tub.aired_at and self.tub.aired_at > read else "time"), age_h

    def waited(self) -> None:
        """The wait is over: what it let expect is due."""
        self._foreseen("wait", self.tub.truth() if self.tub.filled else {})

    def _too_early(self, analyte: str) -> None:
        kind, least = RETEST_AFTER.get(analyte, ("", 0.0))
        if kind not in self.dosed:
            return
        if least is None:
            least = 60.0 * max(
                p["acts_over_h"] for p in self.products.values() if p["kind"] == kind
            )
        since = (self.tub.now - self.dosed[kind]).total_seconds() / 60
        if since < least - 0.5:
            self._say(RULE, "wait_cut_short", f"{analyte} tested {since:.0f} min after {kind}")

    # ---- doses
    def dose(self, product: Mapping[str, Any], grams: float) -> None:
        """Call before the dose goes in."""
        kind = product["kind"]
        if not self.tub.filled:
            self._say(RULE, "order", f"dose of {kind} into an empty tub")
            return
        self._gas(kind)
        self._in_order(kind)
        before, after = self.tub.truth(), self._after(product, grams)
        self._sign(kind, before)
        self._far_limit(kind, before, after)
        self._need(kind, before, after)
        self.dosed[kind] = self.tub.now
        self._foreseen("dose", after)

    def _gas(self, kind: str) -> None:
        other = {"acid": "chlorinating", "chlorinating": "acid"}.get(kind)
        if other in self.dosed and self.tub.now - self.dosed[other] < timedelta(minutes=10):
            self._say(RULE, "acid_and_chlorine", f"{kind} within 10 min of {other}")
        others = [k for k in self.dosed if k != kind]
        if any(self.tub.now - self.dosed[k] < timedelta(minutes=5) for k in others):
            self._say(SOFT, "two_products_at_once", f"{kind} within 5 min of another product")

    def _in_order(self, kind: str) -> None:
        rank = RANK.get(kind)
        salty = self.tub.facts.procedure == "salt_startup"
        if rank is None or self.tub.facts.procedure == "upkeep":
            return
        needs = (NEEDS_OPEN if salty else NEEDS_OPEN_CHLORINE).get(rank, ())
        missing = [a for a in needs if a not in self.opened]
        if missing:
            self._say(RULE, "order", f"{kind} before the gates of {', '.join(missing)} opened")
        if kind == "chlorinating" and salty and "circulate" not in self.acted:
            self._say(RULE, "order", "first chlorine without the circulation before it")

    def _after(self, product: Mapping[str, Any], grams: float) -> dict[str, float]:
        """The truth once the dose has mixed and acted."""
        tub, per_l = self.tub, grams * 1000 / self.tub.facts.volume_l
        per_l *= tub.facts.strength.get(product["id"], 1.0)
        after = tub.truth()
        kind = product["kind"]
        if kind == "softening_medium":
            take = per_l / 1000 * product["removes_mg_caco3_per_g"]
            return {**after, "calcium_hardness": max(0.0, after["calcium_hardness"] - take)}
        if kind == "phosphate_remover":
            take = per_l / 1000 * product["removes_ug_per_g"]
            return {**after, "phosphate": max(0.0, after["phosphate"] - take)}
        if kind == "dechlorinating":
            take = per_l / 1000 * product["removes_mg_cl2_per_g"]
            return {**after, "free_chlorine": max(0.0, after["free_chlorine"] - take)}
        if "formula" not in product:
            return after
        assert tub.ions is not None
        ions: Ions = tub.ions.plus(**brought(product, per_l))
        for unmixed in tub.unmixed:
            ions = ions.plus(**unmixed)
        held, tub.ions = tub.ions, ions
        try:
            return tub.truth()
        finally:
            tub.ions = held

    def _sign(self, kind: str, truth: Mapping[str, float]) -> None:
        ph, ta, ch = truth["ph"], truth["total_alkalinity"], truth["calcium_hardness"]
        wrong = {
            "acid": ph < 7.05,
            "base_carbonate": ph > 7.9,
            "bicarbonate": ta > 150,
            "calcium": ch > (75 if self.salty else 300),
            "softening_medium": ch < 25,
            "salt": truth["salt"] > 1960,
            "chlorinating": truth["free_chlorine"] > 6.0,
            "dechlorinating": truth["free_chlorine"] < 4.0,
            "phosphate_remover": truth["phosphate"] < 120,
        }.get(kind, True)
        needless = {
            "acid": 7.25 < ph < 7.75 and ta < 150,
            "base_carbonate": ph > 7.3,
            "bicarbonate": ta > 100,
            "calcium": ch > 50 and self.salty,
            "softening_medium": ch < 60,
            "salt": truth["salt"] > 1750,
            "chlorinating": truth["free_chlorine"] > 5.0,
            "dechlorinating": truth["free_chlorine"] < 9.0,
            "phosphate_remover": truth["phosphate"] < 250,
        }.get(kind, False)
        if wrong:
            self._say(RULE, "wrong_sign", f"{kind} at {brief(truth)}")
        elif needless:
            self._say(SOFT, "needless", f"{kind} at {brief(truth)}")

    def _far_limit(
        self, kind: str, before: Mapping[str, float], after: Mapping[str, float]
    ) -> None:
        checks = {
            "acid": (("ph", 7.0, -1), ("total_alkalinity", 60, -1)),
            "base_carbonate": (("ph", 7.8, 1), ("total_alkalinity", 150, 1)),
            "bicarbonate": (("total_alkalinity", 150, 1),),
            "calcium": (("calcium_hardness", 75 if self.salty else 400, 1),),
            "softening_medium": (("calcium_hardness", 25, -1),),
            "salt": (("salt", 2000, 1),),
            "chlorinating": (("free_chlorine", 10, 1),),
        }
        for analyte, limit, way in checks.get(kind, ()):
            if way * (after[analyte] - limit) > 0 and way * (before[analyte] - limit) <= 0:
                change = f"{analyte} {before[analyte]:.4g} to {after[analyte]:.4g}"
                self._say(CHANCE, "past_far_limit", f"{kind} moves {change}")

    def _need(self, kind: str, before: Mapping[str, float], after: Mapping[str, float]) -> None:
        analyte = MOVES.get(kind)
        if analyte is None or (analyte == "calcium_hardness" and not self.salty):
            return
        need, moved = AIM[analyte] - before[analyte], after[analyte] - before[analyte]
        ratio = moved / need if need else 99.0
        absolute, _ = TOLERANCE[analyte]
        if ratio > 1.5 and abs(moved) - abs(need) > 3 * absolute:
            span = f"{before[analyte]:.4g} to {after[analyte]:.4g}"
            self._say(SOFT, "over_the_need", f"{kind}: {analyte} {span}")
        if kind == "salt" and not self.salted:
            self.salted = True
            if ratio > 0.65:
                self._say(RULE, "over_half_of_the_salt", f"first salt is {ratio:.2f} of the need")

    # ---- acts
    def confirm(self, action: str, value: float | None, step_id: str) -> None:
        """Call before the act changes the tub."""
        if step_id in self.done_ids:
            self._say(RULE, "same_id_again", f"{action} has the id {step_id} of an act done before")
        self.done_ids.add(step_id)
        check = getattr(self, f"_before_{action}", None)
        if check is not None:
            check(value)
        self.acted[action] = self.tub.now

    def given_by_others(self, kind: str) -> None:
        """A product went in that no answer asked for."""
        self.dosed[kind] = self.tub.now

    def _before_drain(self, _: float | None) -> None:
        """New water begins anew."""
        self.opened.clear()
        self.dosed.clear()
        self.acted.clear()
        self.pending.clear()
        self.chlorine_readings.clear()
        self.output_since, self.salted = None, False

    def _before_fill(self, _: float | None) -> None:
        salty = self.tub.facts.procedure == "salt_startup"
        if self.tub.filled:
            self._say(RULE, "order", "filled while full")
        if salty and not self.tub.cell:
            self._say(RULE, "order", "filled before the cell was in")
        for metal, level in self.tub.hose_metals().items():
            if level > METAL_LIMIT[metal] * 1.15 + 10:
                self._say(RULE, "order", f"filled with {metal} at {level:.0f} ug/L from the hose")

    def _before_cell_in(self, _: float | None) -> None:
        if self.tub.filled and self.tub.facts.procedure == "salt_startup":
            self._say(RULE, "order", "cell in after the water")

    def _before_power_on(self, _: float | None) -> None:
        if not self.tub.filled:
            self._say(RULE, "order", "power on with the tub empty")

    def _before_heat(self, _: float | None) -> None:
        if not (self.tub.filled and self.tub.powered):
            self._say(RULE, "order", "heating without water or power")

    def _before_generator_output(self, value: float | None) -> None:
        if not value or self.tub.facts.procedure != "salt_startup":
            return
        self._tuned(value)
        self.output_since = self.output_since or self.tub.now
        if "salt" not in self.opened:
            self._say(RULE, "generator_before_salt_gate", f"output {value}, gate never open")
        elif not 1500 * 0.96 <= self.tub.truth()["salt"] <= 2000 * 1.03:
            salt = self.tub.truth()["salt"]
            self._say(RULE, "generator_before_salt_gate", f"output {value} at salt {salt:.0f}")
        if "free_chlorine" not in self.opened:
            self._say(RULE, "order", "generator on before the first chlorine's gate opened")

    def _tuned(self, value: float) -> None:
        """Where the chlorine would settle at the output that was set at last."""
        facts = self.tub.facts
        made = value * facts.yield_mg_l_day * min(1.1, self.tub.truth()["salt"] / 1750.0)
        settles = (made - facts.organics_mg_l_day) / facts.decay_per_day
        if self.output_since and value < 1 and not 2.0 <= settles <= 9.0:
            self._say(SOFT, "tuned_badly", f"output {value:g} settles at {settles:.1f} mg/L")

    def _before_sensor_in(self, _: float | None) -> None:
        if self.tub.facts.procedure != "salt_startup":
            return
        last = self.dosed.get("chlorinating")
        held = [
            truth
            for at, shown, truth in self.chlorine_readings
            if shown >= 3 and last and at - last >= timedelta(hours=23.5)
        ]
        if self.output_since is None:
            self._say(RULE, "order", "sensor in before the generator was on")
        if not held:
            self._say(RULE, "sensor_before_hold", "no residual of 3 mg/L 23.5 h after the dose")
        elif max(held) < 3 * 0.8:
            self._say(SOFT, "sensor_on_a_false_hold", f"the truth held {max(held):.2f} mg/L")

    def wait_again(self, first: Mapping[str, Any], again: Mapping[str, Any]) -> None:
        """The same question halfway through a wait."""
        one, two = first["step"], again["step"]
        if two["kind"] != "wait":
            self._say(RULE, "wait_cut_short", f"halfway through {one['id']}: {two['kind']}")
        elif (one["not_before"], one["id"]) != (two["not_before"], two["id"]):
            was, now = (f"{s['id']} until {s['not_before']}" for s in (one, two))
            self._say(SOFT, "wait_moved", f"{was} became {now}")

    def at_the_end(self) -> None:
        """What the customer is left with, and what went by unseen in between."""
        if self.tub.facts.procedure == "upkeep":
            self._rhythm()
        if self.tub.highest_chlorine > 10:
            self._say(CHANCE, "chlorine_over_10", f"reached {self.tub.highest_chlorine:.1f} mg/L")
        if self.tub.truth()["salt"] > 2000 and self.tub.facts.procedure == "salt_startup":
            self._say(CHANCE, "salt_over_2000", f"{self.tub.truth()['salt']:.0f} mg/L")

    def _rhythm(self) -> None:
        """Upkeep: alkalinity and hardness every ten days, phosphate every thirty."""
        for analyte, days in UPKEEP_DAYS.items():
            times = [self.kept_from, *self.times.get(analyte, []), self.tub.now]
            times = sorted(max(time, self.kept_from) for time in times)
            gap = max(b - a for a, b in itertools.pairwise(times))
            if gap > timedelta(days=days + 1):
                self._say(RULE, "upkeep_missed", f"{analyte} not tested for {gap.days} days")

    def _say(self, kind: str, code: str, detail: str) -> None:
        self.record.fault(kind, code, self.tub.now, detail)


def outside(level: float, low: float | None, high: float | None) -> float:
    """How far beyond its limits a level is; zero or less inside."""
    below = -1.0 if low is None else low - level
    above = -1.0 if high is None else level - high
    return max(below, above)


def brief(truth: Mapping[str, float]) -> str:
    """The truth in one line."""
    return (
        f"pH {truth['ph']:.2f} TA {truth['total_alkalinity']:.0f} "
        f"CH {truth['calcium_hardness']:.0f} PO4 {truth['phosphate']:.0f} "
        f"salt {truth['salt']:.0f} FC {truth['free_chlorine']:.1f}"
    )
