"""What the log has taught the belief about a tub, held against the truth of the simulation."""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from dosing.history import History
from dosing.log import load_log
from dosing.procedure import load_builtin
from dosing.products import generic_products, load_products
from dosing.state import TUB_PRIORS
from dosing.water import Water
from tests.tubs.record import Record

NORMAL_95 = 1.959964


@dataclass(frozen=True)
class Learned:
    """One thing believed of a tub at the end of its log, as natural logarithms."""

    name: str
    truth: float
    mean: float
    sd: float
    prior_sd: float

    @property
    def z(self) -> float:
        return (self.truth - self.mean) / self.sd


def learned(record: Record) -> list[Learned]:
    """Volume, strengths of the products given, generator's yield and CO2 loss of one tub."""
    water = _water(record)
    facts, belief = record.facts, water.state.belief
    truths = {
        "volume": (facts.volume_l, (water.volume_l, *water.volume_band_l())),
        "still": (facts.still_loss_per_h, water.co2_loss_per_h()),
        "jets": (facts.jets_loss_per_h, water.co2_loss_per_h(aerated=True)),
    }
    if any("generator_full" in str(event.get("step")) for event in record.log["events"]):
        truths["yield"] = (facts.yield_mg_l_day, water.yield_mg_l_day())
    found = [
        Learned(name, math.log(truth), *_ln(*told), TUB_PRIORS[name][1])
        for name, (truth, told) in truths.items()
    ]
    for product, strength in facts.strength.items():
        entry = f"strength of {product}"
        if entry in belief.index:
            kind = product.rpartition("-")[0]
            mean, sd = belief.of(entry), belief.sd(entry)
            found.append(Learned(f"strength {kind}", math.log(strength), mean, sd, 0.07 / 1.96))
    return [*found, *_loss(record, water)]


def _ln(middle: float, low: float, high: float) -> tuple[float, float]:
    return math.log(middle), 0.5 * math.log(high / low) / NORMAL_95


def _water(record: Record) -> Water:
    last = max(datetime.fromisoformat(event["at"]) for event in record.log["events"])
    at = last + timedelta(minutes=1)
    log = load_log(json.dumps(record.log), "log", at)
    products = load_products(log.products) if log.products else generic_products()
    return History(log, load_builtin(log.procedure), products, at).water


def _loss(record: Record, water: Water) -> Iterable[Learned]:
    """Free chlorine after a day in which nothing was done [mg/L]."""
    if record.chlorine_next_day is None:
        return
    low, high = water.later(24.0).band("free_chlorine")
    mean, sd = 0.5 * (low + high), 0.5 * (high - low) / NORMAL_95
    yield Learned("chlorine a day later", record.chlorine_next_day, mean, sd, math.inf)


def table(records: Sequence[Record]) -> str:
    """Coverage of the 95 % bands and how much narrower they are than before the first reading."""
    by_name: dict[str, list[Learned]] = defaultdict(list)
    for record in records:
        if record.completed:
            for one in learned(record):
                by_name[one.name].append(one)
    lines = ["learned (95 % band)                cases  holds  z mean    sd   sd over prior's"]
    for name, all_ in sorted(by_name.items()):
        z = np.array([one.z for one in all_])
        narrower = float(np.median([one.sd / one.prior_sd for one in all_]))
        lines.append(
            f"  {name:<30} {len(all_):6d} {np.mean(np.abs(z) < NORMAL_95):6.3f} "
            f"{z.mean():7.2f} {z.std():6.2f} {narrower:8.2f}"
        )
    return "\n".join(lines)
