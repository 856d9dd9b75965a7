"""What one pad says about another: chlorine that spoils colours, totals below their parts.

Free chlorine above 10 mg/L: phenol red and the alkalinity indicator go wrong [Service Industry
News, 14 April 2022; Pool Pro magazine: 10 to 15 mg/L; 10 is the usual caution, common practice].
Cyanurate is titrated as alkalinity, by about a third of its value near pH 7.5 [Wahman and
Alexander 2019; Pool & Spa Marketing]: what is left is told as a derived value, never put in place
of the pad's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeGuard

from dosing.chemistry import ChemistryError, WaterSample, carbonate_alkalinity as carbonate_part

CHLORINE_SPOILS_MG_L = 10.0
"""Free chlorine [mg/L] above which pH and alkalinity pads are doubted ..."""
SPOILING_CHANCE = 0.25
"""... when that is at least this likely. The limit is itself on the careful side of the 10 to 15
mg/L that are told, and just past it the colours are hardly touched. Common practice, no source."""
SPOILED_BY_CHLORINE = frozenset({"ph", "total_alkalinity"})
NEARLY_NOTHING = 0.15
"""Share of the other pad's value under which a chlorine pad looks bleached."""
SAMPLE_C = 25.0
"""Temperature of the sample that is taken for the cyanurate's share [deg C]; 10 degrees more or
less move it by a fiftieth."""
USUAL_PH = (7.5, 7.0, 8.0)
"""pH with its band that is taken where the strip tells none: tubs in use, common practice."""


@dataclass(frozen=True)
class Band:
    """A value with its 95 % band; an end is None where it is open."""

    value: float
    low: float | None
    high: float | None

    @property
    def floor(self) -> float:
        """The lower end, minus infinity where open."""
        return -math.inf if self.low is None else self.low

    @property
    def ceiling(self) -> float:
        """The upper end, infinity where open."""
        return math.inf if self.high is None else self.high


@dataclass(frozen=True)
class Derived(Band):
    """What follows from several pads together, and from which."""

    made_from: tuple[str, ...] = ()


def interferences(
    bands: Mapping[str, Band], chances: Mapping[str, float] | None = None
) -> dict[str, tuple[str, ...]]:
    """Return the reasons that the pads of one strip give each other, by analyte.

    `chances` holds, by chlorine analyte, the probability that it is above `CHLORINE_SPOILS_MG_L`.
    """
    free, total = bands.get("free_chlorine"), bands.get("total_chlorine")
    found = _chlorine_pair(free, total) if free and total else {}
    if _chance_of_spoiling(chances or {}, bool(found)) >= SPOILING_CHANCE:
        found |= {name: ("high_chlorine",) for name in SPOILED_BY_CHLORINE & bands.keys()}
    return found


def _chance_of_spoiling(chances: Mapping[str, float], contradictory: bool) -> float:
    """Return how likely free chlorine is above the limit.

    Free chlorine has its own pad; the total, never less, stands in where that pad says nothing or
    the two contradict each other.
    """
    free, total = chances.get("free_chlorine"), chances.get("total_chlorine", 0.0)
    if free is None:
        return total
    return max(free, total) if contradictory else free


def _chlorine_pair(free: Band, total: Band) -> dict[str, tuple[str, ...]]:
    """Return what the two chlorine pads say about each other."""
    pair = ("free_chlorine", "total_chlorine")
    if total.high is None and free.value < NEARLY_NOTHING * total.value:
        return dict.fromkeys(pair, ("maybe_bleached",))
    if free.high is None and total.value < NEARLY_NOTHING * free.value:
        return dict.fromkeys(pair, ("maybe_bleached",))
    if total.ceiling < free.floor:
        return dict.fromkeys(pair, ("total_below_free",))
    return {}


def carbonate_alkalinity(bands: Mapping[str, Band]) -> Derived | None:
    """Return alkalinity less the cyanurate's share [mg/L as CaCO3], or None without both pads.

    The share follows from the equilibrium at the strip's pH. The pads' bands are carried through
    one by one and added in squares: how their errors go together is not known.
    """
    pads = {name: bands.get(name) for name in ("total_alkalinity", "cyanuric_acid", "ph")}
    whole, cyanuric, ph = pads.values()
    if not _closed(whole) or not _closed(cyanuric):
        return None
    told = ph if _closed(ph) else Band(*USUAL_PH)
    at = {"total_alkalinity": whole, "cyanuric_acid": cyanuric, "ph": told}
    try:
        return Derived(*_carried(at), tuple(name for name in pads if at[name] is pads[name]))
    except ChemistryError:
        return None


def _closed(band: Band | None) -> TypeGuard[Band]:
    return band is not None and band.low is not None and band.high is not None


def _carried(at: Mapping[str, Band]) -> tuple[float, float, float]:
    """Return the derived value and its band's ends."""
    middle = {name: band.value for name, band in at.items()}
    value = _carbonate(middle)
    down = up = 0.0
    for name, band in at.items():
        ends = [_carbonate({**middle, name: end}) - value for end in (band.floor, band.ceiling)]
        down, up = math.hypot(down, min(*ends, 0.0)), math.hypot(up, max(*ends, 0.0))
    return value, max(value - down, 0.0), value + up


def _carbonate(values: Mapping[str, float]) -> float:
    return max(carbonate_part(WaterSample(temperature_c=SAMPLE_C, **values)), 0.0)
