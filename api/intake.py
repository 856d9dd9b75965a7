"""A photo comes in for a tub: kept, read, entered, answered; once, however often it is sent."""

from __future__ import annotations

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from typing import Any

from sqlalchemy import or_, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from api import books, control_books, photo_files, review, shelf
from api.books import Desk, Origin
from api.entries import event_of, loggable
from api.look import Look, Wish
from api.named import Named
from api.position import blank_position
from api.settings import Settings
from api.stock import SAMPLE, fetch
from api.store import KeptFile, Photo, Reading, Store, TubSummary
from api.wire import unread_json
from api.workers import Answer, Fault, ReadingPool


@dataclass(frozen=True)
class Sent:
    """A photo as it was sent."""

    tub_id: str
    photo: Named
    table: Named | str
    measured: Named | str | None
    elapsed_s: float | None
    taken_at: datetime | None
    key: str | None
    """The sender's idempotency key."""
    sample: str = "tub"
    """Which water was dipped: `tub`, or `fill` for the water from the hose."""
    dipped_at: datetime | None = None
    """When the strip was dipped; `elapsed_s` wins where both are given."""


class UnusablePhotoError(ValueError):
    """A photo in which nothing could be looked at; nothing was kept."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


def take_in(
    sent: Sent, store: Store, pool: ReadingPool, settings: Settings, desk: Desk
) -> tuple[dict[str, Any], bool]:
    """Return the answer for the sender, and whether the photo is new.

    Raises
    ------
    NoSuchTubError, UnusablePhotoError, ValueError
        One sentence: what is wrong, where, what to do; nothing was kept.
    """
    known = told_before(sent, store)
    if known is not None:
        return known, False
    for name, moment in (("taken_at", sent.taken_at), ("dipped_at", sent.dipped_at)):
        if moment is not None and moment > desk.now + books.CLOCKS_APART:
            raise ValueError(f"{name}: lies in the future; correct the phone's clock or the time")
    table, card = versions(sent, store, settings, desk)
    clean = Named(sent.photo.name, blank_position(sent.photo.data))
    measured = None if card is None else shelf.named(card)
    wish = Wish(shelf.named(table), measured, elapsed_s=sent.elapsed_s, dipped_at=sent.dipped_at)
    beside = threading.Thread(target=books.replay, args=(store, sent.tub_id, desk), daemon=True)
    beside.start()  # while a reader reads, the log is made ready for what it reads
    answer = pool.read(Look(clean, wish))
    beside.join()
    with store.reading() as session:
        broken = control_books.broken_for(session, table)
    reading = control_books.held_back(reading_of(answer, clean.name), broken)
    sha256 = photo_files.keep(settings.home, clean.data)
    try:
        with store.writing() as session:
            return enter(session, sent, sha256, reading, (table, card), desk), True
    except IntegrityError:  # the same photo came in twice at once, and the other was first
        known = told_before(sent, store)
        if known is None:
            raise
        return known, False


def versions(
    sent: Sent, store: Store, settings: Settings, desk: Desk
) -> tuple[KeptFile, KeptFile | None]:
    """Return the kept table and card; only what is not kept yet asks for the books' one pen."""
    with store.reading() as session:
        books.tub_data(session, sent.tub_id)
        table = kept_already(session, "table", sent.table)
        card = kept_already(session, "card", sent.measured) if sent.measured else None
    if table is None or (sent.measured and card is None):
        with store.writing() as session:
            table = shelved(session, "table", sent.table, settings, desk)
            if sent.measured:
                card = shelved(session, "card", sent.measured, settings, desk)
    return table, card


def kept_already(session: Session, kind: shelf.Kind, choice: Named | str) -> KeptFile | None:
    """Return the newest kept version of a name; None where a file came or nothing is kept."""
    return shelf.latest(session, kind, choice) if isinstance(choice, str) else None


def told_before(sent: Sent, store: Store) -> dict[str, Any] | None:
    """Return what was answered when this photo or this key came before."""
    same = Photo.sent_sha256 == sent.photo.sha256
    if sent.key is not None:
        same = or_(same, Photo.key == sent.key)
    with store.reading() as session:
        query = select(Photo.answer).where(Photo.tub_id == sent.tub_id, same)
        answer: dict[str, Any] | None = session.scalars(query.limit(1)).first()
        return answer


