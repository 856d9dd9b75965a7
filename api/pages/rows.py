"""A tub's log as rows a person reads: when, what, by whom."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.store import TubEvent
from api.words import amount, band, plain


@dataclass(frozen=True)
class Row:
    """One event."""

    id: str
    at: str
    what: str
    by: str
    type: str


def rows_of(events: Sequence[TubEvent]) -> tuple[Row, ...]:
    """Return the events, newest first."""
    return tuple(
        Row(one.id, one.data["at"], in_words(one.data), f"{one.entered_by}, {one.origin}", one.type)
        for one in reversed(events)
    )


def in_words(event: Mapping[str, Any]) -> str:
    """Return what happened as a line."""
    kind = event["type"]
    if kind == "reading":
        return reading_in_words(event)
    if kind == "dose":
        return f"{event['amount_g']:g} g of {event['product']} added"
    if kind == "replaced_water":
        return f"{100 * event['fraction']:.0f} % of the water replaced"
    return f"{plain(event['step'])}: done"


def reading_in_words(event: Mapping[str, Any]) -> str:
    """Return a reading as a line."""
    water = " of the fill water" if event.get("sample") == "fill" else ""
    ends = f" ({band(event['low'], event['high'])})" if "low" in event or "high" in event else ""
    value = amount(event["value"], event["unit"])
    return f"{plain(event['analyte'])}{water} {value}{ends}, {plain(event['source'])}"
