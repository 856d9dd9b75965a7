"""A second world, written anew from the facts of the trade: other laws, other strips, other people.

Chlorine is eaten at a rate of its own that fades over days, bathers come in the evening, the cell
weakens in cool water, the air indoors holds more carbon dioxide, jets never blow twice alike.
Strips have other widths, rounded values and heavier tails; their gross errors are far off and say
so by wide bands. The technician comes late, gives what is at hand, writes events down in any order
and with any offset. Figures are ours (common practice, no published source) unless said otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from tests.tubs.draw import FAMILIES, Facts, Habits, draw, some_products
from tests.tubs.equilibrium import CL2_MG_PER_MMOL, Equilibrium
from tests.tubs.strips import UNITS, Pad, Reader
from tests.tubs.technician import Technician
from tests.tubs.trade import START
from tests.tubs.tub import Tub

FILLS: Mapping[str, tuple[float, float, float, float, float, float]] = {
    # hardness, alkalinity, pH, salt, phosphate, iron of the hose: middle, spread by 15 %
    "ordinary": (120, 100, 7.6, 60, 150, 40),
    "soft": (20, 60, 7.3, 30, 120, 60),
    "hard": (400, 210, 7.4, 90, 120, 40),
    "alkaline": (150, 250, 8.0, 80, 150, 40),
    "weak": (35, 30, 7.0, 20, 100, 60),
    "phosphate": (120, 110, 7.5, 60, 900, 40),
    "softened": (10, 190, 7.7, 110, 150, 30),
    "iron": (130, 110, 7.4, 60, 150, 700),
}


@dataclass(frozen=True)
class World:
    """What the second world has beside the usual facts."""

    eaten_first_day: float
    """Zero-order demand of new water [mg/L a day], of which the rest fades."""
    eaten_settled: float
    fades_per_day: float
    air: float
    """Carbon dioxide in the air, as a multiple of outdoor air."""
    jets_vary: float
    salt_slope: float


def harsh_facts(seed: int, procedure: str = "salt_startup") -> tuple[Facts, World]:
    """The facts of tub number `seed` in the second world."""
    rng = np.random.default_rng([77, 20261125, seed])
    facts = draw(seed, procedure=procedure)
    family = FAMILIES[int(rng.integers(len(FAMILIES)))]
    decay = float(np.exp(rng.uniform(np.log(0.08), np.log(0.9))))
    settled = float(np.exp(rng.uniform(np.log(0.3), np.log(2.5))))
    cell = facts.sanitizer == "salt_chlorine"
    if not cell:
        decay, settled = 0.3 * decay, 0.4 * settled
    world = World(
        eaten_first_day=settled * float(rng.uniform(1.0, 2.0)),
        eaten_settled=settled,
        fades_per_day=float(rng.uniform(0.3, 1.5)),
        air=float(rng.uniform(1.0, 2.5)),
        jets_vary=0.2,
        salt_slope=float(rng.uniform(0.3, 1.2)),
    )
    products = some_products(rng)
    kept = float(rng.uniform(3.8, 12.0))
    stated = float(round(rng.uniform(700, 2000), -1))
    facts = replace(
        facts,
        family=family,
        stated_volume_l=stated,
        volume_l=stated * float(rng.uniform(0.9, 1.1)),
        fill=fill_of(rng, family),
        fill_temperature_c=float(rng.uniform(5, 24)),
        set_temperature_c=float(rng.uniform(35.0, 40.0)),
        heats_c_per_h=float(rng.uniform(0.8, 3.0)),
        strength={p["id"]: 1 + float(rng.uniform(-0.07, 0.07)) for p in products},
        products=products,
        still_loss_per_h=float(np.exp(rng.uniform(np.log(0.002), np.log(0.03)))),
        jets_loss_per_h=float(np.exp(rng.uniform(np.log(0.3), np.log(1.8)))),
        decay_per_day=decay,
        organics_mg_l_day=settled,
        yield_mg_l_day=kept * decay + settled,
        habits=harsh_habits(rng),
    )
    return facts, world


def fill_of(rng: np.random.Generator, family: str) -> dict[str, float]:
    """Fill water of a family, every figure within 15 % (pH 0.3) of its middle."""
    names = ("hardness", "alkalinity", "ph", "salt", "phosphate", "iron")
    levels = dict(zip(names, FILLS[family], strict=True))
    fill = {name: float(level * rng.uniform(0.85, 1.15)) for name, level in levels.items()}
    fill["ph"] = levels["ph"] + float(rng.uniform(-0.3, 0.3))
    fill["copper"], fill["manganese"] = float(rng.uniform(0, 80)), float(rng.uniform(0, 20))
    return fill | {"chlorine": float(rng.uniform(0.0, 1.0))}


def harsh_habits(rng: np.random.Generator) -> Habits:
    """Asks again in most waits, comes late, now and then gives another amount."""
    return Habits(
        source="drop_test" if rng.random() < 0.1 else "photo",
        lot_share=0.0,
        late_min=(0.0, float(rng.choice([0.0, 15.0, 120.0]))),
        asks_halfway=0.5,
        tells_temperature=bool(rng.random() < 0.5),
        waits_for_heat=bool(rng.random() < 0.6),
        enters_sensor=bool(rng.random() < 0.3),
        stray_dose=float(rng.choice([0.0, 0.0, 0.1])),
        stray_share=(0.5, 1.1),
        width=float(rng.uniform(0.8, 1.4)),
        offsets=True,
    )


class HarshTub(Tub):
    """The tub under the second world's laws."""

    world: World
    rng: np.random.Generator
    filled_at: datetime | None = None
    _jets_on: datetime | None = None
    _blow: float = 1.0

    def fill_up(self) -> None:
        super().fill_up()
        self.filled_at, self.demand = self.now, 0.0

    def replace(self, share: float) -> None:
        super().replace(share)
        self.demand = 0.0

    def _eats_per_day(self) -> float:
        world, age = self.world, 9.9
        if self.filled_at is not None:
            age = (self.now - self.filled_at).total_seconds() / 86400
        return world.eaten_settled + (world.eaten_first_day - world.eaten_settled) * math.exp(
            -world.fades_per_day * age
        )

    def _bathing(self, hours: float) -> float:
        """Chlorine eaten in this step by an evening's bathers [mg/L]: a tub in use, 19 to 20 h."""
        evening = self.bathers_mg_l_day > 0 and self.now.hour == 19
        return self.bathers_mg_l_day * min(hours, 1.0) if evening else 0.0

    def _chlorine(self, hours: float) -> None:
        assert self.ions is not None
        warm = 2.0 ** ((self.temperature_c - 38.0) / 10.0)
        level = start = self.ions.hypochlorite * CL2_MG_PER_MMOL
        rate = self.facts.decay_per_day * warm / 24
        made = self._yield_per_h() * hours
        eaten = self._eats_per_day() * hours / 24 + self._bathing(hours)
        keep = math.exp(-rate * hours)
        level = max(0.0, level * keep + (made - eaten) * (1 - keep) / max(rate * hours, 1e-9))
        self.highest_chlorine = max(self.highest_chlorine, level)
        used = (start + made - level) / CL2_MG_PER_MMOL
        self.ions = self.ions.plus(
            hypochlorite=(level - start) / CL2_MG_PER_MMOL,
            chloride=used - made / CL2_MG_PER_MMOL,
        )

    def _yield_per_h(self) -> float:
        if not (self.cell and self.powered and self.ions and self.output > 0):
            return 0.0
        salt = 1.0 + self.world.salt_slope * (self.ions.salt_mg_l / 1750.0 - 1.0)
        cool = 1.0 - 0.01 * max(0.0, 38.0 - self.temperature_c)
        share = min(max(salt, 0.0), 1.15) * max(cool, 0.3)
        return self.output * share * self.facts.yield_mg_l_day / 24

    def _breathe(self, hours: float, jets: bool) -> None:
        assert self.ions is not None
        balance = self.chemistry.solve(self.ions, self.temperature_c)
        if jets and self._jets_on != self.jets_until:
            self._jets_on = self.jets_until
            self._blow = float(np.exp(self.rng.normal(0, self.world.jets_vary)))
        rate = self.facts.jets_loss_per_h * self._blow if jets else self.facts.still_loss_per_h
        rate *= 1.024 ** (self.temperature_c - 38.0)  # usual correction of gas transfer
        if self.output > 0 and self.powered:
            rate += 0.006 * self.output
        gap = balance.co2_mmol - balance.co2_in_air_mmol * self.world.air
        self.ions = self.ions.plus(carbonate=-gap * (1 - math.exp(-rate * hours)))
        self.lowest_ph = min(self.lowest_ph, balance.ph)

    def jets(self, minutes: float) -> None:
        """The jets run about as long as told."""
        super().jets(minutes * float(self.rng.uniform(0.8, 1.3)) if minutes <= 20 else minutes)