def shelved(
    session: Session,
    kind: shelf.Kind,
    choice: Named | str,
    settings: Settings,
    desk: Desk,
) -> KeptFile:
    """Return the kept version of what was sent or named; what was sent is kept first."""
    if isinstance(choice, str):
        file, found = fetch(session, kind, choice, settings)
        kept = None if found is None else session.get(KeptFile, found)
        if kept is not None:
            return kept
        return shelf.put(session, kind, SAMPLE, file, desk.now, desk.by)[0]
    facts = shelf.check(kind, choice)
    name = str(facts.get("strip") or facts.get("design"))
    return shelf.put(session, kind, name, choice, desk.now, desk.by)[0]


def reading_of(answer: Answer | Fault, name: str) -> dict[str, Any]:
    """Return the reading; a photo that broke the reader is kept as unreadable."""
    if isinstance(answer, Answer):
        return answer.reading
    if answer.code == "reading_stopped":
        return unread_json(name, answer.code, answer.message)
    raise UnusablePhotoError(answer.code, answer.message)


def enter(
    session: Session,
    sent: Sent,
    sha256: str,
    reading: Mapping[str, Any],
    versions: tuple[KeptFile, KeptFile | None],
    desk: Desk,
) -> dict[str, Any]:
    """Keep photo and reading, enter what was accepted, put the rest up for review."""
    taken_at = sent.taken_at or desk.now
    photo = Photo(
        tub_id=sent.tub_id,
        sha256=sha256,
        sent_sha256=sent.photo.sha256,
        name=sent.photo.name[-255:],
        taken_at=taken_at,
        # What the photo's own time told is kept, so that it holds when it is read again.
        elapsed_s=reading.get("elapsed_s") if sent.elapsed_s is None else sent.elapsed_s,
        key=sent.key,
        answer={},
        sent_at=desk.now,
        sent_by=desk.by,
    )
    session.add(photo)
    session.flush()
    kept = keep_reading(session, photo.id, reading, versions, desk)
    pads = [{**pad, "sample": sent.sample} for pad in reading["readings"]]
    accepted = [pad for pad in pads if pad["status"] == "accepted"]
    entered = enter_pads(session, sent.tub_id, accepted, kept.id, taken_at, desk)
    done = {event.data["analyte"] for event in entered}
    waiting = [pad for pad in pads if pad["analyte"] not in done]
    review.open_for(session, kept.id, sent.tub_id, reading, waiting, taken_at, desk.now)
    photo.answer = {
        "photo": sha256,
        "reading": dict(reading),
        "entered": [{"id": event.id, **event.data} for event in entered],
        "next": next_after(session, sent.tub_id, bool(entered), desk),
    }
    return photo.answer


def next_after(session: Session, tub_id: str, entered: bool, desk: Desk) -> Any:
    """Return the next step; the engine was asked already when something was entered."""
    if entered:
        kept = session.get(TubSummary, tub_id)
        return kept.answer if kept else None
    return books.refresh(session, tub_id, desk)


def keep_reading(
    session: Session,
    photo_id: int,
    reading: Mapping[str, Any],
    versions: tuple[KeptFile, KeptFile | None],
    desk: Desk,
) -> Reading:
    """Keep one reading with the versions of table, card and software it was made with."""
    table, card = versions
    kept = Reading(
        photo_id=photo_id,
        table_id=table.id,
        card_id=None if card is None else card.id,
        software=version("dipstep"),
        status=reading["status"],
        data=dict(reading),
        made_at=desk.now,
        made_by=desk.by,
    )
    session.add(kept)
    session.flush()
    return kept


def enter_pads(
    session: Session,
    tub_id: str,
    pads: Sequence[Mapping[str, Any]],
    reading_id: int,
    taken_at: datetime,
    desk: Desk,
) -> list[Any]:
    """Enter the accepted pads the log knows; none when the log could not be used with them."""
    events = [event_of(pad, taken_at) for pad in pads if loggable(pad)]
    if not events:
        return []
    try:
        return books.enter(session, tub_id, events, desk, Origin("photo", reading_id))
    except ValueError:
        return []  # they wait for review instead; nothing is lost
