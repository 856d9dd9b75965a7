"""The first page: choose or take a photo, see what was found, the readings and the next step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse
from starlette.datastructures import FormData

from api.advise import FindProcedure, advise
from api.data_url import jpeg_url
from api.deps import Now, PoolOf, SettingsOf, StoreOf, who_asks
from api.entries import with_reading
from api.errors import ProblemError
from api.forms import FormOf, ReadForm, elapsed_of, moment_of, upload
from api.goods import kept_procedures
from api.named import Named
from api.pages.readings import ReadingView, view_of
from api.pages.render import page
from api.reasons import all_reasons
from api.routes.read import ask
from api.settings import Settings
from api.stock import Offer, offers
from api.store import Store
from api.wanted import wanted_ranges

router = APIRouter(include_in_schema=False, dependencies=[Depends(who_asks)])

PHOTO_SUFFIXES = {".jpg", ".jpeg", ".png", ".heic"}


@dataclass(frozen=True)
class FirstPage:
    """What the first page shows."""

    tables: list[Offer]
    cards: list[Offer]
    samples: list[str]
    trouble: str | None = None
    reading: ReadingView | None = None
    picture: str | None = None
    """The photo with what was found, as a data URL."""
    next: dict[str, Any] | None = None
    tub: str | None = None
    log_trouble: str | None = None


@router.get("/")
def get_first(store: StoreOf, settings: SettingsOf) -> HTMLResponse:
    """Show the form."""
    return page("first.html", FirstPage(**choices(store, settings)))


@router.post("/")
def post_first(
    form: FormOf, pool: PoolOf, store: StoreOf, settings: SettingsOf, now: Now
) -> HTMLResponse:
    """Read the photo, and say what to do next when a log came with it."""
    given = choices(store, settings)
    try:
        answer = ask(wish(form, settings), pool, store, settings, ("seen",))
    except ProblemError as fault:
        return page("first.html", FirstPage(**given, trouble=fault.detail), fault.status)
    shown = FirstPage(
        **given,
        reading=view_of(answer.reading, wanted_ranges(), all_reasons()),
        picture=jpeg_url(seen) if (seen := answer.pictures.get("seen.jpg")) else None,
        **next_for(form, answer.reading, now, kept_procedures(store, settings.home)),
    )
    return page("first.html", shown)


def choices(store: Store, settings: Settings) -> dict[str, Any]:
    """Return the tables, cards and sample photos that can be chosen."""
    with store.reading() as session:
        tables, cards = offers(session, "table", settings), offers(session, "card", settings)
    return {"tables": tables, "cards": cards, "samples": samples(settings)}


def samples(settings: Settings) -> list[str]:
    """Return the names of the sample photos, where this is a checkout."""
    if settings.samples is None:
        return []
    return sorted(
        path.name for path in settings.samples.iterdir() if path.suffix.lower() in PHOTO_SUFFIXES
    )


def wish(form: FormData, settings: Settings) -> ReadForm:
    """Return what the form asks to be read: a photo sent, or one of the samples."""
    sample = form.get("sample")
    if settings.samples and isinstance(sample, str) and sample in samples(settings):
        photo = Named(sample, (settings.samples / sample).read_bytes())
        return ReadForm(photo, "sample", "sample", None)
    photo_sent, own_table = upload(form, "photo"), upload(form, "own_table")
    table = own_table or upload(form, "table")
    if not isinstance(photo_sent, Named):
        raise ProblemError(422, "no_photo", "No photo was sent; choose or take one first.")
    if table is None:
        raise ProblemError(422, "no_table", "No strip was chosen; choose one, or add its table.")
    elapsed = elapsed_of(upload(form, "elapsed_s"))
    dipped_at = moment_of(upload(form, "dipped_at"), "dipped_at")
    card = upload(form, "own_card") or upload(form, "card")
    return ReadForm(photo_sent, table, card, elapsed, dipped_at)


def next_for(
    form: FormData, reading: dict[str, Any], now: datetime, find: FindProcedure
) -> dict[str, Any]:
    """Return the next step for the log that came with the photo, the reading entered."""
    log = upload(form, "log")
    if not isinstance(log, Named):
        return {}
    try:
        text = with_reading(log.text(), reading, now)
        answer, tub = advise(text, log.name, now, find)
    except ValueError as fault:
        return {"log_trouble": str(fault)}
    return {"next": answer, "tub": tub}
