"""The keeper's waters: a table from photos of strips, a new lot checked, how to mix the waters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from api import waters
from api.deps import SettingsOf, StoreOf
from api.pages.render import page
from api.settings import Settings
from api.stock import Offer, fetch, offers
from dosing.analytes import ANALYTES
from dosing.recipe import Recipe, mix
from dosing.substances import ALIASES, SERIES

router = APIRouter()


@dataclass(frozen=True)
class StripChoice:
    """A strip whose pads are known from a kept table."""

    name: str
    label: str
    strip: str
    """Its pads as CSV."""


@dataclass(frozen=True)
class WatersPage:
    """What the page that makes a table from photos needs."""

    strips: tuple[StripChoice, ...]
    cards: tuple[Offer, ...]
    units: dict[str, str]


@dataclass(frozen=True)
class RecipePage:
    """A recipe, or why there is none."""

    analytes: tuple[str, ...]
    analyte: str
    values: str
    volume_ml: str
    recipe: Recipe | None
    trouble: str | None = None


@router.get("/waters")
def get_waters(store: StoreOf, settings: SettingsOf) -> HTMLResponse:
    """Show the page that makes a table from photos of strips in waters of known value."""
    with store.reading() as session:
        strips = tuple(strip_choices(session, settings))
        cards = tuple(offers(session, "card", settings))
    units = {name: one.unit for name, one in ANALYTES.items()}
    return page("waters.html", WatersPage(strips, cards, units))


def strip_choices(session: Session, settings: Settings) -> list[StripChoice]:
    """Return the strips of all tables on offer."""
    from calibration.table import load_table, plans_of

    found = []
    for offer in offers(session, "table", settings):
        file = fetch(session, "table", offer.name, settings)[0]
        plans = plans_of(load_table(file.text(), file.name))
        found.append(StripChoice(offer.name, offer.label, waters.strip_text(plans)))
    return found


Text = Annotated[str, Query(max_length=200)]


@router.get("/recipe")
def get_recipe(
    analyte: Text = "total_alkalinity", values: Text = "", volume_ml: Text = "500"
) -> HTMLResponse:
    """Show how to mix a series of waters of known value, cautions first."""
    known = (*SERIES, *ALIASES)
    asked: dict[str, Any] = {"analytes": known, "analyte": analyte, "values": values}
    try:
        recipe = mix(analyte, numbers(values, "values"), number(volume_ml, "how much"))
    except ValueError as fault:
        shown = RecipePage(**asked, volume_ml=volume_ml, recipe=None, trouble=str(fault))
        return page("recipe.html", shown, 422)
    return page("recipe.html", RecipePage(**asked, volume_ml=volume_ml, recipe=recipe))


def numbers(text: str, what: str) -> list[float] | None:
    """Return numbers parted by semicolons or blanks, or by commas; None for an empty text."""
    parts = text.replace(";", " ").split() if (";" in text or " " in text.strip()) else None
    parts = [part for part in (text.split(",") if parts is None else parts) if part.strip(", ")]
    return [number(part.strip(", "), what) for part in parts] or None


def number(text: str, what: str) -> float:
    """Return a number typed with a point or a comma; raise ValueError with the cure."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise ValueError(f"{what}: {text!r} is not a number; type figures such as 7.2") from None
