"""What the technician's strips, drop tests and sensor show, with honest 95 % bands."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.tubs.draw import Habits

UNITS = {
    "ph": "pH",
    **dict.fromkeys(("phosphate", "iron", "copper", "manganese"), "ug/L"),
    **dict.fromkeys(
        ("free_chlorine", "total_chlorine", "bromine", "total_alkalinity", "calcium_hardness",
         "total_hardness", "cyanuric_acid", "salt"),
        "mg/L",
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Pad:
    """Half width of the 95 % band (absolute part and relative part) and the chart's ends."""

    absolute: float
    relative: float
    first: float
    last: float


STRIP = {
    "ph": Pad(0.20, 0.0, 6.2, 8.6),
    "free_chlorine": Pad(0.15, 0.13, 0.0, 10.0),
    "total_chlorine": Pad(0.15, 0.13, 0.0, 10.0),
    "bromine": Pad(0.5, 0.18, 0.0, 20.0),
    "total_alkalinity": Pad(4.0, 0.16, 0.0, 240.0),
    "calcium_hardness": Pad(3.0, 0.16, 0.0, 425.0),
    "total_hardness": Pad(3.0, 0.16, 0.0, 425.0),
    "cyanuric_acid": Pad(8.0, 0.15, 0.0, 150.0),
    "salt": Pad(20.0, 0.07, 0.0, 4000.0),
    "phosphate": Pad(15.0, 0.42, 0.0, 1000.0),
    "iron": Pad(20.0, 0.35, 0.0, 1000.0),
    "copper": Pad(20.0, 0.35, 0.0, 2000.0),
    "manganese": Pad(8.0, 0.35, 0.0, 500.0),
}
DROPS = {
    "ph": Pad(0.12, 0.0, 6.0, 9.0),
    "free_chlorine": Pad(0.2, 0.05, 0.0, 30.0),
    "total_alkalinity": Pad(5.0, 0.04, 0.0, 500.0),
    "calcium_hardness": Pad(5.0, 0.04, 0.0, 1000.0),
    "salt": Pad(30.0, 0.03, 0.0, 6000.0),
    "phosphate": Pad(20.0, 0.12, 0.0, 2500.0),
}
SENSOR = {"ph": Pad(0.10, 0.0, 4.0, 10.0), "free_chlorine": Pad(0.2, 0.07, 0.0, 20.0)}


@dataclass
class Reader:
    """Turns truths into reading events; the errors are the seed's."""

    habits: Habits
    rng: np.random.Generator
    lot: dict[str, float] = field(default_factory=dict)

    def read(self, analyte: str, truth: float, sample: str, at: str) -> dict[str, Any]:
        """One reading event of the contract."""
        drops = self.habits.source == "drop_test" and analyte in DROPS
        pad = DROPS[analyte] if drops else STRIP[analyte]
        event = {
            "at": at,
            "type": "reading",
            "analyte": analyte,
            "unit": UNITS[analyte],
            "source": "drop_test" if drops else self.habits.source.replace("drop_test", "photo"),
            "sample": sample,
            **self._band(analyte, truth, pad),
        }
        if self.habits.source == "hand":
            del event["low"], event["high"]
        return event

    def sensor(self, analyte: str, truth: float, settled: bool, at: str) -> dict[str, Any]:
        shown = truth if settled else truth * self.rng.uniform(0.6, 1.4)
        band = self._band(analyte, shown, SENSOR[analyte])
        event = {"at": at, "type": "reading", "analyte": analyte, "unit": UNITS[analyte]}
        return {**event, "source": "sensor", "sample": "tub", **band}

    def _error(self, analyte: str, gross: bool) -> float:
        """A standard normal number, in part shared by all strips of the lot."""
        shared = self.lot.setdefault(analyte, float(self.rng.normal()))
        share = 0.0 if gross else self.habits.lot_share
        return float(share**0.5 * shared + (1 - share) ** 0.5 * self.rng.normal())

    def _band(self, analyte: str, truth: float, pad: Pad) -> dict[str, float | None]:
        """Half the width grows with the level shown, so that the band is honest at every level."""
        gross = self.rng.random() < self.habits.gross
        wide = self.habits.width * self.rng.uniform(0.8, 1.25) * (3.5 if gross else 1.0)
        scale = Scale(pad, min(wide, 0.9 / max(pad.relative, 0.01)))
        shown = scale.back(scale.of(truth) + self._error(analyte, gross) / 1.96)
        if shown > pad.last:
            sure = scale.back(scale.of(pad.last) - 1.645 / 1.96)
            return {"value": tidy(pad.last), "low": tidy(sure), "high": None}
        if shown < pad.first:
            sure = scale.back(scale.of(pad.first) + 1.645 / 1.96)
            if pad.first > 0:
                return {"value": tidy(pad.first), "low": None, "high": tidy(sure)}
            return {"value": 0.0, "low": 0.0, "high": tidy(sure)}
        low, high = scale.back(scale.of(shown) - 1), scale.back(scale.of(shown) + 1)
        low = max(low, 0.0) if pad.first == 0 else low
        return {"value": tidy(shown), "low": tidy(low), "high": tidy(high)}


@dataclass(frozen=True)
class Scale:
    """The scale on which the band has half width one at every level (absolute plus relative)."""

    pad: Pad
    wide: float

    def of(self, level: float) -> float:
        a, r = self.pad.absolute * self.wide, self.pad.relative * self.wide
        if r == 0:
            return level / a
        return float(np.log(max(a + r * level, 1e-6) / a) / r)

    def back(self, place: float) -> float:
        a, r = self.pad.absolute * self.wide, self.pad.relative * self.wide
        if r == 0:
            return place * a
        return float(a * (np.exp(r * place) - 1) / r)


def tidy(level: float) -> float:
    """As a reading is written: three or four digits."""
    return float(f"{level:.4g}")
