"""The quantities a log may speak of: name, unit, what is possible, how sure a method is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

NORMAL_95 = 1.959964
"""Half the width of a 95 % band in standard deviations of a normal distribution."""

FRESH_H = 0.5
"""A reading this young is taken as now [h]."""

SOURCES_OF_READINGS = ("photo", "hand", "drop_test", "lab", "sensor")
"""Where a reading may come from, as the log writes it."""


@dataclass(frozen=True)
class Spread:
    """Half of a 95 % band: the larger of a fixed part and a share of the value."""

    fixed: float
    """In the analyte's unit."""
    share: float
    """Of the value, 0 to 1."""

    def half_band(self, value: float) -> float:
        """Return half of the 95 % band at this value, in the analyte's unit."""
        return max(self.fixed, self.share * value)


@dataclass(frozen=True)
class Analyte:
    """One quantity, its unit and its limits of the possible."""

    name: str
    label: str
    unit: str
    most: float
    """Above this a value is a slip of the pen, not water."""
    photo: Spread
    """Band of a photographed strip when the reading brings none (references: accuracy, g5)."""
    drop_test: Spread
    """Band of a drop test: the steps public codes ask for (references: accuracy, g2)."""
    drift_per_day: float = 0.0
    """Standard deviation of what may happen to it in a day without a dose, in its unit."""
    drift_share_per_day: float = 0.0
    """The same as a share of the value."""
    by_eye: Spread | None = None
    """Band of a strip matched by eye; a quarter wider than a photographed one when None."""
    on_strip: bool = False
    """Whether it is a pad of the usual strip, so that one dip reads it with the others."""

    @property
    def drifts(self) -> bool:
        """Whether it moves by itself, without a dose."""
        return self.drift_per_day > 0.0 or self.drift_share_per_day > 0.0

    def drift(self, value: float, hours: float) -> float:
        """Return the deviation that so many hours without a dose bring, in the unit."""
        per_day = max(self.drift_per_day, self.drift_share_per_day * value)
        return per_day * math.sqrt(max(hours - FRESH_H, 0.0) / 24.0)

    def spread(self, source: str) -> Spread:
        """Return the band that a method has when its reading brings none."""
        if source == "hand":
            return self.by_eye or Spread(1.25 * self.photo.fixed, 1.25 * self.photo.share)
        if source == "lab":
            return Spread(0.5 * self.drop_test.fixed, 0.05)
        if source == "drop_test":
            return self.drop_test
        return self.photo

    def amount(self, value: float) -> str:
        """Return the value as people write it, with its unit."""
        return f"pH {value:.1f}" if self.name == "ph" else f"{value:,.4g} {self.unit}"


_LIST = (
    Analyte("ph", "pH", "pH", 14.0, Spread(0.2, 0.0), Spread(0.2, 0.0), 0.12),
    Analyte(
        "free_chlorine", "free chlorine", "mg/L", 500.0, Spread(0.5, 0.20), Spread(0.5, 0.1), 0, 0.6
    ),
    Analyte(
        "total_chlorine",
        *("total chlorine", "mg/L", 500.0, Spread(0.5, 0.20), Spread(0.5, 0.1), 0, 0.6),
    ),
    Analyte("bromine", "bromine", "mg/L", 500.0, Spread(1.0, 0.20), Spread(0.5, 0.1), 0, 0.6),
    Analyte(
        "total_alkalinity", "total alkalinity", "mg/L", 2000.0, Spread(20, 0.20), Spread(10, 0.05)
    ),
    Analyte(
        "calcium_hardness", "calcium hardness", "mg/L", 5000.0, Spread(12, 0.20), Spread(10, 0.05)
    ),
    Analyte("total_hardness", "total hardness", "mg/L", 5000.0, Spread(25, 0.25), Spread(10, 0.05)),
    Analyte("cyanuric_acid", "cyanuric acid", "mg/L", 1000.0, Spread(15, 0.25), Spread(10, 0.1)),
    Analyte("salt", "salt", "mg/L", 50_000.0, Spread(50, 0.10), Spread(50, 0.05)),
    Analyte("phosphate", "phosphate", "ug/L", 100_000.0, Spread(100, 0.5), Spread(50, 0.2)),
    Analyte("iron", "iron", "ug/L", 100_000.0, Spread(50, 0.3), Spread(20, 0.15)),
    Analyte("copper", "copper", "ug/L", 100_000.0, Spread(50, 0.3), Spread(20, 0.15)),
    Analyte("manganese", "manganese", "ug/L", 100_000.0, Spread(20, 0.3), Spread(10, 0.15)),
)

_ON_STRIP = {
    *("ph", "free_chlorine", "total_chlorine", "bromine", "total_alkalinity"),
    *("calcium_hardness", "total_hardness", "cyanuric_acid"),
}

BY_EYE: Mapping[str, Spread] = {
    "free_chlorine": Spread(0.5, 0.20),
    "bromine": Spread(1.0, 0.20),
    "calcium_hardness": Spread(15.0, 0.25),
    "total_alkalinity": Spread(20.0, 0.22),
}
"""What a practised eye reaches in good light (common practice, no source). A band as wide as its
gate would never open it; readings taken one after the other are pooled besides."""

ANALYTES: Mapping[str, Analyte] = {
    analyte.name: replace(
        analyte, on_strip=analyte.name in _ON_STRIP, by_eye=BY_EYE.get(analyte.name)
    )
    for analyte in _LIST
}
"""Every analyte of the contract by its name."""
