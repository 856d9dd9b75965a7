"""The tubs with what is due; one tub with its next step, trends and history."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api import books, goods
from api.advise import in_units
from api.deps import DeskOf, Now, SettingsOf, StoreOf, who_asks
from api.due import Due, listed
from api.errors import ProblemError
from api.forms import FormOf, upload
from api.fresh import fresh_answer, refresh_due
from api.named import Named
from api.pages.render import page
from api.pages.rows import Row, rows_of
from api.routes.photos import photos_of
from api.routes.tubs import unusable
from api.settings import Settings
from api.store import Decision, Review, TubSummary
from api.trend import Trend, trends_of
from api.wanted import ranges_of
from dosing.analytes import ANALYTES

router = APIRouter(prefix="/tubs", include_in_schema=False, dependencies=[Depends(who_asks)])

SANITIZERS = ("salt_chlorine", "chlorine", "bromine")
PROCEDURES = ("salt_startup", "chlorine_startup", "bromine_startup", "upkeep")
SHOWN_PHOTOS = 6
SHOWN_ROWS = 20
REFRESH_S = 0.05
"""How long a look at the list may spend on answers whose wait has ended."""


@dataclass(frozen=True)
class TubLine:
    """One tub in the list."""

    id: str
    name: str
    volume_l: float
    stage: str
    due: str
    """`now`, or the moment before which nothing may be done."""
    kind: str
    text: str
    waiting: int
    """Readings that wait for a recheck."""


@dataclass(frozen=True)
class TubsPage:
    """All tubs, those that want something first."""

    tubs: tuple[TubLine, ...]
    trouble: str | None = None
    given: Mapping[str, Any] | None = None
    sanitizers: tuple[str, ...] = SANITIZERS
    procedures: tuple[str, ...] = PROCEDURES


@dataclass(frozen=True)
class PhotoLine:
    """One photo in a tub's page."""

    sha256: str
    taken_at: str
    status: str


@dataclass(frozen=True)
class TubPage:
    """One tub."""

    id: str
    tub: Mapping[str, Any]
    answer: Mapping[str, Any] | None
    trouble: str | None
    refused: str | None
    """Why a change of what is said of the tub was not kept."""
    trends: tuple[Trend, ...]
    rows: tuple[Row, ...]
    all_rows: int
    photos: tuple[PhotoLine, ...]
    waiting: int
    products: tuple[tuple[str, str], ...]
    """Id and name of what may have been given."""
    sanitizers: tuple[str, ...]
    procedures: tuple[str, ...]
    analytes: Mapping[str, Any]


@router.get("")
def get_tubs(store: StoreOf, desk: DeskOf, settings: SettingsOf, now: Now) -> HTMLResponse:
    """Show every tub with what is due; the longest overdue answers are made anew on the way."""
    refresh_due(store, desk, REFRESH_S, old=False)
    return page("tubs.html", TubsPage(lines(store, now), procedures=choosable(store, settings)))


@router.post("")
def post_tubs(
    form: FormOf, store: StoreOf, settings: SettingsOf, desk: DeskOf, now: Now
) -> Response:
    """Keep a new tub, and go to it."""
    given = tub_of(form)
    try:
        with store.writing() as session:
            tub_id = books.add_tub(session, given, desk)
    except ValueError as fault:
        own = choosable(store, settings)
        shown = TubsPage(lines(store, now), str(fault), given, procedures=own)
        return page("tubs.html", shown, 422)
    return RedirectResponse(f"/tubs/{tub_id}", 303)


def choosable(store: Any, settings: Settings) -> tuple[str, ...]:
    """Return the procedures a tub may follow: the built-in ones and the shop's own."""
    with store.reading() as session:
        return (*PROCEDURES, *goods.procedure_names(session, settings.home))


@router.post("/{tub_id}")
def post_tub(
    tub_id: str, form: FormOf, store: StoreOf, settings: SettingsOf, desk: DeskOf
) -> Response:
    """Keep what is now said of the tub, such as its temperature or another procedure."""
    try:
        with store.writing() as session:
            books.change_tub(session, tub_id, tub_of(form), desk)
    except books.NoSuchTubError:
        with unusable():
            raise
    except ValueError as fault:
        return get_tub(tub_id, store, desk, settings, refused=str(fault))
    return RedirectResponse(f"/tubs/{tub_id}", 303)


