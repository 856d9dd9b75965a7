"""Has everything at hand before the first request: the service asks itself for its own pages."""

from __future__ import annotations

import contextlib
import gc
import importlib
import logging
from collections.abc import Iterator
from datetime import date
from typing import Any

from sqlalchemy import select
from starlette.types import ASGIApp, Message, Scope

from api.books import Desk, checked_answer
from api.deps import INSIDE
from api.pages import shop
from api.pages.render import environment
from api.people import THE_SHOP
from api.settings import Settings
from api.stock import fetch, offers
from api.store import KeptFile, Photo, Store, TubSummary
from dosing.procedure import BUILT_IN, load_builtin

LATER = ("api.handover", "calibration.check", "calibration.lots", "calibration.table", "api.job")
"""What a page loads only when it needs it."""
PAGES = (
    *("/", "/tubs", "/api/tubs", "/review", "/api/review", "/review/record", "/waiting"),
    *("/shop", "/shop/goods", "/shop/control", "/shop/chart", "/shop/waters", "/shop/recipe"),
    *("/login", "/health", "/metrics", "/openapi.json"),
)
OF_TUB = ("/tubs/{}", "/tubs/{}/dip", "/tubs/{}/handover.pdf", "/tubs/{}/log.csv", "/api/tubs/{}")
log = logging.getLogger("dipstep.service")


async def warm_up(app: ASGIApp, store: Store, desk: Desk) -> None:
    """Do once what a request would have to do first; what fails is the request's own trouble."""
    for name in LATER:
        importlib.import_module(name)
    for name in environment().list_templates(extensions=["html"]):
        environment().get_template(name)
    try:
        for name in BUILT_IN:
            ask_engine(name, desk)
        for path in paths(store):
            await ask(app, path)
    except Exception:  # the page says itself what is wrong, in its own words
        log.warning("not everything could be made ready", exc_info=True)
    gc.collect()
    gc.freeze()  # what stays for good is not looked through again and again


def ask_engine(procedure: str, desk: Desk) -> None:
    """Ask what to do first with an empty tub of a built-in procedure."""
    sanitizer = load_builtin(procedure).sanitizers[0]
    tub = {"name": "none", "volume_l": 1000, "temperature_c": 38.0}
    tub |= {"sanitizer": sanitizer, "has_sensor": False}
    checked_answer({"tub": tub, "procedure": procedure, "events": []}, desk)


def paths(store: Store) -> Iterator[str]:
    """Yield what to ask for: each kind of page, those of a tub for the one asked for last."""
    yield from PAGES
    with store.reading() as session:
        newest = select(TubSummary.tub_id).order_by(TubSummary.asked_at.desc()).limit(1)
        tub_id = session.scalar(newest)
        last = select(Photo.tub_id, Photo.sha256).order_by(Photo.id.desc()).limit(1)
        photo = session.execute(last).first()
    if tub_id is not None:
        yield from (path.format(tub_id) for path in OF_TUB)
    if photo is not None:
        yield f"/tubs/{photo[0]}/photos/{photo[1]}"


async def ask(app: ASGIApp, path: str) -> int:
    """Ask for a page as somebody inside the service, and return the status."""
    scope: Scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(b"host", b"localhost"), (b"accept", b"text/html")],
        "client": ("dipstep", 0),
        "server": ("localhost", 0),
        INSIDE: THE_SHOP,
    }
    status = 0

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        nonlocal status
        status = message.get("status", status)

    await app(scope, receive, send)
    return status


def check_a_table(store: Store, settings: Settings, today: date, known: set[Any]) -> bool:
    """Work out how far one more table in use can be trusted; say whether any was left.

    Its page has it at hand then. `known` are those worked out before.
    """
    with store.reading() as session:
        left = [one for one in offers(session, "table", settings) if (one, today) not in known]
        if not left:
            return False
        file, number = fetch(session, "table", left[0].name, settings)
        kept = session.get(KeptFile, number) if number else None
    known.add((left[0], today))
    with contextlib.suppress(ValueError):  # its page says what is wrong
        shop.table_page(file, shop.edition_of(kept), left[0].name, today)
    return True
