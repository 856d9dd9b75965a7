"""What is true of one invented tub: drawn once by seed, never told to the engine."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

FAMILIES = (
    *("ordinary", "soft", "hard", "alkaline"),
    *("weak", "phosphate", "softened", "iron"),
)

# Low and high of each fill water: hardness, alkalinity and salt in mg/L, metals and phosphate ug/L.
ORDINARY = {
    "hardness": (70, 160),
    "alkalinity": (70, 130),
    "ph": (7.2, 7.9),
    "salt": (20, 120),
    "phosphate": (40, 400),
    "iron": (5, 120),
    "copper": (2, 100),
    "manganese": (1, 25),
    "chlorine": (0.0, 0.6),
}
FILLS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "ordinary": {},
    "soft": {"hardness": (12, 45), "alkalinity": (35, 70), "ph": (6.9, 7.6)},
    "hard": {"hardness": (360, 440), "alkalinity": (170, 260), "ph": (7.1, 7.8)},
    "alkaline": {"hardness": (90, 200), "alkalinity": (225, 275), "ph": (7.7, 8.3)},
    "weak": {"hardness": (20, 60), "alkalinity": (20, 40), "ph": (6.6, 7.4)},
    "phosphate": {"phosphate": (750, 1100)},
    "softened": {
        "hardness": (4, 25),
        "alkalinity": (140, 230),
        "ph": (7.3, 8.0),
        "salt": (40, 150),
    },
    "iron": {"iron": (350, 1000), "manganese": (40, 160)},
}

# Our own products, as an invented shop labels them.
PRODUCTS: tuple[dict[str, Any], ...] = (
    {"id": "chlorine-1", "kind": "chlorinating", "formula": "NaOCl", "available_chlorine": 0.105,
     "density_g_per_ml": 1.17},
    {"id": "acid-1", "kind": "acid", "formula": "NaHSO4", "purity": 0.93},
    {"id": "raiser-1", "kind": "base_carbonate", "formula": "Na2CO3", "purity": 0.98},
    {"id": "buffer-1", "kind": "bicarbonate", "formula": "NaHCO3", "purity": 0.99},
    {"id": "calcium-1", "kind": "calcium", "formula": "CaCl2.2H2O", "purity": 0.97},
    {"id": "salt-1", "kind": "salt", "formula": "NaCl", "purity": 0.995},
    {"id": "phosphate-1", "kind": "phosphate_remover", "removes_ug_per_g": 25000,
     "acts_over_h": 24},
    {"id": "softening-1", "kind": "softening_medium", "removes_mg_caco3_per_g": 80,
     "acts_over_h": 24},
    {"id": "neutral-1", "kind": "dechlorinating", "removes_mg_cl2_per_g": 700},
)  # fmt: skip
CHLORINES: tuple[dict[str, Any], ...] = (
    {"id": "chlorine-2", "kind": "chlorinating", "formula": "NaCl2C3N3O3.2H2O",
     "available_chlorine": 0.55},
    {"id": "chlorine-3", "kind": "chlorinating", "formula": "Ca(OCl)2",
     "available_chlorine": 0.65},
)  # fmt: skip
ACIDS: tuple[dict[str, Any], ...] = (
    {"id": "acid-2", "kind": "acid", "formula": "HCl", "purity": 0.15, "density_g_per_ml": 1.07},
    {"id": "acid-3", "kind": "acid", "formula": "H2SO4", "purity": 0.15, "density_g_per_ml": 1.10},
)  # fmt: skip


@dataclass(frozen=True)
class Habits:
    """How the technician reads, waits and enters."""

    source: str = "photo"  # photo, drop_test where there is one, hand without bands
    lot_share: float = 0.0  # share of the reading error's variance common to all strips of the tub
    late_min: tuple[float, float] = (0.0, 0.0)
    asks_halfway: float = 0.3
    tells_temperature: bool = True
    waits_for_heat: bool = True
    enters_sensor: bool = False
    enters_waits: bool = False
    away_days: float = 0.0  # once, in mid-course
    stray_dose: float = 0.0  # chance a dose is given otherwise than advised (and entered so)
    stray_share: tuple[float, float] = (0.4, 1.3)
    skips_done: float = 0.0  # chance that a step done is not entered
    enters_late_min: tuple[float, float] = (0.0, 0.0)  # an event bears the time it was entered
    swaps: float = 0.0  # chance that two events stand in the log with their times exchanged
    offsets: bool = False  # events in any order, with any offset
    width: float = 1.0  # band widths against the usual
    gross: float = 0.02


@dataclass(frozen=True)
class Facts:
    """The truth about one tub, its water from the hose, its products and its technician."""

    seed: int
    family: str
    stated_volume_l: float
    volume_l: float
    fill: Mapping[str, float]
    fill_temperature_c: float
    set_temperature_c: float
    heats_c_per_h: float
    strength: Mapping[str, float]
    products: tuple[dict[str, Any], ...]
    still_loss_per_h: float  # share of the excess CO2
    jets_loss_per_h: float
    first_demand_mg_l: float
    eats_per_mg_h: float
    decay_per_day: float
    organics_mg_l_day: float
    yield_mg_l_day: float
    filter_return: float
    prefilter_passes: float
    has_sensor: bool
    sanitizer: str = "salt_chlorine"
    procedure: str = "salt_startup"
    habits: Habits = field(default_factory=Habits)


def draw(
    seed: int,
    family: str | None = None,
    habits: Callable[[np.random.Generator], Habits] | None = None,
    procedure: str = "salt_startup",
) -> Facts:
    """The facts of tub number `seed`; families take turns unless one is asked for."""
    rng = np.random.default_rng([20260504, seed])
    family = family or FAMILIES[seed % len(FAMILIES)]
    stated = float(round(rng.uniform(700, 2000), -1))
    products = some_products(rng)
    if procedure == "bromine_startup":
        products = (*products, {"id": "bromine-1", "kind": "bromine"})
    sanitizer = {"salt_startup": "salt_chlorine", "upkeep": "salt_chlorine"}.get(
        procedure, procedure.partition("_")[0]
    )
    return Facts(
        seed=seed,
        family=family,
        stated_volume_l=stated,
        volume_l=stated * rng.uniform(0.9, 1.1),
        fill=fill_water(rng, family),
        fill_temperature_c=rng.uniform(8, 18),
        set_temperature_c=float(round(rng.uniform(36, 39.5) * 2) / 2),
        heats_c_per_h=rng.uniform(1.5, 3.5),
        strength={p["id"]: 1 + rng.normal(0, 0.07 / 1.96) for p in products},
        products=products,
        still_loss_per_h=float(np.exp(rng.uniform(np.log(0.004), np.log(0.02)))),
        jets_loss_per_h=rng.uniform(0.4, 1.2),
        first_demand_mg_l=float(np.exp(rng.uniform(np.log(0.3), np.log(5.0)))),
        eats_per_mg_h=rng.uniform(0.05, 0.4),
        filter_return=rng.uniform(0.02, 0.15),
        prefilter_passes=rng.uniform(0.03, 0.15),
        has_sensor=bool(rng.random() < 0.8),
        sanitizer=sanitizer,
        procedure=procedure,
        habits=(habits or usual_habits)(rng),
        **chlorine_budget(rng, sanitizer == "salt_chlorine"),
    )


def chlorine_budget(rng: np.random.Generator, cell: bool) -> dict[str, float]:
    """A cell that can hold the tub at full output: the level it settles at is 3.7 to 11 mg/L.

    Without a cell the day's loss is small enough that 3 of 5 mg/L can be left.
    """
    decay, organics = rng.uniform(0.25, 0.9), rng.uniform(0.1, 1.0)
    if not cell:
        decay, organics = decay * 0.4, organics * 0.3
    settles = rng.uniform(3.7, 11.0)
    return {
        "decay_per_day": decay,
        "organics_mg_l_day": organics,
        "yield_mg_l_day": settles * decay + organics,
    }


def fill_water(rng: np.random.Generator, family: str) -> dict[str, float]:
    limits = {**ORDINARY, **FILLS[family]}
    return {name: float(rng.uniform(*limits[name])) for name in ORDINARY}


def some_products(rng: np.random.Generator) -> tuple[dict[str, Any], ...]:
    """The usual shelf; one tub in three has another chlorine or acid, some packs limit a step."""
    shelf = [dict(product) for product in PRODUCTS]
    if rng.random() < 0.3:
        shelf[0] = dict(CHLORINES[rng.integers(len(CHLORINES))])
    if rng.random() < 0.3:
        shelf[1] = dict(ACIDS[rng.integers(len(ACIDS))])
    if rng.random() < 0.2:
        shelf[5]["max_step_g"] = 1000.0
    shelf[6]["acts_over_h"] = float(rng.choice([24, 24, 48]))
    shelf[7]["acts_over_h"] = float(rng.choice([24, 24, 12]))
    return tuple(shelf)


def usual_habits(rng: np.random.Generator) -> Habits:
    """Mostly photos of strips; one in six titrates too, one in five shares a lot's error."""
    return Habits(
        source="drop_test" if rng.random() < 1 / 6 else "photo",
        lot_share=0.4 if rng.random() < 0.2 else 0.0,
        late_min=(0.0, 20.0) if rng.random() < 0.5 else (0.0, 0.0),
        tells_temperature=bool(rng.random() < 0.7),
        waits_for_heat=bool(rng.random() < 0.7),
        enters_sensor=bool(rng.random() < 0.4),
    )


