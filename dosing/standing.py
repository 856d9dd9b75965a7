"""What the readings of one analyte say since its water was last moved."""

from __future__ import annotations

import math
from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from dosing.analytes import ANALYTES
from dosing.bands import Band, band_of, together
from dosing.gates import OPEN_FROM, SHUT_TO, GateState, between
from dosing.log import Dose, Reading
from dosing.water import Water

MOVED_BY: Mapping[str, tuple[str, ...]] = {
    "chlorinating": ("free_chlorine", "total_chlorine", "bromine", "ph"),
    "acid": ("ph", "total_alkalinity"),
    "base_carbonate": ("ph", "total_alkalinity"),
    "bicarbonate": ("total_alkalinity", "ph"),
    "calcium": ("calcium_hardness", "total_hardness"),
    "salt": ("salt",),
    "phosphate_remover": ("phosphate",),
    "softening_medium": ("calcium_hardness", "total_hardness"),
    "dechlorinating": ("free_chlorine", "total_chlorine", "bromine", "ph"),
    "bromine": ("bromine", "free_chlorine", "total_chlorine"),
    "silver": (),
    "monopersulfate": ("total_chlorine", "ph"),
    "biguanide": (),
}
"""Analytes whose readings no longer hold after a dose of the kind."""

MOVES_AFTER = timedelta(minutes=10)
"""Age from which a reading of what moves by itself must be borne out by the belief."""

BORNE_OUT = 0.8
"""A single reading that opens a gate is taken again where the belief gives it less than this."""

NEVER = 1.1
"""A chance that nothing has."""

UNFORETOLD = 2.0
"""A single reading so many joint deviations off what the log foretold decides nothing alone."""

AIR_MIXES = {"ph": 0.15, "free_chlorine": 0.25, "total_chlorine": 0.25, "bromine": 0.25}
"""How far two readings may lie apart for each square root of an hour between them: pH under air in
its unit, chlorine as a share of its value (common practice)."""

POOLED = 10
"""So many readings of one water are pooled."""

MOST_LOOKS = 60
"""So many looks at most are weighed for a gate's edge."""

STRIPS = ("photo", "hand")
LOT_SHARE = 0.08
"""Share of a strip's variance that all strips of its lot have in common (common practice)."""

LOOKS = 3
"""Undecided looks in one visit after which the belief may shut a gate."""

POOLED_WITHIN = timedelta(minutes=30)
"""Readings of what moves by itself that lie further apart are of different water: not pooled."""
SAME_WATER_FOR = timedelta(days=2)
"""Readings of what does not move by itself add up from day to day, not over a longer pause: then
the belief brings in what was known before."""
NEW_VISIT = timedelta(hours=12)
"""After so long the looks at what moves by itself are counted anew."""


