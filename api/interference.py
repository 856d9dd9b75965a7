"""What one pad says about another: chlorine that spoils colours, totals below their parts.

Free chlorine above 10 mg/L: phenol red and the alkalinity indicator go wrong [Service Industry
News, 14 April 2022; Pool Pro magazine: 10 to 15 mg/L; 10 is the usual caution, common practice].
Cyanurate is titrated as alkalinity by about a third of its value near pH 7.5 [Wahman and
Alexander 2019; Pool & Spa Marketing]: told as a derived value, never put in place of the pad's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

CHLORINE_SPOILS_MG_L = 10.0
"""Free chlorine [mg/L] above which pH and alkalinity pads are doubted."""
SPOILED_BY_CHLORINE = frozenset({"ph", "total_alkalinity"})
CYANURATE_SHARE = 1 / 3
"""mg/L of alkalinity (as CaCO3) for each mg/L of cyanuric acid, near pH 7.5."""
NEARLY_NOTHING = 0.15
"""Share of the other pad's value under which a chlorine pad looks bleached."""


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


def interferences(bands: Mapping[str, Band]) -> dict[str, tuple[str, ...]]:
    """Return the reasons that the pads of one strip give each other, by analyte."""
    found: dict[str, tuple[str, ...]] = {}
    free, total = bands.get("free_chlorine"), bands.get("total_chlorine")
    if any(band and may_spoil(band) for band in (free, total)):
        found = {name: ("high_chlorine",) for name in SPOILED_BY_CHLORINE & bands.keys()}
    if free and total:
        found |= _chlorine_pair(free, total)
    return found


def may_spoil(chlorine: Band) -> bool:
    """Say whether so much chlorine spoils other pads; past the chart's end nobody knows."""
    return chlorine.high is None or chlorine.value > CHLORINE_SPOILS_MG_L


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


def carbonate_alkalinity(bands: Mapping[str, Band]) -> Band | None:
    """Return alkalinity less the cyanurate's share [mg/L as CaCO3], or None without both pads."""
    whole, cyanuric = bands.get("total_alkalinity"), bands.get("cyanuric_acid")
    if not whole or not cyanuric or None in (whole.low, whole.high, cyanuric.low, cyanuric.high):
        return None
    value = whole.value - CYANURATE_SHARE * cyanuric.value
    down = math.hypot(
        whole.value - whole.floor, CYANURATE_SHARE * (cyanuric.ceiling - cyanuric.value)
    )
    up = math.hypot(
        whole.ceiling - whole.value, CYANURATE_SHARE * (cyanuric.value - cyanuric.floor)
    )
    return Band(max(value, 0.0), max(value - down, 0.0), value + up)
