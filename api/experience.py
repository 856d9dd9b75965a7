"""What the shop's own experience says of the tool: flagged, disagreed with, band held or not."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.control_books import strip_and_lot
from api.store import Decision, KeptFile, Photo, Reading, Review, TubEvent

LIGHT_CODES = (
    "light_warm",
    "light_poor",
    "uneven_light",
    "hard_shadow",
    "overexposed",
    "underexposed",
)
"""Reasons that name the light; a photo with none of them had good light."""
MOST = 2000
"""Readings that are counted, the newest; a page must come soon, and old lots are gone."""
SAME_WATER_S = 3600.0
"""A drop test within this time of a photo speaks of the same water."""


@dataclass(frozen=True)
class Experience:
    """One group of readings and what became of them."""

    group: str
    pads: int
    flagged: int
    decided: int
    disagreed: int
    """Decisions that gave another value or asked for another dip."""
    compared: int
    """Photo readings with another method's value of the same water."""
    held: int
    """Of these, how many bands held the other method's value."""


@dataclass
class _Count:
    pads: int = 0
    flagged: int = 0
    decided: int = 0
    disagreed: int = 0
    compared: int = 0
    held: int = 0


Groups = tuple[tuple[Experience, ...], tuple[Experience, ...], tuple[Experience, ...]]


def experience(session: Session) -> Groups:
    """Return the groups by strip lot, by technician and by light."""
    counts: tuple[dict[str, _Count], ...] = tuple(defaultdict(_Count) for _ in range(3))
    decisions = decisions_by_pad(session)
    others = other_methods(session)
    for reading_id, data, facts, table, tub_id, taken_at, sent_by in newest_readings(session):
        groups = (strip_and_lot(facts, table), sent_by, light_of(data))
        at = taken_at.timestamp()
        for pad in data["readings"]:
            decision = decisions.get((reading_id, pad["pad"]))
            other = nearest(others.get((tub_id, pad["analyte"]), ()), at)
            for count, group in zip(counts, groups, strict=True):
                add(count[group], pad, decision, other)
    by_lot, by_person, by_light = (_told(count) for count in counts)
    return by_lot, by_person, by_light


def newest_readings(session: Session) -> Iterable[Any]:
    """Return what is counted of the newest readings, and of what they were made with."""
    query = (
        select(
            *(Reading.id, Reading.data, KeptFile.facts, KeptFile.name),
            *(Photo.tub_id, Photo.taken_at, Photo.sent_by),
        )
        .join(Photo, Reading.photo_id == Photo.id)
        .join(KeptFile, Reading.table_id == KeptFile.id)
        .order_by(Reading.id.desc())
        .limit(MOST)
    )
    return session.execute(query)


def add(count: _Count, pad: Mapping[str, Any], decision: str | None, other: float | None) -> None:
    """Count one pad."""
    count.pads += 1
    count.flagged += pad["status"] != "accepted"
    count.decided += decision is not None
    count.disagreed += decision in ("correct", "dip_again")
    if other is not None and pad["value"] is not None:
        count.compared += 1
        low, high = pad["low"], pad["high"]
        count.held += (low is None or other >= low) and (high is None or other <= high)


def light_of(reading: Mapping[str, Any]) -> str:
    """Return what the photo's reasons say of the light."""
    found = {code for code in reading["reasons"] if code in LIGHT_CODES}
    found |= {code for pad in reading["readings"] for code in pad["reasons"] if code in LIGHT_CODES}
    return ", ".join(sorted(code.replace("_", " ") for code in found)) or "good light"


def decisions_by_pad(session: Session) -> dict[tuple[int, int], str]:
    """Return the decision on each reading's pad."""
    query = select(Review.reading_id, Review.pad, Decision.decision).join(
        Decision, Decision.review_id == Review.id
    )
    return {(reading, pad): decision for reading, pad, decision in session.execute(query)}


def other_methods(session: Session) -> dict[tuple[str, str], list[tuple[float, float]]]:
    """Return (time, value) of drop tests and laboratory results by tub and analyte."""
    found: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    query = (
        select(TubEvent.tub_id, TubEvent.at, TubEvent.data)
        .where(TubEvent.type == "reading", TubEvent.origin != "photo")
        .where(TubEvent.tub_id.in_(select(Photo.tub_id)))
    )
    for tub_id, at, data in session.execute(query):
        if data["source"] in ("drop_test", "lab") and data.get("sample", "tub") == "tub":
            found[tub_id, data["analyte"]].append((at.timestamp(), data["value"]))
    return found


def nearest(others: Iterable[tuple[float, float]], at: float) -> float | None:
    """Return the other method's value nearest in time, if it speaks of the same water."""
    apart, value = min(((abs(when - at), value) for when, value in others), default=(1e18, 0.0))
    return value if apart <= SAME_WATER_S else None


def _told(counts: Mapping[str, _Count]) -> tuple[Experience, ...]:
    return tuple(Experience(group, **vars(one)) for group, one in sorted(counts.items()))
