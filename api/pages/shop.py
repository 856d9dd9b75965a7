"""The keeper's page: tables, cards, members; and how far one table can be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from typing import Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from api import people, shelf
from api.card_books import card_lines
from api.data_url import svg_url
from api.deps import Asker, DeskOf, Keeper, Now, SettingsOf, StoreOf, who_asks
from api.errors import ProblemError
from api.forms import FormOf, upload
from api.named import Named
from api.pages import (
    cards as card_pages,
    chart as chart_pages,
    waters as water_pages,
)
from api.pages.render import page
from api.people import THE_SHOP, PeopleError, Who
from api.settings import Settings
from api.shelf import Kind
from api.stock import SAMPLE, Offer, UnknownNameError, fetch, offers
from api.store import KeptFile
from api.words import band, number

router = APIRouter(prefix="/shop", include_in_schema=False, dependencies=[Depends(who_asks)])
router.include_router(card_pages.router)
router.include_router(chart_pages.router)
router.include_router(water_pages.router)


@dataclass(frozen=True)
class Kept:
    """One version on the shelf."""

    kind: str
    name: str
    version: int
    facts: Mapping[str, Any]
    added_at: str
    added_by: str
    offered: bool


@dataclass(frozen=True)
class ShopPage:
    """What the shop keeps."""

    tables: tuple[Kept, ...]
    cards: tuple[Kept, ...]
    members: tuple[people.Who, ...]
    who: Who
    keeper: bool
    alone: bool
    samples: bool
    secure: bool
    fading: tuple[str, ...] = ()
    """One sentence for each card in use that fades."""
    trouble: str | None = None


@dataclass(frozen=True)
class PadTrust:
    """One pad's chart: its path and what is known of it."""

    pad: int
    analyte: str
    unit: str
    path: str
    """SVG as a data URL."""
    steps: str
    alike: str
    left_out: str
    bands: tuple[tuple[str, str], ...]
    """Along the scale: a value, and the 95 % band that a usual photo would give."""
    reads: tuple[tuple[str, str, str], ...]
    """Left-out blocks: the value, what it would be read as, its band."""


@dataclass(frozen=True)
class TablePage:
    """How far a table can be trusted."""

    name: str
    edition: str
    strip: str
    lot: str
    expires: str | None
    verdict: str
    faults: tuple[str, ...]
    pads: tuple[PadTrust, ...]
    others: tuple[Offer, ...] = ()
    """Other tables to compare with."""
    against: str | None = None
    compared: tuple[str, ...] = ()
    """What the comparison says, line by line."""


@router.get("")
def get_shop(request: Request, store: StoreOf, settings: SettingsOf, who: Asker) -> HTMLResponse:
    """Show what the shop keeps."""
    return page("shop.html", shop_page(request, store, settings, who))


def shop_page(
    request: Request, store: Any, settings: Settings, who: Who, trouble: str | None = None
) -> ShopPage:
    """Return what the page shows."""
    with store.reading() as session:
        members = tuple(Who(one.name, one.role) for one in people.members(session))
        tables, cards = (on_shelf(session, kind) for kind in ("table", "card"))
        lines = card_lines(session)
    return ShopPage(
        tables=tables,
        cards=cards,
        members=members,
        who=who,
        keeper=who.may("keeper"),
        alone=who == THE_SHOP,
        samples=settings.samples is not None,
        secure=request.url.scheme == "https" or request.url.hostname in ("127.0.0.1", "localhost"),
        fading=tuple(
            f"{one.title}: {one.watch.sentence}" for one in lines if one.watch.state == "fading"
        ),
        trouble=trouble,
    )


def on_shelf(session: Session, kind: Kind) -> tuple[Kept, ...]:
    """Return every version of a kind, newest first within a name."""
    offered = {one.id for one in shelf.offered(session, kind)}
    return tuple(
        Kept(
            kind,
            one.name,
            one.version,
            one.facts,
            one.added_at.isoformat(),
            one.added_by,
            one.id in offered,
        )
        for one in shelf.versions(session, kind)
    )


@router.post("/keep")
def post_keep(
    request: Request, form: FormOf, store: StoreOf, settings: SettingsOf, desk: DeskOf, who: Keeper
) -> Response:
    """Keep a table or card as the next version of its name."""
    kind: Kind = "card" if upload(form, "kind") == "card" else "table"
    file, name = upload(form, "file"), upload(form, "name")
    try:
        if not isinstance(file, Named) or not isinstance(name, str):
            raise ValueError("give the file and a name for it")
        with store.writing() as session:
            shelf.put(session, kind, name[: shelf.NAME_LENGTH], file, desk.now, desk.by)
    except ValueError as fault:
        shown = shop_page(request, store, settings, who, str(fault))
        return page("shop.html", shown, 422)
    return RedirectResponse("/shop", 303)


@router.post("/retire")
def post_retire(form: FormOf, store: StoreOf, desk: DeskOf, _: Keeper) -> Response:
    """Offer a table or card no longer; its versions stay."""
    kind: Kind = "card" if upload(form, "kind") == "card" else "table"
    with store.writing() as session:
        shelf.retire(session, kind, str(upload(form, "name")), desk.now, desk.by)
    return RedirectResponse("/shop", 303)


