"""The joint of readings and logs: tubs, events and what follows from them; rows are only added."""

from __future__ import annotations

import contextlib
import json
import re
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session, aliased

from api import goods
from api.advise import FindProcedure, advise
from api.dosed import as_dosed
from api.due import of_answer
from api.replay import Replays
from api.store import Store, Tub, TubEvent, TubSummary, TubVersion, Withdrawal

TUB_KEYS = (
    *("name", "volume_l", "temperature_c", "sanitizer", "has_sensor"),
    "bathers_per_day",
)
KEYS = (*TUB_KEYS, "procedure", "products", "units")
UNITS = ("metric", "us")
"""Units in which a tub's page says a dose; `us` adds ounces and cups to the grams."""
REPLAYS = Replays()
"""A memory for speed alone: answers are the same without it."""
CLOCKS_APART = timedelta(minutes=5)
"""How far a phone's clock may run ahead of ours."""


class NoSuchTubError(LookupError):
    """There is no tub of this id."""


@dataclass(frozen=True)
class Desk:
    """Who writes, when, and where procedures are found."""

    now: datetime
    by: str
    find_procedure: FindProcedure


def add_tub(session: Session, record: Mapping[str, Any], desk: Desk) -> str:
    """Keep a new tub and return its id; raise ValueError when the record cannot be used."""
    data = checked_tub(record, desk)
    tub = Tub(id=str(uuid.uuid4()), created_at=desk.now, created_by=desk.by)
    session.add(tub)
    session.flush()
    _new_version(session, tub.id, data, desk)
    return tub.id


def take_turn(session: Session, tub_id: str) -> None:
    """Wait until nobody else writes for this tub: what follows sees all that was written before.

    On SQLite there is one pen for all the books and nothing to wait for.
    """
    session.execute(select(Tub.id).where(Tub.id == tub_id).with_for_update())


def change_tub(session: Session, tub_id: str, changes: Mapping[str, Any], desk: Desk) -> None:
    """Keep what is now said of the tub; what was said before stays."""
    take_turn(session, tub_id)
    before = tub_data(session, tub_id)
    data = checked_tub({**before, **flat(changes)}, desk)
    if data != before:
        log = log_of(session, tub_id)
        checked_answer({**log, **as_log(data)}, desk)
        _new_version(session, tub_id, data, desk)


def _new_version(session: Session, tub_id: str, data: dict[str, Any], desk: Desk) -> None:
    session.add(TubVersion(tub_id=tub_id, data=data, at=desk.now, by=desk.by))
    session.flush()
    refresh(session, tub_id, desk)


def flat(record: Mapping[str, Any]) -> dict[str, Any]:
    """Return a tub's record with the log's `tub` object unfolded, as it may also be sent."""
    if not isinstance(record, Mapping):
        raise ValueError("a tub is an object with name, volume_l and the rest; see /openapi.json")
    inner = record.get("tub")
    data = {**{k: v for k, v in record.items() if k != "tub"}}
    return {**data, **inner} if isinstance(inner, Mapping) else dict(record)


def checked_tub(record: Mapping[str, Any], desk: Desk) -> dict[str, Any]:
    """Return the tub's fields; raise ValueError with field and cure when one cannot be used."""
    data = {key: value for key, value in flat(record).items() if key in KEYS}
    unknown = sorted(set(flat(record)) - {*KEYS, "id"})
    if unknown:
        raise ValueError(f"the tub: {unknown[0]!r} is unknown; known are {', '.join(KEYS)}")
    data.setdefault("procedure", "salt_startup")
    if data.get("bathers_per_day") is None:
        data.pop("bathers_per_day", None)
    if data.get("units", UNITS[0]) not in UNITS:
        raise ValueError(f"units: {data['units']!r} is unknown; known are {', '.join(UNITS)}")
    checked_answer({**as_log(data), "events": []}, desk)
    return data


