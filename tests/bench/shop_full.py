"""A shop full of tubs, events, photos and reviews, kept in its books for the service's figures."""

from __future__ import annotations

import random
import uuid
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import insert, select
from sqlalchemy.orm import Session

from api import photo_files, shelf
from api.books import Desk, as_log, checked_answer, keep_summary
from api.intake import keep_reading
from api.look import Look, Wish
from api.named import Named
from api.procedures import shop_procedures
from api.review import open_for
from api.store import (
    Decision,
    KeptFile,
    Photo,
    Review,
    Store,
    Tub,
    TubEvent,
    TubVersion,
    open_store,
)
from api.workers import Fault

SAMPLES = Path(__file__).parents[2] / "sample_images"
PHOTOS = ("01-shade.jpg", "02-workbench.jpg", "03-turned.jpg", "06-evening-lamp.jpg")
TUB = {
    "name": "Tub",
    "volume_l": 1250,
    "temperature_c": 38.0,
    "sanitizer": "salt_chlorine",
    "has_sensor": True,
    "procedure": "upkeep",
}


LOGS = 25
"""Different logs among the tubs; the engine is asked once for each, to fill the books quickly."""


def fill(home: Path, tubs: int, events: int) -> list[str]:
    """Keep so many tubs with so many events each, and return their ids."""
    home.mkdir(parents=True, exist_ok=True)
    store = open_store(f"sqlite:///{home / 'dipstep.db'}")
    now, chance = datetime.now(UTC), random.Random(7)
    desk = Desk(now, "bench", shop_procedures(home))
    logs = [[event(j, events, now, chance) for j in range(events)] for _ in range(min(LOGS, tubs))]
    answers = [checked_answer({**as_log(TUB), "events": one}, desk) for one in logs]
    ids = [str(uuid.UUID(int=chance.getrandbits(128))) for _ in range(tubs)]
    for i, tub_id in enumerate(ids):
        with store.writing() as session:
            session.add(Tub(id=tub_id, created_at=now, created_by="bench"))
            session.flush()
            said = {**TUB, "name": f"Tub {i + 1}"}
            session.add(TubVersion(tub_id=tub_id, data=said, at=now, by="bench"))
            session.execute(insert(TubEvent), [entered(tub_id, one) for one in logs[i % LOGS]])
            keep_summary(session, tub_id, desk, answers[i % LOGS])
    add_reviews(store, home, ids[:WITH_PHOTOS], desk)
    store.close()
    return ids


WITH_PHOTOS, PHOTOS_EACH, DECIDED = 50, 8, 0.6
"""Tubs with photos, photos of each, and the share of reviews that were decided."""


def add_reviews(store: Store, home: Path, ids: Sequence[str], desk: Desk) -> None:
    """Keep photos with their readings and reviews, some decided, for these tubs."""
    files = [Named(name, (SAMPLES / name).read_bytes()) for name in PHOTOS]
    table = Named("table.csv", (SAMPLES / "table.csv").read_bytes())
    readings = []
    for file in files:
        answer = Look(file, Wish(table)).answer()
        if isinstance(answer, Fault):
            raise RuntimeError(answer.message)
        readings.append((photo_files.keep(home, file.data), answer.reading))
    chance = random.Random(5)
    with store.writing() as session:
        kept, _ = shelf.put(session, "table", "sample", table, desk.now, "bench")
        for tub_id in ids:
            for j in range(PHOTOS_EACH):
                sha256, reading = readings[j % len(readings)]
                add_photo(session, tub_id, sha256, reading, kept, j, desk)
        waiting = session.scalars(select(Review)).all()
        session.add_all(
            Decision(
                review_id=one.id,
                decision="accept",
                value=None,
                source=None,
                note="looks right",
                event_id=None,
                at=desk.now,
                by="bench",
            )
            for one in waiting
            if chance.random() < DECIDED
        )


def add_photo(
    session: Session,
    tub_id: str,
    sha256: str,
    reading: dict[str, Any],
    table: KeptFile,
    j: int,
    desk: Desk,
) -> None:
    """Keep one photo with its reading, all of its pads up for review."""
    at = desk.now - timedelta(days=j + 1)
    photo = Photo(
        tub_id=tub_id,
        sha256=sha256,
        sent_sha256=f"{j}-{tub_id}",
        name=reading["photo"],
        taken_at=at,
        elapsed_s=15.0,
        key=None,
        answer={},
        sent_at=at,
        sent_by="bench",
    )
    session.add(photo)
    session.flush()
    kept = keep_reading(session, photo.id, reading, (table, None), desk)
    open_for(session, kept.id, tub_id, reading, reading["readings"][:3], at, desk.now)


def entered(tub_id: str, data: dict[str, Any]) -> dict[str, Any]:
    """Return one event as a row."""
    at = datetime.fromisoformat(data["at"])
    return {
        "id": str(uuid.uuid4()),
        "tub_id": tub_id,
        "at": at,
        "type": "reading",
        "data": data,
        "origin": "photo",
        "reading_id": None,
        "replaces": None,
        "key": None,
        "entered_at": at,
        "entered_by": "bench",
    }


def event(j: int, count: int, now: datetime, chance: random.Random) -> dict[str, Any]:
    """Return one of a tub's readings, about seven hours apart."""
    analyte, middle, unit = (
        ("ph", 7.5, "pH"),
        ("free_chlorine", 4.0, "mg/L"),
        ("total_alkalinity", 90.0, "mg/L"),
        ("calcium_hardness", 50.0, "mg/L"),
    )[j % 4]
    at = now - timedelta(hours=7 * (count - j))
    value = round(middle * chance.uniform(0.97, 1.03), 2)
    band = {"low": round(0.95 * value, 2), "high": round(1.05 * value, 2)}
    head = {"at": at.isoformat(), "type": "reading", "analyte": analyte, "value": value}
    return {**head, **band, "unit": unit, "source": "photo", "sample": "tub"}
