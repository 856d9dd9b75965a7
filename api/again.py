"""A kept photo read again with newer versions: a reading beside the old one; the log stays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import intake, photo_files, shelf
from api.books import Desk
from api.look import Look, Wish
from api.named import Named
from api.settings import Settings
from api.store import KeptFile, Photo, Reading, Store
from api.workers import ReadingPool


@dataclass(frozen=True)
class Compared:
    """One pad as it was read before and as it is read now."""

    pad: int
    analyte: str
    unit: str
    before: Mapping[str, Any] | None
    now: Mapping[str, Any] | None

    @property
    def changed(self) -> bool:
        """Say whether value, band or verdict differ."""
        keys = ("value", "low", "high", "status")
        return [(self.before or {}).get(key) for key in keys] != [
            (self.now or {}).get(key) for key in keys
        ]


@dataclass(frozen=True)
class Again:
    """A photo's newest reading beside the one before."""

    photo: Photo
    before: Reading
    now: Reading
    versions: tuple[str, str]
    """Table and card of the reading before, and of the one now."""
    pads: tuple[Compared, ...]


def newest_versions(session: Session, reading: Reading) -> tuple[KeptFile, KeptFile | None]:
    """Return the newest versions of the table and card that a reading was made with."""
    table = session.get_one(KeptFile, reading.table_id)
    card = session.get(KeptFile, reading.card_id) if reading.card_id else None
    newest = shelf.latest(session, "table", table.name) or table
    return newest, (shelf.latest(session, "card", card.name) or card) if card else None


def read_again(
    photo_id: int, store: Store, pool: ReadingPool, settings: Settings, desk: Desk
) -> Again:
    """Read a kept photo with the newest versions and keep the reading; the log stays as it is.

    Raises ValueError (one sentence) when the photo cannot be read with them; nothing was kept.
    """
    with store.reading() as session:
        photo = session.get_one(Photo, photo_id)
        before = newest_reading(session, photo_id)
        table, card = newest_versions(session, before)
    data = photo_files.load(settings.home, photo.sha256)
    measured = None if card is None else shelf.named(card)
    wish = Wish(shelf.named(table), measured, elapsed_s=photo.elapsed_s)
    answer = pool.read(Look(Named(photo.name, data), wish))
    reading = intake.reading_of(answer, photo.name)
    with store.writing() as session:
        now = intake.keep_reading(session, photo_id, reading, (table, card), desk)
        return compared(session, photo, before, now)


def newest_reading(session: Session, photo_id: int) -> Reading:
    """Return the newest reading of a photo."""
    query = select(Reading).where(Reading.photo_id == photo_id).order_by(Reading.id.desc())
    return session.scalars(query.limit(1)).one()


def compared(session: Session, photo: Photo, before: Reading, now: Reading) -> Again:
    """Return two readings of one photo side by side."""
    old = {pad["pad"]: pad for pad in before.data["readings"]}
    new = {pad["pad"]: pad for pad in now.data["readings"]}
    pads = tuple(pair(old.get(place), new.get(place)) for place in sorted({*old, *new}))
    return Again(photo, before, now, (versions(session, before), versions(session, now)), pads)


def pair(before: Mapping[str, Any] | None, now: Mapping[str, Any] | None) -> Compared:
    """Return one pad's two readings; at least one is there."""
    known = now or before or {}
    return Compared(known["pad"], known["analyte"], known["unit"], before, now)


def versions(session: Session, reading: Reading) -> str:
    """Return what a reading was made with."""
    table = session.get_one(KeptFile, reading.table_id)
    card = session.get(KeptFile, reading.card_id) if reading.card_id else None
    text = f"{table.name}, version {table.version}"
    return f"{text}; card {card.name}, version {card.version}" if card else text


def history(session: Session, photo: Photo) -> Sequence[Again]:
    """Return each later reading of a photo beside the one before, newest first."""
    query = select(Reading).where(Reading.photo_id == photo.id).order_by(Reading.id)
    found = session.scalars(query).all()
    return [compared(session, photo, old, new) for old, new in pairwise(found)][::-1]
