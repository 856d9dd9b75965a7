"""The handover sheet and the log as files."""

from __future__ import annotations

import csv
import io
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from fastapi import APIRouter, Depends
from fastapi.responses import Response

from api import books, goods
from api.deps import DeskOf, StoreOf, who_asks
from api.pages.tubs import answer_or_trouble, named
from api.routes.tubs import unusable
from api.wanted import ranges_of

router = APIRouter(
    prefix="/tubs/{tub_id}", include_in_schema=False, dependencies=[Depends(who_asks)]
)

COLUMNS = (
    *("at", "type", "analyte", "value", "low", "high", "unit", "source", "sample"),
    *("product", "amount_g", "fraction", "step", "entered_at", "entered_by", "origin", "id"),
)


@router.get("/handover.pdf")
def get_handover(tub_id: str, store: StoreOf, desk: DeskOf, zone: str | None = None) -> Response:
    """Return the owner's sheet as a PDF, its times by the clock of the zone asked for."""
    from api.handover import draw_handover, handover_of

    with store.reading() as session, unusable():
        tub, log = books.tub_data(session, tub_id), books.log_of(session, tub_id)
        events = [one.data for one in books.events_in(session, tub_id)]
    answer, _ = answer_or_trouble(log, desk)
    wanted = ranges_of(answer["gates"] if answer else [])
    names = named(log.get("products") or goods.generic())
    sheet = handover_of(tub, events, answer, wanted, desk.now, names, zone_of(zone))
    headers = {"Content-Disposition": 'inline; filename="handover.pdf"'}
    return Response(draw_handover(sheet), media_type="application/pdf", headers=headers)


def zone_of(name: str | None) -> ZoneInfo | None:
    """Return the time zone of this name; None when it is unknown here."""
    try:
        return ZoneInfo(name) if name else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


@router.get("/log.csv")
def get_log_csv(tub_id: str, store: StoreOf) -> Response:
    """Return the events that stand as CSV, one row an event."""
    with store.reading() as session, unusable():
        books.tub_data(session, tub_id)
        events = books.events_in(session, tub_id)
    out = io.StringIO(newline="")
    rows = csv.DictWriter(out, COLUMNS, extrasaction="ignore")
    rows.writeheader()
    for event in events:
        by = as_text(event.entered_by)
        kept = {"entered_at": event.entered_at.isoformat(), "entered_by": by}
        rows.writerow({**event.data, **kept, "origin": event.origin, "id": event.id})
    headers = {"Content-Disposition": 'attachment; filename="log.csv"'}
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


def as_text(name: str) -> str:
    """Return a name that no spreadsheet takes for a formula."""
    return f"'{name}" if name.startswith(("=", "+", "-", "@", "\t")) else name
