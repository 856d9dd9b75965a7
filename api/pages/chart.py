"""The keeper's page for the printed chart: a grid over its blocks in a photo, values beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from api.deps import SettingsOf, StoreOf
from api.pages.render import page
from api.settings import Settings
from api.stock import Offer, fetch, offers
from dosing.analytes import ANALYTES

router = APIRouter()


@dataclass(frozen=True)
class ChartChoice:
    """A strip whose pads and chart values are known from a kept table."""

    name: str
    label: str
    chart: Mapping[str, Any]
    """Its name, and each pad's place, read time and values, as JSON."""


@dataclass(frozen=True)
class ChartPage:
    """What the page of the printed chart needs."""

    strips: tuple[ChartChoice, ...]
    cards: tuple[Offer, ...]
    analytes: Mapping[str, Any]


@router.get("/chart")
def get_chart(store: StoreOf, settings: SettingsOf) -> HTMLResponse:
    """Show the page that makes a table from the chart printed on the bottle."""
    with store.reading() as session:
        strips = tuple(chart_choices(session, settings))
        cards = tuple(offers(session, "card", settings))
    return page("chart.html", ChartPage(strips, cards, ANALYTES))


def chart_choices(session: Session, settings: Settings) -> list[ChartChoice]:
    """Return the strips of all tables on offer, with the values of their charts."""
    from calibration.table import load_table

    found = []
    for offer in offers(session, "table", settings):
        file = fetch(session, "table", offer.name, settings)[0]
        table = load_table(file.text(), file.name)
        pads = [
            {"analyte": chart.analyte, "read_after_s": chart.read_after_s,
             "centre_mm": chart.centre_mm, "size_mm": chart.size_mm,
             "values": [block.value for block in chart.blocks]}
            for chart in sorted(table.charts, key=lambda chart: chart.pad)
        ]  # fmt: skip
        found.append(ChartChoice(offer.name, offer.label, {"strip": table.strip, "pads": pads}))
    return found
