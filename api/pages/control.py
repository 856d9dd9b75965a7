"""The control water's charts: dip each morning, see the rules, sign off what was put right."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Query
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import FormData

from api import control_books, words
from api.control_books import ControlLine
from api.data_url import svg_url
from api.deps import Asker, DeskOf, PoolOf, Reviewer, SettingsOf, StoreOf, who_asks
from api.errors import ProblemError
from api.forms import FormOf, ReadForm, upload
from api.intake import shelved
from api.named import Named
from api.pages.render import page
from api.routes.read import ask
from api.settings import Settings
from api.stock import Offer, offers
from api.store import Store
from calibration.control import FEWEST_TO_SET
from calibration.control_picture import draw_control
from dosing.analytes import ANALYTES

router = APIRouter(
    prefix="/shop/control", include_in_schema=False, dependencies=[Depends(who_asks)]
)


@dataclass(frozen=True)
class Chart:
    """One lot's analyte."""

    lot: str
    title: str
    """The strip and lot in words."""
    analyte: str
    state: str
    sentence: str
    count: int
    picture: str | None
    """SVG as a data URL; None before limits are set."""
    can_set: bool


@dataclass(frozen=True)
class ControlPage:
    """All control charts, broken ones first."""

    charts: tuple[Chart, ...]
    tables: tuple[Offer, ...]
    cards: tuple[Offer, ...]
    may_sign: bool
    fewest: int = FEWEST_TO_SET
    trouble: str | None = None
    left: tuple[str, ...] = ()
    """Analytes of the dip just entered that were not accepted."""


Names = Annotated[str, Query(max_length=400)]


@router.get("")
def get_control(
    store: StoreOf,
    settings: SettingsOf,
    who: Asker,
    left: Annotated[str, Query(max_length=400)] = "",
) -> HTMLResponse:
    """Show the charts; `left` names what of the dip just entered was not accepted."""
    names = tuple(name for name in left.split(",") if name in ANALYTES)
    shown = ControlPage(**given(store, settings), may_sign=who.may("qa"), left=names)
    return page("control.html", shown)


def given(store: Store, settings: Settings) -> dict[str, Any]:
    """Return the charts and what can be chosen."""
    with store.reading() as session:
        charts = sorted((chart_of(one) for one in control_books.lines(session)), key=urgency)
        tables = tuple(offers(session, "table", settings))
        cards = tuple(offers(session, "card", settings))
    return {"charts": tuple(charts), "tables": tables, "cards": cards}


def urgency(chart: Chart) -> tuple[int, str, str]:
    """Return the key that puts broken controls first."""
    order = ("recheck", "warning", "unset", "in_control")
    return order.index(chart.state), chart.lot, chart.analyte


def chart_of(one: ControlLine) -> Chart:
    """Return one chart with its picture."""
    title, unit = words.plain(one.analyte), ANALYTES[one.analyte].unit
    drawn = draw_control(one.readings, one.limits, title, unit, one.signed) if one.limits else None
    return Chart(
        lot=one.lot,
        title=one.lot.replace("lot lot", "lot"),
        analyte=one.analyte,
        state=one.state.state,
        sentence=one.state.sentence,
        count=len(one.readings),
        picture=svg_url(drawn) if drawn else None,
        can_set=len(one.readings) >= FEWEST_TO_SET,
    )


@router.post("/dip")
def post_dip(
    form: FormOf, pool: PoolOf, store: StoreOf, settings: SettingsOf, desk: DeskOf, who: Asker
) -> Response:
    """Read a photo of a strip dipped in the control water, and enter what was accepted."""
    photo, table, card = (upload(form, one) for one in ("photo", "table", "card"))
    try:
        if not isinstance(photo, Named) or table is None:
            raise ValueError("choose the strip and the photo of the control dip")
        answer = ask(ReadForm(photo, table, card, None), pool, store, settings).reading
        with store.writing() as session:
            lot = control_books.lot_of(shelved(session, "table", table, settings, desk))
            left = control_books.enter_photo(session, lot, photo, answer, desk)
    except (ProblemError, ValueError) as fault:
        shown = ControlPage(**given(store, settings), may_sign=who.may("qa"), trouble=str(fault))
        return page("control.html", shown, 422)
    query = f"?left={quote(','.join(left))}" if left else ""
    return RedirectResponse(f"/shop/control{query}", 303)


@router.post("/limits")
def post_limits(
    form: FormOf, store: StoreOf, settings: SettingsOf, desk: DeskOf, _: Reviewer
) -> Response:
    """Set the limits from the dips so far."""
    lot, analyte = text_of(form, "lot"), text_of(form, "analyte")
    try:
        with store.writing() as session:
            control_books.set_limits(session, lot, analyte, desk)
    except ValueError as fault:
        shown = ControlPage(**given(store, settings), may_sign=True, trouble=str(fault))
        return page("control.html", shown, 422)
    return RedirectResponse("/shop/control", 303)


@router.post("/sign")
def post_sign(
    form: FormOf, store: StoreOf, settings: SettingsOf, desk: DeskOf, _: Reviewer
) -> Response:
    """Sign a broken control off."""
    lot, analyte, why = (text_of(form, one) for one in ("lot", "analyte", "why"))
    try:
        with store.writing() as session:
            control_books.sign_off(session, lot, analyte, why, desk)
    except ValueError as fault:
        shown = ControlPage(**given(store, settings), may_sign=True, trouble=str(fault))
        return page("control.html", shown, 422)
    return RedirectResponse("/shop/control", 303)


def text_of(form: FormData, field: str) -> str:
    """Return a field's text, empty when it is absent."""
    found = upload(form, field)
    return found if isinstance(found, str) else ""
