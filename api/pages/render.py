"""Templates to pages: one environment, strict about names that are missing."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from api import words
from dosing.analytes import ANALYTES

TEMPLATES = Path(__file__).parents[1] / "templates"


def unit_of(analyte: str) -> str:
    """Return the unit an analyte is told in."""
    return ANALYTES[analyte].unit


@cache
def environment() -> Environment:
    """Return the templates with the words they share."""
    env = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=select_autoescape(("html", "svg")),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters |= {
        "plain": words.plain,
        "number": words.number,
        "limit": words.limit,
        "lot_words": words.lot_words,
        "moment": words.moment,
        "chance": words.chance,
        "value_of": words.value_of,
    }
    env.globals |= {
        "band": words.band,
        "amount": words.amount,
        "unit_of": unit_of,
        "cautions_of": words.cautions_of,
        "verdict_words": words.VERDICT_WORDS,
        "version": version("dipstep"),
    }
    return env


def page(template: str, context: Any, status: int = 200) -> HTMLResponse:
    """Return the page; the context is a frozen dataclass whose fields are the template's names.

    Each page bears the moment it was made, so that a phone without a network can say how old it is.
    """
    names = {field.name: getattr(context, field.name) for field in fields(context)}
    names["made"] = datetime.now(UTC).isoformat(timespec="seconds")
    text = environment().get_template(template).render(names)
    return HTMLResponse(text, status, {"Cache-Control": "no-store"})
