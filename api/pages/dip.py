"""Dip and photograph: the strip's clock, the camera, the photo on its way; and what was read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy import select
from sqlalchemy.orm import Session

from api import books, shelf
from api.again import Again, history, read_again
from api.deps import DeskOf, PoolOf, SettingsOf, StoreOf, who_asks
from api.pages.readings import ReadingView, view_of
from api.pages.render import page
from api.pages.tubs import shown_answer
from api.reasons import all_reasons
from api.routes.photos import row_of
from api.routes.tubs import unusable
from api.settings import Settings
from api.stock import Offer, fetch, offers
from api.store import Decision, KeptFile, Review, TubSummary
from api.wanted import ranges_of
from api.words import plain

router = APIRouter(
    prefix="/tubs/{tub_id}", include_in_schema=False, dependencies=[Depends(who_asks)]
)


@dataclass(frozen=True)
class Choice:
    """One strip that can be chosen, with when each pad is read."""

    name: str
    label: str
    reads: str
    """`seconds:pad, pad|seconds:pad`, for the clock."""


@dataclass(frozen=True)
class DipPage:
    """What the page to dip shows."""

    id: str
    tub: Mapping[str, Any]
    sample: str
    tables: tuple[Choice, ...]
    cards: tuple[Offer, ...]


@dataclass(frozen=True)
class PhotoPage:
    """One photo as it was read."""

    id: str
    tub: Mapping[str, Any]
    sha256: str
    taken_at: str
    sent_by: str
    reading: ReadingView
    versions: str
    earlier: tuple[Again, ...]
    """Each later reading of this photo beside the one before, newest first."""
    waiting: int
    answer: Mapping[str, Any] | None
    trouble: str | None


@router.get("/dip")
def get_dip(
    tub_id: str, store: StoreOf, settings: SettingsOf, sample: Literal["tub", "fill"] = "tub"
) -> HTMLResponse:
    """Show the strip's clock and the camera."""
    with store.reading() as session, unusable():
        shown = DipPage(
            id=tub_id,
            tub=books.tub_data(session, tub_id),
            sample=sample,
            tables=choices(session, settings),
            cards=tuple(offers(session, "card", settings)),
        )
    return page("dip.html", shown)


def choices(session: Session, settings: Settings) -> tuple[Choice, ...]:
    """Return the strips that can be chosen with the times of their pads."""
    found = []
    for offer in offers(session, "table", settings):
        file, kept = fetch(session, "table", offer.name, settings)
        row = session.get(KeptFile, kept) if kept else None
        facts = shelf.check("table", file) if row is None else row.facts
        found.append(Choice(offer.name, offer.label, reads_of(facts["pads"])))
    return tuple(found)


def reads_of(pads: list[Mapping[str, Any]]) -> str:
    """Return when which pads are read: `15:free chlorine, pH|30:calcium hardness`."""
    by_time: dict[float, list[str]] = {}
    for pad in pads:
        by_time.setdefault(float(pad["read_after_s"]), []).append(plain(pad["analyte"]))
    return "|".join(f"{at:g}:{', '.join(names)}" for at, names in sorted(by_time.items()))


@router.get("/photos/{sha256}")
def get_photo(tub_id: str, sha256: str, store: StoreOf, desk: DeskOf) -> HTMLResponse:
    """Show one photo: what was found, the readings, then the next step."""
    with unusable():
        photo, reading, table, card = row_of(store, tub_id, sha256)
    with store.reading() as session, unusable():
        tub, log = books.tub_data(session, tub_id), books.log_of(session, tub_id)
        earlier = tuple(history(session, photo))
        waiting = undecided(session, reading.id)
        kept = session.get(TubSummary, tub_id)
    answer, trouble = shown_answer(kept, log, desk, tub)
    wanted = ranges_of(answer["gates"] if answer else [])
    versions = f"{table.name}, version {table.version}"
    shown = PhotoPage(
        id=tub_id,
        tub=tub,
        sha256=sha256,
        taken_at=photo.taken_at.isoformat(),
        sent_by=photo.sent_by,
        reading=view_of({"derived": [], **reading.data}, wanted, all_reasons()),
        versions=f"{versions}; card {card.name}, version {card.version}" if card else versions,
        earlier=earlier,
        waiting=waiting,
        answer=answer,
        trouble=trouble,
    )
    return page("photo.html", shown)


@router.post("/photos/{sha256}/again")
def post_again(
    tub_id: str, sha256: str, store: StoreOf, pool: PoolOf, settings: SettingsOf, desk: DeskOf
) -> Response:
    """Read the photo again with the newest versions of its table and card."""
    with unusable():
        photo = row_of(store, tub_id, sha256)[0]
        read_again(photo.id, store, pool, settings, desk)
    return RedirectResponse(f"/tubs/{tub_id}/photos/{sha256}#again", 303)


def undecided(session: Session, reading_id: int) -> int:
    """Return how many pads of a reading still wait for a recheck."""
    query = (
        select(Review.id)
        .outerjoin(Decision, Decision.review_id == Review.id)
        .where(Review.reading_id == reading_id, Decision.id.is_(None))
    )
    return len(list(session.scalars(query)))