def wild_habits(rng: np.random.Generator) -> Habits:
    """Every fault of a busy day: asks in every wait, gives more or less, forgets, enters late."""
    return Habits(
        source=str(rng.choice(["photo", "drop_test", "hand"])),
        late_min=(0.0, float(rng.choice([10.0, 120.0]))),
        asks_halfway=1.0,
        tells_temperature=bool(rng.random() < 0.5),
        waits_for_heat=bool(rng.random() < 0.5),
        enters_sensor=bool(rng.random() < 0.5),
        enters_waits=bool(rng.random() < 0.5),
        away_days=float(rng.choice([0.0, 3.0])),
        stray_dose=0.5,
        stray_share=(0.8, 1.2),
        skips_done=0.15,
        enters_late_min=(0.0, float(rng.choice([0.0, 5.0, 20.0]))),
        swaps=float(rng.choice([0.0, 0.03])),
        offsets=True,
    )


def odd_habits(rng: np.random.Generator) -> Habits:
    """Interrupted, late, by eye without bands, doses of the technician's own."""
    return Habits(
        source=str(rng.choice(["photo", "drop_test", "hand"])),
        lot_share=float(rng.choice([0.0, 0.4])),
        late_min=(0.0, 240.0),
        tells_temperature=bool(rng.random() < 0.5),
        waits_for_heat=bool(rng.random() < 0.5),
        enters_sensor=bool(rng.random() < 0.5),
        enters_waits=bool(rng.random() < 0.3),
        away_days=float(rng.choice([0.0, 3.0])),
        stray_dose=float(rng.choice([0.0, 0.15])),
        width=float(rng.choice([1.0, 1.3])),
    )
