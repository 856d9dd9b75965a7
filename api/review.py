"""The queue of readings a person must look at, and what is decided; a decision is a new row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, defer

from api import books
from api.books import Desk, Origin
from api.entries import event_of, loggable
from api.store import Decision, KeptFile, Photo, Reading, Review
from dosing.analytes import ANALYTES

DECISIONS = ("accept", "correct", "dip_again")
SOURCES = ("hand", "drop_test", "lab", "sensor", "photo")
WHOLE_PHOTO = 0
"""Pad number of a review that is about the photo as a whole."""


class NoSuchReviewError(LookupError):
    """There is no review of this id."""


class DecidedError(Exception):
    """The review was decided before; a decision is never overwritten."""


@dataclass(frozen=True)
class Waiting:
    """One reading that waits, with what a person needs to decide."""

    review: Review
    photo: Photo
    reading: Reading
    table: KeptFile
    decision: Decision | None


@dataclass(frozen=True)
class Ruling:
    """What a person decided."""

    decision: str
    value: float | None = None
    low: float | None = None
    high: float | None = None
    source: str | None = None
    note: str = ""
    at: datetime | None = None
    """When the correcting value was measured; default: the photo's time for `hand`, else now."""
    given_band: bool = False
    """Whether low and high were given at all: null is an open end, absent a default band."""


def open_for(
    session: Session,
    reading_id: int,
    tub_id: str,
    reading: Mapping[str, Any],
    pads: Sequence[Mapping[str, Any]],
    taken_at: datetime,
    now: datetime,
) -> None:
    """Put the pads up for review; a photo without card or strip goes up as a whole."""
    whole = not (reading["card"]["found"] and reading["strip"]["found"])
    items = [whole_photo(reading)] if whole else list(pads)
    session.add_all(
        Review(
            reading_id=reading_id,
            tub_id=tub_id,
            pad=pad["pad"],
            analyte=pad["analyte"],
            data=dict(pad),
            taken_at=taken_at,
            opened_at=now,
        )
        for pad in items
    )
    session.flush()


def whole_photo(reading: Mapping[str, Any]) -> dict[str, Any]:
    """Return the photo as a whole in the shape of a pad."""
    return {
        "pad": WHOLE_PHOTO,
        "analyte": "",
        "unit": "",
        **dict.fromkeys(("value", "low", "high", "lab")),
        "status": "unreadable",
        "reasons": reading["reasons"],
    }


def queue(
    session: Session, decided: bool = False, limit: int = 500, before: int | None = None
) -> list[Waiting]:
    """Return what waits for a decision, worst first; or what was decided, newest first.

    `before` is the number of a decision: only earlier ones are returned.
    """
    query = (
        select(Review, Photo, Reading, KeptFile, Decision)
        .join(Reading, Review.reading_id == Reading.id)
        .join(Photo, Reading.photo_id == Photo.id)
        .join(KeptFile, Reading.table_id == KeptFile.id)
        .outerjoin(Decision, Decision.review_id == Review.id)
        .options(defer(Photo.answer), defer(Reading.data), defer(KeptFile.data))
    )
    if decided:
        earlier = Decision.id.is_not(None) if before is None else Decision.id < before
        query = query.where(earlier).order_by(Decision.id.desc()).limit(limit)
        return [Waiting(*row) for row in session.execute(query)]
    query = query.where(Decision.id.is_(None)).order_by(Review.id).limit(limit)
    return sorted((Waiting(*row) for row in session.execute(query)), key=severity)


def severity(one: Waiting) -> tuple[int, float, int]:
    """Return the key that puts the worst first: unreadable, the widest band, the oldest."""
    pad = one.review.data
    if pad["status"] == "unreadable":
        return (0, 0.0, one.review.id)
    low, high = pad["low"], pad["high"]
    open_ended = low is None or high is None
    width = float("inf") if open_ended else (high - low) / max(abs(pad["value"]), 1e-9)
    return (1, -width, one.review.id)


def found(session: Session, review_id: int) -> Waiting:
    """Return one review; raise `NoSuchReviewError`."""
    query = (
        select(Review, Photo, Reading, KeptFile, Decision)
        .join(Reading, Review.reading_id == Reading.id)
        .join(Photo, Reading.photo_id == Photo.id)
        .join(KeptFile, Reading.table_id == KeptFile.id)
        .outerjoin(Decision, Decision.review_id == Review.id)
        .where(Review.id == review_id)
    )
    row = session.execute(query).first()
    if row is None:
        raise NoSuchReviewError(review_id)
    return Waiting(*row)


def decide(session: Session, review_id: int, ruling: Ruling, desk: Desk) -> Decision:
    """Keep a decision, and enter the value it accepts or gives.

    Raises
    ------
    NoSuchReviewError, DecidedError, ValueError
        One sentence; nothing was kept.
    """
    waiting = found(session, review_id)
    if waiting.decision is not None:
        before = waiting.decision
        raise DecidedError(
            f"review {review_id}: {before.by} decided {before.decision!r} at "
            f"{before.at.isoformat()}; enter a new value in the tub's log instead"
        )
    event = event_for(waiting, ruling, desk)
    entered = None
    if event is not None:
        origin = Origin("review", waiting.reading.id)
        entered = books.enter(session, waiting.review.tub_id, [event], desk, origin)[0]
    decision = Decision(
        review_id=review_id,
        decision=ruling.decision,
        value=ruling.value,
        source=ruling.source,
        note=ruling.note,
        event_id=None if entered is None else entered.id,
        at=desk.now,
        by=desk.by,
    )
    session.add(decision)
    session.flush()
    return decision


def event_for(waiting: Waiting, ruling: Ruling, desk: Desk) -> dict[str, Any] | None:
    """Return the event that a decision enters, or None when it enters none."""
    pad, taken_at = waiting.review.data, waiting.review.taken_at
    if ruling.decision not in DECISIONS:
        known = ", ".join(DECISIONS)
        raise ValueError(f"decision: {ruling.decision!r} is unknown; known are {known}")
    if ruling.decision == "dip_again":
        return None
    if ruling.decision == "accept":
        if not loggable(pad):
            raise ValueError("accept: there is no value to accept; correct it, or dip again")
        return event_of(pad, taken_at)
    if pad["analyte"] not in ANALYTES:
        raise ValueError("correct: this photo has no pad to correct; enter the value in the log")
    return corrected(pad, ruling, taken_at, desk)


def corrected(
    pad: Mapping[str, Any], ruling: Ruling, taken_at: datetime, desk: Desk
) -> dict[str, Any]:
    """Return the event of a value that another method gave."""
    source = ruling.source or "hand"
    if source not in SOURCES:
        raise ValueError(f"source: {source!r} is unknown; known are {', '.join(SOURCES)}")
    if ruling.value is None:
        raise ValueError("value: is missing; give what the other method showed")
    at = ruling.at or (taken_at if source in ("hand", "photo") else desk.now)
    event = {
        "at": at.isoformat(),
        "type": "reading",
        "analyte": pad["analyte"],
        "value": ruling.value,
        "unit": ANALYTES[pad["analyte"]].unit,
        "source": source,
        "sample": pad.get("sample", "tub"),
    }
    return {**event, "low": ruling.low, "high": ruling.high} if ruling.given_band else event
