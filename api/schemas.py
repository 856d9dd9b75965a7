"""The shapes of formats in words that OpenAPI understands; `wire.py` makes them."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

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


class HealthOut(BaseModel):
    """The service can serve."""

    status: Literal["ok"]
    version: str
    database: dict[str, str | None]
    readers_ready: int
    """Readers that have loaded everything; the first photo waits for one."""


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


class TubOut(Open):
    """A tub: the log's `tub` object plus `procedure`, and products if it has its own."""

    id: str
    name: str
    volume_l: float
    temperature_c: float
    sanitizer: str
    has_sensor: bool
    procedure: str


class LogOut(Open):
    """A tub's whole log."""

    tub: dict[str, Any]
    procedure: str
    events: list[dict[str, Any]]


class EventEntered(BaseModel):
    """An event of a tub's log, with who entered it and when."""

    id: str
    event: dict[str, Any]
    origin: str
    replaces: str | None
    entered_at: str
    entered_by: str


class PhotoOut(BaseModel):
    """A photo of a tub as it was read and entered."""

    photo: str = Field(description="SHA-256 of the photo as kept")
    reading: ReadingOut
    entered: list[dict[str, Any]]
    next: NextOut | None


class PhotoKept(BaseModel):
    """A photo in a tub's list."""

    photo: str
    name: str
    taken_at: str
    sent_at: str
    sent_by: str
    elapsed_s: float | None
    status: Verdict
    table: str
    card: str | None
    reading: dict[str, Any]


class ReviewOut(BaseModel):
    """A reading that a person must look at."""

    id: int
    tub: str
    photo: str
    pad: int
    analyte: str
    reading: dict[str, Any]
    table: str
    taken_at: str
    opened_at: str
    decision: dict[str, Any] | None = None


class RulingIn(BaseModel):
    """A decision about a reading that waited."""

    decision: Literal["accept", "correct", "dip_again"]
    value: float | None = None
    low: float | None = None
    high: float | None = None
    source: Literal["hand", "drop_test", "lab", "sensor", "photo"] | None = None
    note: str = Field("", max_length=2000)
    at: AwareDatetime | None = None


class DecisionOut(BaseModel):
    """What was decided, by whom, when."""

    id: int
    review: int
    decision: str
    value: float | None
    source: str | None
    note: str
    by: str
    at: str
    entered: str | None = Field(description="Id of the event that was entered, if any")


class ShelfOut(BaseModel):
    """One version of a kept table or measured card."""

    name: str
    version: int
    sha256: str
    facts: dict[str, Any]
    added_at: str
    added_by: str
    retired: bool


class TokenOut(BaseModel):
    """A key for a program; the secret is told once, when it is made."""

    id: int
    name: str
    member: str
    created_at: str
    secret: str | None = None


class MemberIn(BaseModel):
    """A member to add."""

    name: str = Field(min_length=1, max_length=80)
    role: Literal["technician", "qa", "keeper"] = "technician"
    password: str = Field(min_length=1, max_length=1000)


class MemberOut(BaseModel):
    """A member of the shop."""

    name: str
    role: str
    added_at: str


class BlockOut(BaseModel):
    """One block of a printed chart: its colour after correction, or why it has none."""

    pad: int
    value: float
    lab: list[float] | None
    hex: str | None
    reasons: list[str]
    why: str | None = Field(description="The reasons in words")


class ChartOut(BaseModel):
    """What was seen of a printed chart beside the card."""

    card: dict[str, bool]
    reasons: list[str]
    blocks: list[BlockOut]
    table: str | None = Field(description="The table as CSV, kind from_chart")
    trouble: str | None = Field(description="Why the blocks make no table")