def as_log(data: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tub's fields as the head of a log."""
    head: dict[str, Any] = {"tub": {key: data[key] for key in TUB_KEYS if key in data}}
    head["procedure"] = data.get("procedure")
    return {**head, "products": data["products"]} if data.get("products") else head


def tub_data(session: Session, tub_id: str) -> dict[str, Any]:
    """Return what is now said of the tub; raise `NoSuchTubError`."""
    query = select(TubVersion).where(TubVersion.tub_id == tub_id).order_by(TubVersion.id.desc())
    newest = session.scalars(query.limit(1)).first()
    if newest is None:
        raise NoSuchTubError(tub_id)
    return dict(newest.data)


def followers(session: Session, procedure: str) -> list[str]:
    """Return the tubs that now follow a procedure."""
    newest = select(func.max(TubVersion.id)).group_by(TubVersion.tub_id)
    said = session.scalars(select(TubVersion).where(TubVersion.id.in_(newest)))
    return [one.tub_id for one in said if one.data.get("procedure") == procedure]


def events_in(session: Session, tub_id: str) -> Sequence[TubEvent]:
    """Return the events that stand: neither withdrawn nor replaced, in order of time."""
    newer = aliased(TubEvent)
    query = (
        select(TubEvent)
        .where(TubEvent.tub_id == tub_id)
        .where(~select(newer.id).where(newer.replaces == TubEvent.id).exists())
        .where(~select(Withdrawal.id).where(Withdrawal.event_id == TubEvent.id).exists())
        .order_by(TubEvent.at, TubEvent.place)
    )
    return session.scalars(query).all()


def log_of(session: Session, tub_id: str, leaving_out: str | None = None) -> dict[str, Any]:
    """Return the whole log as `dipstep next` takes it, but for an event that is replaced."""
    standing = [event for event in events_in(session, tub_id) if event.id != leaving_out]
    said = tub_data(session, tub_id)
    return as_whole_log(session, tub_id, said, [event.data for event in standing])


def as_whole_log(
    session: Session, tub_id: str, tub: Mapping[str, Any], events: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Return a tub's log; one without products of its own gets the shop's, if it keeps a list.

    Each dose stands with the product as it was when it was given.
    """
    log = {**as_log(tub), "events": list(events)}
    own = [] if "products" in log else goods.at_hand(session, events)
    return as_dosed(session, tub_id, {**log, "products": own} if own else log)


def checked_answer(log: Mapping[str, Any], desk: Desk) -> dict[str, Any]:
    """Return the engine's answer for a log; raise ValueError when the log cannot be used."""
    times = [_moment(event.get("at")) for event in log["events"]]
    ahead = [at for at in times if at and desk.now < at <= desk.now + CLOCKS_APART]
    at = max(ahead, default=desk.now)
    answer, _ = advise(json.dumps(log), "the log", at, desk.find_procedure, replays=REPLAYS)
    return answer


def replay(store: Store, tub_id: str, desk: Desk) -> None:
    """Replay a tub's log before the books' one pen is asked for: then only its end is left."""
    # Who writes next hears what is wrong.
    with contextlib.suppress(ValueError, NoSuchTubError, SQLAlchemyError):
        with store.reading() as session:
            log = log_of(session, tub_id)
        checked_answer(log, desk)


def _moment(text: Any) -> datetime | None:
    """Return the text as a moment, or None when it is none: the engine says why."""
    try:
        when = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
    return when if when.tzinfo else None


def refresh(session: Session, tub_id: str, desk: Desk) -> dict[str, Any] | None:
    """Ask the engine anew and keep the answer for the list of tubs."""
    take_turn(session, tub_id)
    answer, trouble = None, None
    try:
        answer = checked_answer(log_of(session, tub_id), desk)
    except ValueError as fault:
        trouble = str(fault)
    keep_summary(session, tub_id, desk, answer, trouble)
    return answer


def keep_summary(
    session: Session,
    tub_id: str,
    desk: Desk,
    answer: dict[str, Any] | None,
    trouble: str | None = None,
) -> None:
    """Keep the engine's answer for the list of tubs."""
    kept = TubSummary(tub_id=tub_id, asked_at=desk.now, answer=answer, trouble=trouble)
    for name, value in of_answer(answer).items():
        setattr(kept, name, value)
    session.merge(kept)


@dataclass(frozen=True)
class Origin:
    """Where an event comes from."""

    kind: str = "hand"
    """`hand`, `photo` or `review`."""
    reading_id: int | None = None
    replaces: str | None = None
    key: str | None = None
    """The sender's idempotency key."""


def enter(
    session: Session, tub_id: str, events: Sequence[Mapping[str, Any]], desk: Desk, origin: Origin
) -> list[TubEvent]:
    """Enter events, all or none; raise ValueError when the log could not be used with them."""
    take_turn(session, tub_id)
    said = tub_data(session, tub_id)
    standing = [one.data for one in events_in(session, tub_id) if one.id != origin.replaces]
    try:
        log = as_whole_log(session, tub_id, said, [*standing, *events])
        answer = checked_answer(log, desk)
    except ValueError as fault:
        raise ValueError(in_its_place(str(fault), len(standing))) from None
    entered = [_event(tub_id, event, desk, origin) for event in events]
    session.add_all(entered)
    session.flush()
    keep_summary(session, tub_id, desk, answer)
    return entered


def in_its_place(message: str, first: int) -> str:
    """Return the engine's message with the sender's own count of events."""

    def own(found: re.Match[str]) -> str:
        place = int(found[1]) - first
        return found[0] if place < 0 else "the event" if place == 0 else f"event {place + 1}"

    return re.sub(r"events\[(\d+)\]", own, message.removeprefix("the log: "))


def _event(tub_id: str, event: Mapping[str, Any], desk: Desk, origin: Origin) -> TubEvent:
    return TubEvent(
        id=str(uuid.uuid4()),
        tub_id=tub_id,
        at=datetime.fromisoformat(event["at"]),
        type=event["type"],
        data=dict(event),
        origin=origin.kind,
        reading_id=origin.reading_id,
        replaces=origin.replaces,
        key=origin.key,
        entered_at=desk.now,
        entered_by=desk.by,
    )


def by_key(session: Session, tub_id: str, key: str | None) -> TubEvent | None:
    """Return the event that was already entered under this idempotency key."""
    if key is None:
        return None
    query = select(TubEvent).where(TubEvent.tub_id == tub_id, TubEvent.key == key)
    return session.scalars(query).first()


def withdraw(session: Session, tub_id: str, event_id: str, why: str, desk: Desk) -> bool:
    """Take an event out of the log, and say whether it stood there."""
    take_turn(session, tub_id)
    if event_id not in {event.id for event in events_in(session, tub_id)}:
        return False
    session.add(Withdrawal(event_id=event_id, why=why, at=desk.now, by=desk.by))
    session.flush()
    refresh(session, tub_id, desk)
    return True