class HarshReader(Reader):
    """Strips of another make: one width a pad and tub, rounded values, heavier tails."""

    def _band(self, analyte: str, truth: float, pad: Pad) -> dict[str, float | None]:
        half = self.habits.width * math.hypot(pad.absolute, pad.relative * truth)
        gross = self.rng.random() < self.habits.gross
        error = self._tailed()
        if gross:
            error = float(self.rng.choice([-1, 1]) * self.rng.uniform(1.0, 3.0))
        shown = truth + error * half
        if shown > pad.last:
            return {
                "value": pad.last,
                "low": rounded(analyte, pad.last - 0.84 * half),
                "high": None,
            }
        shown = rounded(analyte, max(shown, pad.first))
        half *= float(self.rng.uniform(2.5, 4.5)) if gross else 1.0
        low = max(shown - half, 0.0) if pad.first == 0 else shown - half
        return {"value": shown, "low": round(low, 3), "high": round(shown + half, 3)}

    def _tailed(self) -> float:
        """An error in half widths of the band, 5 % beyond one: Student's t of eight."""
        return float(self.rng.standard_t(8)) / 2.306


def rounded(analyte: str, level: float) -> float:
    """As another program would print it."""
    if analyte == "ph":
        return round(level, 2)
    return round(level, 1) if UNITS[analyte] == "mg/L" and level < 30 else round(level)


def harsh_technician(
    seed: int,
    ask: Any,
    procedure: str = "salt_startup",
    habits: Callable[[np.random.Generator], Habits] | None = None,
    more: Sequence[Mapping[str, Any]] = (),
) -> Technician:
    """Tub number `seed` of the second world with its technician, other habits and products."""
    facts, world = harsh_facts(seed, procedure)
    if habits is not None:
        facts = replace(facts, habits=habits(np.random.default_rng([78, seed])))
    facts = replace(facts, products=(*facts.products, *map(dict, more)))
    chemistry = Equilibrium()
    tub = HarshTub(facts, chemistry, START)
    tub.world, tub.rng = world, np.random.default_rng([13, seed])
    reader = HarshReader(facts.habits, np.random.default_rng([17, seed]))
    return Technician(facts, chemistry, ask, tub=tub, reader=reader)