@dataclass
class Standing:
    """What the readings of one analyte say since its water was last moved."""

    band: Band | None = None
    """Their joint band at the time of the last one; None when none counts."""
    at: datetime | None = None
    """Time of the last reading that counts."""
    newest: tuple[Band, ...] = ()
    """The bands of the newest readings, each aged to the last."""
    looks: tuple[Band, ...] = ()
    """The bands of the readings of this water, made on this day or days in a row."""
    count: int = 0
    strips: int = 0
    contradicts: bool = False
    foretold: float | None = None
    """What the log foretold of the newest reading, where that lies too far off to decide alone."""
    ready_at: datetime | None = None
    """When a reading counts again after the last move."""
    before: Band | None = None
    """What stood before the move."""
    before_at: datetime | None = None
    doses: list[Dose] = field(default_factory=list)
    """Doses that moved it since its last valid reading."""
    last: Reading | None = None
    earlier: Reading | None = None
    """The reading before the last, valid or not, for trends."""

    def copy(self) -> Standing:
        """Return one that can be moved without moving this."""
        twin = copy(self)
        twin.doses = self.doses.copy()
        return twin

    def move(self, ready_at: datetime, dose: Dose | None) -> None:
        """Let no earlier reading count any more."""
        if self.band is not None:
            self.before, self.before_at, self.doses = self.band, self.at, []
        self.band, self.newest, self.looks, self.count, self.strips = None, (), (), 0, 0
        self.contradicts, self.foretold = False, None
        self.ready_at = max(self.ready_at or ready_at, ready_at)
        if dose is not None:
            self.doses.append(dose)

    @property
    def is_odd(self) -> bool:
        """Say whether all rests on one reading that the log did not foretell."""
        return self.foretold is not None and len(self.newest) == 1

    def read(self, reading: Reading, foretold: float | None = None) -> None:
        """Take in a reading that counts, and what was foretold where it is far from that."""
        self.foretold = foretold
        fresh = band_of(reading)
        if self.at is not None:
            self._leave_behind(reading.at - self.at, ANALYTES[reading.analyte].drifts)
        if self.band is not None and self.at is not None:
            wider = _between(reading, self.band, reading.at - self.at)
            self.newest = tuple(band.wider(wider) for band in self.newest)
        self.count += 1
        self.newest = (*self.newest, fresh)[-POOLED:]
        self.looks = (*self.looks, fresh)[-MOST_LOOKS:]
        strip = reading.source in STRIPS
        self.band, self.contradicts = _pooled(self.newest, strip)
        self.at = reading.at
        self.strips += strip
        self.earlier, self.last = self.last, reading

    def _leave_behind(self, gap: timedelta, drifts: bool) -> None:
        """Pool no readings over a time in which the water has moved by itself."""
        if gap > (POOLED_WITHIN if drifts else SAME_WATER_FOR):
            self.newest, self.looks = (), ()
        if gap > (NEW_VISIT if drifts else SAME_WATER_FOR):
            self.count, self.strips = 0, 0

    def now(self, at: datetime) -> Band | None:
        """Return the band as it stands at a moment, wider with age for what drifts."""
        band = self.band
        if band is None or self.last is None or self.at is None:
            return None
        gone_h = (at - self.at).total_seconds() / 3600.0
        return band.wider(ANALYTES[self.last.analyte].drift(band.mode, gone_h))


def _pooled(bands: tuple[Band, ...], strips: bool) -> tuple[Band, bool]:
    """Return readings of one water together; strips of one lot err in part alike."""
    band, contradicts = together(bands)
    share = LOT_SHARE if strips else 0.0
    wider = math.sqrt(1.0 + share * (len(bands) - 1))
    return Band(band.mode, wider * band.below, wider * band.above), contradicts


def _between(reading: Reading, band: Band, gap: timedelta) -> float:
    """Return the deviation that time may have brought between two readings."""
    per_root_hour = AIR_MIXES.get(reading.analyte, 0.0)
    scale = 1.0 if reading.analyte == "ph" else band.mode
    root_hours: float = (gap.total_seconds() / 3600.0) ** 0.5
    return per_root_hour * scale * root_hours


def bar(standing: Standing) -> float:
    """Return the chance that the belief must give a gate which the readings open.

    A single reading that was not foretold opens none, whatever the belief has made of it.
    """
    if standing.is_odd:
        return NEVER
    return BORNE_OUT if len(standing.newest) < 2 else 0.0


def as_it_moves(
    seen: GateState, standing: Standing, water: Water, at: datetime, *, may_shut: bool = False
) -> GateState:
    """Return a gate on what moves untold, pH under air and chlorine in fresh water.

    Readings decide; the belief, which knows air, demand and generator, may take a verdict back but
    never opens a gate: of a single fresh reading where it doubts it, of an aged one where it does
    not bear it out. With `may_shut` it shuts a gate that several looks leave undecided: in upkeep
    the course of weeks tells more than the third dip, and of chlorine the course of hours.
    """
    if standing.at is None or seen.analyte is None:
        return seen
    believed = round(water.probability(seen.analyte, seen.low, seen.high), 4)
    aged = at - standing.at >= MOVES_AFTER
    if seen.state == "undecided":
        shuts = may_shut and not aged and standing.count >= LOOKS and not standing.contradicts
        if shuts and believed <= SHUT_TO:
            return replace(seen, state="shut", probability=believed)
        return seen
    if seen.state == "open":
        taken_back = believed < max(OPEN_FROM if aged else 0.0, bar(standing))
    else:
        taken_back = aged and believed > 0.5
    if not taken_back:
        return seen
    return replace(seen, state="undecided", probability=between(believed))