@router.post("/members")
def post_member(
    request: Request, form: FormOf, store: StoreOf, settings: SettingsOf, now: Now, who: Keeper
) -> Response:
    """Add a member; the first one is a keeper."""
    name, role, password = (str(upload(form, one) or "") for one in ("name", "role", "password"))
    try:
        with store.writing() as session:
            first = "keeper" if who == THE_SHOP else role
            people.add_member(session, name, first, password, now)
    except PeopleError as fault:
        return page("shop.html", shop_page(request, store, settings, who, str(fault)), 422)
    return RedirectResponse("/shop", 303)


@router.post("/members/retire")
def post_member_retire(form: FormOf, store: StoreOf, now: Now, who: Keeper) -> Response:
    """Let a member in no longer."""
    name = str(upload(form, "name"))
    if name == who.name:
        raise ProblemError(409, "yourself", "you cannot retire yourself; ask another keeper")
    try:
        with store.writing() as session:
            people.retire_member(session, name, now)
    except PeopleError as fault:
        raise ProblemError(404, "no_such_member", str(fault)) from None
    return RedirectResponse("/shop", 303)


@router.get("/tables/{name:path}")
def get_table(
    name: str,
    store: StoreOf,
    settings: SettingsOf,
    now: Now,
    version: int | None = None,
    against: str | None = None,
) -> HTMLResponse:
    """Show how far a table can be trusted, each pad's path in CIELAB; or set it beside another."""
    with store.reading() as session:
        kept = shelf.latest(session, "table", name, version)
        file = shelf.named(kept) if kept else sample_table(session, name, settings)
        others = tuple(one for one in offers(session, "table", settings) if one.name != name)
        beside = other_table(session, against, settings) if against else None
    shown = table_page(file, edition_of(kept), name, now.date())
    compared = comparison(file, beside) if beside else ()
    return page("table.html", replace(shown, others=others, against=against, compared=compared))


def other_table(session: Session, name: str, settings: Settings) -> Named:
    """Return the table to compare with; 404 when there is none of that name."""
    try:
        return fetch(session, "table", name, settings)[0]
    except UnknownNameError as fault:
        raise ProblemError(404, "no_such_name", str(fault)) from None


def comparison(old: Named, new: Named) -> tuple[str, ...]:
    """Return in words whether the other table's lot reads as this one says."""
    from api.table_tell import tell_comparison
    from calibration.lots import compare_tables
    from calibration.table import load_table

    try:
        found = compare_tables(*(load_table(one.text(), one.name) for one in (old, new)))
    except ValueError as fault:
        return (str(fault),)
    return tuple(line.strip() for line in tell_comparison(found, ()).splitlines())


def sample_table(session: Session, name: str, settings: Settings) -> Named:
    """Return the checkout's sample table; 404 for any other name that is not kept."""
    try:
        if name == SAMPLE:
            return fetch(session, "table", name, settings)[0]
    except UnknownNameError:
        pass
    raise ProblemError(404, "no_such_name", f"no table {name!r} of this version is kept")


def edition_of(kept: KeptFile | None) -> str:
    """Return which version of a table is shown."""
    return "sample" if kept is None else f"version {kept.version}"


@lru_cache(maxsize=64)
def table_page(file: Named, edition: str, name: str, today: date) -> TablePage:
    """Return what the page of a table shows, kept: to work it out takes most of a second."""
    from api.table_units import unit_faults
    from calibration.check import check_table
    from calibration.table import load_table, plans_of

    table = load_table(file.text(), file.name)
    checked, units = check_table(table, today), unit_faults(plans_of(table))
    return TablePage(
        name=name,
        edition=edition,
        strip=checked.table.strip,
        lot=checked.table.lot,
        expires=checked.table.expires.isoformat() if checked.table.expires else None,
        verdict=checked.verdict,
        faults=tuple(fault.words for fault in (*checked.faults, *units)),
        pads=tuple(trust_of(pad) for pad in checked.pads),
    )


def trust_of(pad: Any) -> PadTrust:
    """Return what is known of one pad, in words and a picture."""
    from calibration.picture import draw_path

    chart = pad.curve.chart
    widths = [one.delta_e00 for one in pad.steps]
    errors = [abs(one.off_steps) for one in pad.left_out if not one.at_end]
    return PadTrust(
        pad=chart.pad,
        analyte=chart.analyte,
        unit=chart.unit,
        path=svg_url(draw_path(pad.curve)),
        steps=f"steps between blocks {min(widths):.1f} to {max(widths):.1f} CIEDE2000",
        alike=f"{100 * pad.alike_share:.0f} % of the chart holds two values that look alike",
        left_out=(
            f"inner blocks left out were read within {max(errors):.2f} steps" if errors else ""
        ),
        bands=tuple((number(one.value), band(one.read.low, one.read.high)) for one in pad.bands),
        reads=tuple(
            (number(one.value), number(one.read.value), band(one.read.low, one.read.high))
            for one in pad.left_out
        ),
    )
