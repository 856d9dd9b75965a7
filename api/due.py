"""What the list of tubs shows of each: kept beside the answer at every write, read without it."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Text, and_, cast, false, func, or_, select
from sqlalchemy.orm import Session
from sqlalchemy.sql.elements import ColumnElement

from api.store import TubSummary, TubVersion

OUTDATED = datetime(2000, 1, 1, tzinfo=UTC)
"""Moment of asking of an answer that no longer holds, because what it rests on has changed."""
NOTHING: Mapping[str, Any] = dict.fromkeys(("due_at", "stage", "kind", "text"))


@dataclass(frozen=True)
class Due:
    """One tub as the list shows it."""

    tub_id: str
    tub: Mapping[str, Any]
    """What is now said of the tub."""
    stage: str | None
    kind: str | None
    """Kind of the next step; None where there is no answer."""
    text: str | None
    due_at: datetime | None
    """The moment the answer waits for."""
    trouble: str | None


def of_answer(answer: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return the columns of `TubSummary` that the list is made from."""
    if answer is None:
        return dict(NOTHING)
    step = answer["step"]
    due = step["not_before"]
    return {
        "due_at": None if due is None else datetime.fromisoformat(due),
        "stage": answer["stage"],
        "kind": step["kind"],
        "text": step["text"],
    }


def listed(session: Session) -> list[Due]:
    """Return every tub with what is due."""
    kept = TubSummary
    query = (
        select(
            TubVersion.tub_id,
            TubVersion.data,
            *(kept.stage, kept.kind, kept.text, kept.due_at, kept.trouble),
        )
        .outerjoin(kept, kept.tub_id == TubVersion.tub_id)
        .where(TubVersion.id.in_(newest_versions()))
        .order_by(TubVersion.tub_id)
    )
    return [Due(*row) for row in session.execute(query)]


def newest_versions() -> Any:
    """Return the query for the number of each tub's newest version."""
    return select(func.max(TubVersion.id)).group_by(TubVersion.tub_id)


def names(session: Session, tub_ids: Collection[str]) -> dict[str, str]:
    """Return what these tubs are called now."""
    query = (
        select(TubVersion.tub_id, TubVersion.data)
        .where(TubVersion.tub_id.in_(set(tub_ids)))
        .order_by(TubVersion.id)
    )
    return {tub_id: str(data["name"]) for tub_id, data in session.execute(query)}


def whole_list(session: Session) -> Iterator[str]:
    """Yield each tub with its last answer as JSON; the answers are not taken apart on the way."""
    query = (
        select(
            TubVersion.tub_id, TubVersion.data, TubSummary.asked_at, cast(TubSummary.answer, Text)
        )
        .outerjoin(TubSummary, TubSummary.tub_id == TubVersion.tub_id)
        .where(TubVersion.id.in_(newest_versions()))
        .order_by(TubVersion.id)
    )
    for tub_id, data, asked_at, answer in session.execute(query):
        head = {"id": tub_id, **data, "asked_at": asked_at.isoformat() if asked_at else None}
        yield f'{json.dumps(head)[:-1]}, "next": {answer or "null"}}}'


def ended(now: datetime) -> ColumnElement[bool]:
    """Return the condition that what an answer waits for has come since, or that it is outdated."""
    has_come = and_(TubSummary.due_at <= now, TubSummary.asked_at < TubSummary.due_at)
    return or_(has_come, TubSummary.asked_at == OUTDATED)


def to_ask(
    session: Session, now: datetime, older_than: datetime | None = None
) -> list[tuple[str, datetime]]:
    """Return tub and moment of asking of each answer to be made anew, ended waits first."""
    old = false() if older_than is None else TubSummary.asked_at < older_than
    query = (
        select(TubSummary.tub_id, TubSummary.asked_at)
        .where(or_(ended(now), old))
        .order_by(~ended(now), TubSummary.due_at, TubSummary.asked_at)
    )
    return [(tub_id, asked_at) for tub_id, asked_at in session.execute(query)]


def next_end(session: Session) -> datetime | None:
    """Return when the next wait of any tub ends."""
    query = select(func.min(TubSummary.due_at)).where(TubSummary.asked_at < TubSummary.due_at)
    found: datetime | None = session.scalar(query)
    return found


def asked_last(session: Session, without: Collection[str]) -> str | None:
    """Return the tub that was asked for last, but for those named."""
    query = select(TubSummary.tub_id).order_by(TubSummary.asked_at.desc())
    return next((one for one in session.scalars(query) if one not in without), None)
