"""The shapes of formats in words that OpenAPI understands; `wire.py` makes them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Verdict = Literal["accepted", "recheck", "unreadable"]


class Open(BaseModel):
    """A record that may carry more fields than these."""

    model_config = ConfigDict(extra="allow")


class Problem(BaseModel):
    """Every error the service sends has this one shape (RFC 9457)."""

    type: str = Field(examples=["urn:dipstep:problem:not_an_image"])
    title: str
    status: int
    detail: str = Field(description="One sentence: what is wrong, where, and what to do.")
    code: str


class DatabaseOut(BaseModel):
    """The database behind the service."""

    kind: str
    revision: str | None


class HealthOut(BaseModel):
    """The service can serve."""

    status: Literal["ok"]
    version: str
    database: DatabaseOut


class CardOut(Open):
    """How well the reference card was seen."""

    found: bool
    design: str | None
    delta_e00_median: float | None
    delta_e00_p95: float | None


class StripOut(Open):
    """Whether the strip was seen."""

    found: bool


class PadOut(Open):
    """One pad: value, 95 % band and verdict; an open end of the band is null."""

    pad: int
    analyte: str
    unit: str
    value: float | None
    low: float | None
    high: float | None
    confidence: float
    status: Verdict
    reasons: list[str]
    lab: list[float] | None


class ReadingOut(Open):
    """What one photo says."""

    photo: str
    card: CardOut
    strip: StripOut
    readings: list[PadOut]
    status: Verdict
    reasons: list[str]


class GateOut(Open):
    """One limit that must hold before the next stage."""

    id: str
    analyte: str | None
    low: float | None
    high: float | None
    unit: str | None
    needs: str
    state: Literal["open", "shut", "undecided", "waiting"]
    probability: float | None


class StepOut(Open):
    """The one thing to do now."""

    id: str
    kind: Literal["measure", "dose", "wait", "confirm", "replace_water", "ask", "none"]
    text: str
    action: str | None
    value: float | None
    analytes: list[str]
    product: str | None
    amount_g: float | None
    fraction: float | None
    not_before: str | None
    sample: str | None


class NextOut(Open):
    """The next step with its gates, what to expect, why, and the cautions."""

    at: str
    stage: str
    complete: bool
    gates: list[GateOut]
    step: StepOut
    expect: dict[str, Any]
    why: list[str]
    cautions: list[str]


def problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return the documentation of the errors a route may send."""
    words = {
        400: "The request is broken.",
        401: "Nobody is logged in, or the token is not valid.",
        403: "Not allowed for this member, or sent from another site.",
        404: "There is no such thing.",
        409: "It stands against what is already kept.",
        413: "The upload is larger than the service takes.",
        422: "What was sent cannot be used; `detail` says what, where and what to do.",
        429: "Too many attempts.",
        503: "All readers are busy.",
    }
    shape = {"schema": {"$ref": "#/components/schemas/Problem"}}
    return {
        status: {"description": words[status], "content": {"application/problem+json": shape}}
        for status in statuses
    }
