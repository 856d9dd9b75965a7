"""The one thing to do now, and the whole answer around it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from dosing.gates import GateState


@dataclass(frozen=True)
class Expected:
    """The 95 % band of what the next measurement should show."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Todo:
    """One thing to do, with what is behind it."""

    id: str
    kind: str
    text: str
    action: str | None = None
    value: float | None = None
    analytes: tuple[str, ...] = ()
    product: str | None = None
    product_kind: str | None = None
    amount_g: float | None = None
    fraction: float | None = None
    not_before: datetime | None = None
    sample: str = "tub"
    expect: Mapping[str, Expected] = field(default_factory=dict)
    why: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class NextStep:
    """The answer: where the tub stands, the step, and why."""

    at: datetime
    stage: str
    complete: bool
    gates: tuple[GateState, ...]
    step: Todo
    why: tuple[str, ...]
    cautions: tuple[str, ...]
