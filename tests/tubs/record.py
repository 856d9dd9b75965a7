"""What is kept of one tub's walk: faults, forecasts, gates, and the walk itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from tests.tubs.draw import Facts

RULE, CHANCE, LETTER, SOFT = "rule", "chance", "letter", "soft"


@dataclass(frozen=True)
class Fault:
    """One fault: of a rule, of chance, of the contract's letter, or soft (counted, not judged)."""

    kind: str
    code: str
    at: str
    detail: str


@dataclass(frozen=True)
class Forecast:
    """An `expect` band and what came: when the dose had mixed, the wait was over, or measured."""

    analyte: str
    step: str
    low: float
    high: float
    truth: float
    shown: float | None
    cause: str = ""
    """What moved the analyte last: a kind of product, `air` or `time`."""
    age_h: float = 0.0
    """Hours since the analyte was read."""

    @property
    def z(self) -> float:
        """The truth's distance from the band's middle in its standard deviations."""
        half = max(0.5 * (self.high - self.low), 1e-9)
        return 1.96 * (self.truth - 0.5 * (self.low + self.high)) / half

    @property
    def held(self) -> bool:
        return self.low <= self.truth <= self.high

    @property
    def held_shown(self) -> bool:
        return self.shown is None or self.low <= self.shown <= self.high


@dataclass(frozen=True)
class GateSeen:
    """A gate's claimed probability against the truth at that moment."""

    gate: str
    analyte: str
    probability: float
    inside: bool


@dataclass
class Record:
    """One tub from the first question to the last."""

    facts: Facts
    ended: str = "running"
    steps: int = 0
    measures: int = 0
    readings: int = 0
    days: float = 0.0
    faults: list[Fault] = field(default_factory=list)
    forecasts: list[Forecast] = field(default_factory=list)
    gates: list[GateSeen] = field(default_factory=list)
    use: dict[str, float] = field(default_factory=dict)
    trace: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    log: dict[str, Any] = field(default_factory=dict)
    chlorine_next_day: float | None = None
    """Free chlorine a day after the last answer, nothing done [mg/L]."""
    engine_s: list[float] = field(default_factory=list)

    @property
    def completed(self) -> bool:
        return self.ended == "complete"

    def fault(self, kind: str, code: str, at: datetime, detail: str) -> None:
        self.faults.append(Fault(kind, code, at.isoformat(), detail))
        self.trace.append(f"    !! {kind} {code}: {detail}")

    def of_kind(self, kind: str) -> list[Fault]:
        return [fault for fault in self.faults if fault.kind == kind]
