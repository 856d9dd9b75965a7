"""The keeper's cards: how well one still fits, and a new one measured by photos."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import FormData

from api import shelf
from api.card_books import card_line
from api.data_url import svg_url
from api.deps import DeskOf, Keeper, PoolOf, SettingsOf, StoreOf, answer_of
from api.errors import ProblemError
from api.forms import FormOf, upload
from api.named import Named
from api.pages.render import page
from api.settings import Settings
from api.shop_tasks import CardTask
from api.stock import Offer, UnknownNameError, fetch, offers
from api.store import Store
from api.workers import Fault
from calibration.card_picture import draw_card_watch

router = APIRouter(prefix="/cards")

CHART = "24-patch chart"
"""What is chosen where no measured card but a published chart lies beside the new one."""


@dataclass(frozen=True)
class CardPage:
    """One kept card: what it says of itself and how it fitted over time."""

    name: str
    edition: int
    design: str
    serial: str | None
    measured_on: str | None
    added_at: str
    added_by: str
    state: str
    sentence: str
    photos: int
    picture: str
    """SVG as a data URL."""


@dataclass(frozen=True)
class NewCardPage:
    """What can lie beside a new card."""

    cards: tuple[Offer, ...]
    chart: str = CHART
    trouble: str | None = None


@router.get("")
def get_new(store: StoreOf, settings: SettingsOf) -> HTMLResponse:
    """Show how a new card is measured by photos."""
    return page("new_card.html", NewCardPage(known_cards(store, settings)))


@router.get("/{name:path}")
def get_card(name: str, store: StoreOf, version: int | None = None) -> HTMLResponse:
    """Show one card and how well its colours fitted over time."""
    with store.reading() as session:
        kept = shelf.latest(session, "card", name, version)
        if kept is None:
            raise ProblemError(404, "no_such_name", f"no card {name!r} of this version is kept")
        one = card_line(session, kept)
    drawn = draw_card_watch(one.fits, one.watch, one.title)
    shown = CardPage(
        name=one.name,
        edition=one.version,
        design=str(kept.facts.get("design", "")),
        serial=one.serial,
        measured_on=one.measured_on,
        added_at=kept.added_at.isoformat(),
        added_by=kept.added_by,
        state=one.watch.state,
        sentence=one.watch.sentence,
        photos=len(one.fits),
        picture=svg_url(drawn),
    )
    return page("card.html", shown)


@router.post("")
def post_new(
    form: FormOf, pool: PoolOf, store: StoreOf, settings: SettingsOf, desk: DeskOf, _: Keeper
) -> Response:
    """Measure a new card by photos and keep it as the next version of its name."""
    try:
        name, task = asked(form, store, settings, desk)
        answer = answer_of(pool, task)
        if isinstance(answer, Fault):
            raise ValueError(answer.message)
        file = Named(f"{name}.txt", answer.reading["file"].encode())
        with store.writing() as session:
            shelf.put(session, "card", name, file, desk.now, desk.by)
    except ValueError as fault:
        shown = NewCardPage(known_cards(store, settings), trouble=str(fault))
        return page("new_card.html", shown, 422)
    return RedirectResponse(f"/shop/cards/{quote(name)}", 303)


def asked(form: FormData, store: Store, settings: Settings, desk: Any) -> tuple[str, CardTask]:
    """Return the new card's name and what to do; raise ValueError for what is missing."""
    photos = tuple(one for one in uploads(form, "photos") if isinstance(one, Named))
    name, beside, serial = (upload(form, one) for one in ("name", "beside", "serial"))
    if not photos:
        raise ValueError("photos: no file was sent; attach three photos of both cards or more")
    if not isinstance(name, str) or not isinstance(beside, str):
        raise ValueError("give the new card a name, and say what lies beside it")
    known = None
    if beside != CHART:
        with store.reading() as session:
            try:
                known = fetch(session, "card", beside, settings)[0]
            except UnknownNameError as fault:
                raise ValueError(str(fault)) from None
    of_card = serial if isinstance(serial, str) else None
    return name[: shelf.NAME_LENGTH], CardTask(photos, known, of_card, desk.now.date())


def uploads(form: FormData, field: str) -> list[Named | str | None]:
    """Return all files of a field that may come several times."""
    return [upload(FormData([(field, one)]), field) for one in form.getlist(field)]


def known_cards(store: Store, settings: Settings) -> tuple[Offer, ...]:
    """Return the measured cards that may lie beside a new one."""
    with store.reading() as session:
        return tuple(offers(session, "card", settings))