@router.get("/{tub_id}")
def get_tub(
    tub_id: str,
    store: StoreOf,
    desk: DeskOf,
    settings: SettingsOf,
    everything: bool = False,
    refused: str | None = None,
) -> HTMLResponse:
    """Show one tub; its whole history when asked for everything."""
    with store.reading() as session, unusable():
        tub = books.tub_data(session, tub_id)
        events = books.events_in(session, tub_id)
        photos = photos_of(session, tub_id, SHOWN_PHOTOS)
        waiting = waiting_by_tub(session).get(tub_id, 0)
        kept = session.get(TubSummary, tub_id)
        log = books.as_whole_log(session, tub_id, tub, [event.data for event in events])
        known = log.get("products") or goods.generic()
        names, at_hand = named(known), named([one for one in known if not one.get("former")])
        procedures = (*PROCEDURES, *goods.procedure_names(session, settings.home))
    answer, trouble = shown_answer(kept, log, desk, tub)
    rows = rows_of(events, names)
    shown = TubPage(
        id=tub_id,
        tub=tub,
        answer=answer,
        trouble=trouble,
        refused=refused,
        trends=trends_of(log["events"], ranges_of(answer["gates"] if answer else [])),
        rows=rows if everything else rows[:SHOWN_ROWS],
        all_rows=len(rows),
        photos=tuple(PhotoLine(p.sha256, p.taken_at.isoformat(), r.status) for p, r, *_ in photos),
        waiting=waiting,
        products=tuple(at_hand.items()),
        sanitizers=SANITIZERS,
        procedures=procedures,
        analytes=ANALYTES,
    )
    return page("tub.html", shown, 422 if refused else 200)


def shown_answer(
    kept: TubSummary | None, log: Mapping[str, Any], desk: books.Desk, tub: Mapping[str, Any]
) -> tuple[dict[str, Any] | None, str | None]:
    """Return the answer kept just now, else ask the engine; or why there is none.

    A dose is told in ounces and cups too where the tub's page shall say so.
    """
    fresh = fresh_answer(kept, desk.now)
    answer, trouble = (fresh, None) if fresh else answer_or_trouble(log, desk)
    if answer is None or tub.get("units") != "us":
        return answer, trouble
    return in_units(answer, log, "us"), None


def answer_or_trouble(
    log: Mapping[str, Any], desk: books.Desk
) -> tuple[dict[str, Any] | None, str | None]:
    """Return the engine's answer, or why there is none."""
    try:
        return books.checked_answer(log, desk), None
    except ValueError as fault:
        return None, str(fault)


def named(records: Sequence[Mapping[str, Any]]) -> dict[str, str]:
    """Return the products' names by id."""
    return {str(one["id"]): str(one.get("name") or one["id"]) for one in records}


def lines(store: Any, now: datetime) -> tuple[TubLine, ...]:
    """Return the tubs: due ones first, then by the moment they fall due."""
    with store.reading() as session:
        tubs, waiting = listed(session), waiting_by_tub(session)
    found = [line(one, waiting.get(one.tub_id, 0), now) for one in tubs]
    return tuple(
        sorted(found, key=lambda one: (one.kind == "none", one.due != "now", one.due, one.name))
    )


def waiting_by_tub(session: Session) -> dict[str, int]:
    """Return how many readings of each tub wait for a recheck."""
    query = (
        select(Review.tub_id, func.count(Review.id))
        .outerjoin(Decision, Decision.review_id == Review.id)
        .where(Decision.id.is_(None))
        .group_by(Review.tub_id)
    )
    return {tub_id: count for tub_id, count in session.execute(query)}


def line(one: Due, waiting: int, now: datetime) -> TubLine:
    """Return one tub as the list shows it, from the engine's last answer."""
    over = one.due_at is None or one.due_at <= now
    kind, text = one.kind or "ask", one.text or one.trouble or "not asked yet"
    if over and kind == "wait":
        kind, text = "look", "The wait is over: open the tub."
    return TubLine(
        id=one.tub_id,
        name=one.tub["name"],
        volume_l=one.tub["volume_l"],
        stage=one.stage or "",
        due="now" if one.due_at is None or over else one.due_at.isoformat(),
        kind=kind,
        text=text,
        waiting=waiting,
    )


def tub_of(form: Any) -> dict[str, Any]:
    """Return a new tub's fields as the log writes them; the engine refuses wrong ones."""
    text = {name: upload(form, name) for name in ("name", "volume_l", "temperature_c")}
    bathers = upload(form, "bathers_per_day")
    if isinstance(text["name"], Named):
        raise ProblemError(422, "bad_name", "name: is a file; write the tub's name")
    return {
        "name": text["name"] or "",
        "volume_l": numeric(text["volume_l"]),
        "temperature_c": numeric(text["temperature_c"]),
        "sanitizer": upload(form, "sanitizer"),
        "procedure": upload(form, "procedure"),
        "has_sensor": upload(form, "has_sensor") is not None,
        "bathers_per_day": numeric(bathers) if bathers else None,
        "units": upload(form, "units") or "metric",
    }


def numeric(text: Any) -> Any:
    """Return the number a field holds, or its text for the engine to refuse."""
    try:
        return float(str(text).replace(",", "."))
    except ValueError:
        return text
