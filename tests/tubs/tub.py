"""The simulated tub: water, cell, filter and heater moving through time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from tests.tubs.draw import Facts
from tests.tubs.equilibrium import CL2_MG_PER_MMOL, Equilibrium, Ions

# mmol of each ion that a gram of the pure compound brings; molar masses IUPAC conventional,
# as in Atomic weights of the elements 2021, Pure Appl. Chem. 94 (5), 2022.
MOLAR_MASS_G = {
    "NaHCO3": 84.006, "Na2CO3": 105.988, "NaHSO4": 120.054, "HCl": 36.458, "H2SO4": 98.072,
    "CaCl2": 110.978, "CaCl2.2H2O": 147.008, "NaCl": 58.440, "NaOCl": 74.439,
    "Ca(OCl)2": 142.976, "NaCl2C3N3O3.2H2O": 255.971,
}  # fmt: skip
BRINGS: Mapping[str, Mapping[str, float]] = {
    "NaHCO3": {"sodium": 1, "carbonate": 1},
    "Na2CO3": {"sodium": 2, "carbonate": 1},
    "NaHSO4": {"sodium": 1, "sulfate": 1},
    "HCl": {"chloride": 1},
    "H2SO4": {"sulfate": 1},
    "CaCl2": {"calcium": 1, "chloride": 2},
    "CaCl2.2H2O": {"calcium": 1, "chloride": 2},
    "NaCl": {"sodium": 1, "chloride": 1},
    # per mole of available chlorine (one HOCl); bleach carries as much salt again
    "NaOCl": {"sodium": 2, "chloride": 1, "hypochlorite": 1},
    "Ca(OCl)2": {"calcium": 0.5, "hypochlorite": 1},
    "NaCl2C3N3O3.2H2O": {"sodium": 0.5, "cyanurate": 0.5, "hypochlorite": 1},
}
MIXING_MIN = 1.2  # time constant of mixing with the jets on, common practice: even in five minutes
STEP_MIN = {"jets": 4.0, "still": 45.0}


@dataclass
class Slow:
    """A medium or remover at work: what it can still take, and how fast."""

    kind: str
    left: float
    per_h: float


@dataclass
class Tub:
    """State of the tub at `now`; `advance` moves it, everything else acts at once."""

    facts: Facts
    chemistry: Equilibrium
    now: datetime
    filled: bool = False
    powered: bool = False
    prefilter: bool = False
    cell: bool = False
    output: float = 0.0
    heater_c: float | None = None
    temperature_c: float = 12.0
    ions: Ions | None = None
    phosphate: float = 0.0
    in_filter: float = 0.0
    filter_cleaned: datetime | None = None
    demand: float = 0.0
    bathers_mg_l_day: float = 0.0
    sensor_since: datetime | None = None
    bromine: float = 0.0
    feeds_mg_l_day: float = 0.0
    metals: dict[str, float] = field(default_factory=dict)
    unmixed: list[dict[str, float]] = field(default_factory=list)
    slow: list[Slow] = field(default_factory=list)
    jets_until: datetime | None = None
    aired_at: datetime | None = None
    given: dict[str, float] = field(default_factory=dict)
    highest_chlorine: float = 0.0
    lowest_ph: float = 14.0

    # ---- from the hose
    def hose(self) -> Ions:
        fill = self.facts.fill
        ions = self.chemistry.water(
            self.facts.fill_temperature_c,
            fill["ph"],
            fill["alkalinity"],
            fill["hardness"],
            fill["salt"],
        )
        return ions.plus(hypochlorite=fill["chlorine"] / CL2_MG_PER_MMOL)

    def hose_metals(self) -> dict[str, float]:
        passes = self.facts.prefilter_passes if self.prefilter else 1.0
        return {m: self.facts.fill[m] * passes for m in ("iron", "copper", "manganese")}

    def fill_up(self) -> None:
        self.filled = True
        self.ions = self.hose()
        self.temperature_c = self.facts.fill_temperature_c
        self.phosphate = self.facts.fill["phosphate"]
        self.metals = self.hose_metals()
        self.demand = self.facts.first_demand_mg_l
        self.slow, self.unmixed, self.in_filter = [], [], 0.0

    def in_use(self, bathers_mg_l_day: float) -> None:
        """A tub that was started up some time ago: balanced, salted, warm, its cell at work."""
        self.fill_up()
        self.temperature_c = self.heater_c = self.facts.set_temperature_c
        salty = self.facts.sanitizer == "salt_chlorine"
        ions = self.chemistry.water(38.0, 7.5, 90.0, 50.0, 1750.0 if salty else 200.0)
        self.ions = ions.plus(hypochlorite=4.5 / CL2_MG_PER_MMOL)
        self.phosphate, self.demand, self.powered, self.cell = 120.0, 0.0, True, salty
        self.bathers_mg_l_day = bathers_mg_l_day
        lost = 4.5 * self.facts.decay_per_day + self.facts.organics_mg_l_day + bathers_mg_l_day
        self.output = min(1.0, lost / self.facts.yield_mg_l_day) if salty else 0.0
        self.sensor_since = self.now - timedelta(days=30) if self.facts.has_sensor else None

    def drain(self) -> None:
        self.filled, self.ions, self.output, self.bromine = False, None, 0.0, 0.0

    def replace(self, share: float) -> None:
        assert self.ions is not None
        self.ions = self.ions.mixed(self.hose(), share)
        self.temperature_c += share * (self.facts.fill_temperature_c - self.temperature_c)
        self.phosphate += share * (self.facts.fill["phosphate"] - self.phosphate)
        self.demand += share * (self.facts.first_demand_mg_l - self.demand)
        for metal, level in self.hose_metals().items():
            self.metals[metal] += share * (level - self.metals[metal])

    # ---- products
    def add(self, product: Mapping[str, Any], grams: float) -> None:
        """Give `grams` that the scale shows; the real strength and volume decide."""
        true_g = grams * self.facts.strength.get(product["id"], 1.0)
        self.given[product["id"]] = self.given.get(product["id"], 0.0) + true_g
        per_l = true_g * 1000.0 / self.facts.volume_l
        kind = product["kind"]
        if kind == "phosphate_remover":
            self._start(kind, per_l / 1000 * product["removes_ug_per_g"], product["acts_over_h"])
        elif kind == "softening_medium":
            take = per_l / 1000 * product["removes_mg_caco3_per_g"]
            self._start(kind, take, product["acts_over_h"])
        elif kind == "dechlorinating":
            take = per_l / 1000 * product["removes_mg_cl2_per_g"] / CL2_MG_PER_MMOL
            self.unmixed.append({"hypochlorite": -take, "chloride": take})
        elif kind in ("bromine", "silver", "monopersulfate"):
            self.bromine += 2.0 if kind == "bromine" else 0.0
        else:
            self.unmixed.append(brought(product, per_l))

    def _start(self, kind: str, capacity: float, acts_over_h: float) -> None:
        self.slow.append(Slow(kind, capacity, 3.5 / acts_over_h))

    # ---- time
    def jets(self, minutes: float) -> None:
        until = self.now + timedelta(minutes=minutes)
        self.aired_at = until if minutes > 20 else self.aired_at
        self.jets_until = max(until, self.jets_until) if self.jets_until else until

    def advance(self, to: datetime) -> None:
        while self.now < to:
            on = self.jets_until is not None and self.now < self.jets_until
            minutes = STEP_MIN["jets" if on else "still"]
            end = min(to, self.now + timedelta(minutes=minutes))
            if on:
                assert self.jets_until is not None
                end = min(end, self.jets_until)
            hours = (end - self.now).total_seconds() / 3600
            if self.filled:
                self._live(hours, on)
            self.now = end

    def _live(self, hours: float, jets: bool) -> None:
        self._warm(hours)
        self._mix(hours, jets)
        self._work(hours)
        self._chlorine(hours)
        self._breathe(hours, jets)
        self.bromine *= 2.718281828 ** (-0.4 * self.facts.decay_per_day * hours / 24)
        self.bromine += self.feeds_mg_l_day * hours / 24

    def _warm(self, hours: float) -> None:
        goal, rate = (12.0, 0.3) if self.heater_c is None else (self.heater_c, None)
        step = hours * (rate or self.facts.heats_c_per_h)
        gap = goal - self.temperature_c
        self.temperature_c += max(-hours * 0.3, min(step, gap))

    def _mix(self, hours: float, jets: bool) -> None:
        assert self.ions is not None
        keep = 2.718281828 ** (-hours * 60 / (MIXING_MIN if jets else 8 * MIXING_MIN))
        for dose in self.unmixed:
            self.ions = self.ions.plus(**{ion: by * (1 - keep) for ion, by in dose.items()})
            for ion in dose:
                dose[ion] *= keep
        self.unmixed = [dose for dose in self.unmixed if max(map(abs, dose.values())) > 1e-6]
        if self.ions.hypochlorite < 0:
            self.ions = self.ions.plus(hypochlorite=-self.ions.hypochlorite)

    def _work(self, hours: float) -> None:
        """Media take hardness and phosphate; the filter gives some back until it is cleaned."""
        assert self.ions is not None
        for at_work in self.slow:
            take = at_work.left * (1 - 2.718281828 ** (-at_work.per_h * hours))
            if at_work.kind == "softening_medium":
                take = min(take, max(0.0, self.ions.hardness_mg_l - 2.0))
                self.ions = self.ions.plus(calcium=-take / 100.086, sodium=2 * take / 100.086)
            else:
                take = min(take, max(0.0, self.phosphate - 10.0))
                self.phosphate -= take
                self.in_filter += take
                self.ions = self.ions.plus(chloride=1.05 * take / 1000 / 50.043)
            at_work.left -= take
        back = self.in_filter * self.facts.filter_return * hours / 24
        self.phosphate += back
        self.in_filter -= back

    def _chlorine(self, hours: float) -> None:
        assert self.ions is not None
        count = max(1, int(hours / 0.05))
        dt = hours / count
        level = self.ions.hypochlorite * CL2_MG_PER_MMOL
        start, made = level, 0.0
        warm = 2.0 ** ((self.temperature_c - 38.0) / 10.0)
        for _ in range(count):
            eaten = min(self.facts.eats_per_mg_h * level * self.demand * dt, self.demand, level)
            lost = min(level - eaten, self.facts.decay_per_day * warm * level * dt / 24)
            new = self._yield_per_h() * dt
            fresh = (self.facts.organics_mg_l_day + self.bathers_mg_l_day) * dt / 24
            level += new - eaten - lost
            made += new
            self.demand += fresh - eaten
            self.highest_chlorine = max(self.highest_chlorine, level)
        used = (start + made - level) / CL2_MG_PER_MMOL
        self.ions = self.ions.plus(
            hypochlorite=(level - start) / CL2_MG_PER_MMOL,
            chloride=used - made / CL2_MG_PER_MMOL,
        )

    def _yield_per_h(self) -> float:
        if not (self.cell and self.powered and self.ions and self.output > 0):
            return 0.0
        salt = min(1.1, self.ions.salt_mg_l / 1750.0)
        return self.output * salt * self.facts.yield_mg_l_day / 24

    def _breathe(self, hours: float, jets: bool) -> None:
        assert self.ions is not None
        balance = self.chemistry.solve(self.ions, self.temperature_c)
        rate = self.facts.jets_loss_per_h if jets else self.facts.still_loss_per_h
        if self.output > 0 and self.powered:
            rate += 0.004 * self.output
        out = (balance.co2_mmol - balance.co2_in_air_mmol) * (1 - 2.718281828 ** (-rate * hours))
        self.ions = self.ions.plus(carbonate=-out)
        self.lowest_ph = min(self.lowest_ph, balance.ph)

    # ---- the truth
    def truth(self, sample: str = "tub") -> dict[str, float]:
        """Every analyte of the contract, in its unit."""
        if sample == "fill":
            ions, celsius = self.hose(), self.facts.fill_temperature_c
            phosphate, metals = self.facts.fill["phosphate"], self.hose_metals()
        else:
            assert self.ions is not None, "the tub is empty"
            ions, celsius = self.ions, self.temperature_c
            phosphate, metals = self.phosphate, self.metals
        chlorine = max(0.0, ions.hypochlorite * CL2_MG_PER_MMOL)
        return {
            "ph": self.chemistry.solve(ions, celsius).ph,
            "total_alkalinity": ions.alkalinity_mg_l,
            "calcium_hardness": ions.hardness_mg_l,
            "total_hardness": ions.hardness_mg_l * 1.1,
            "free_chlorine": chlorine,
            "total_chlorine": chlorine + 0.1,
            "bromine": self.bromine,
            "cyanuric_acid": ions.cyanuric_mg_l,
            "salt": ions.salt_mg_l,
            "phosphate": phosphate,
            **metals,
        }


def brought(product: Mapping[str, Any], mg_per_l: float) -> dict[str, float]:
    """mmol a litre of each ion that so much of the product brings."""
    formula = product["formula"]
    if product["kind"] == "chlorinating":
        mmol = mg_per_l * product["available_chlorine"] / CL2_MG_PER_MMOL
    else:
        mmol = mg_per_l * product["purity"] / MOLAR_MASS_G[formula]
    return {ion: count * mmol for ion, count in BRINGS[formula].items()}
