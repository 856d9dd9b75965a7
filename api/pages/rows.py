"""A tub's log as rows a person reads: when, what, by whom; one dip is one row."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from api.store import TubEvent
from api.words import amount, band, plain


@dataclass(frozen=True)
class Entry:
    """One event."""

    id: str
    what: str


@dataclass(frozen=True)
class Row:
    """What was entered at one moment from one place."""

    at: str
    by: str
    type: str
    entries: tuple[Entry, ...]


def rows_of(events: Sequence[TubEvent], names: Mapping[str, str]) -> tuple[Row, ...]:
    """Return the events, newest first, those of one moment and origin together.

    `names` are the products' by id.
    """
    together = groupby(reversed(events), key=lambda one: (one.data["at"], one.type, one.origin))
    return tuple(row_of(list(group), names) for _, group in together)


def row_of(group: list[TubEvent], names: Mapping[str, str]) -> Row:
    """Return events of one moment as one row."""
    first = group[0]
    entries = tuple(Entry(one.id, in_words(one.data, names)) for one in reversed(group))
    return Row(first.data["at"], f"{first.entered_by}, {first.origin}", first.type, entries)


def in_words(event: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Return what happened as a line."""
    kind = event["type"]
    if kind == "reading":
        return reading_in_words(event)
    if kind == "dose":
        return f"{event['amount_g']:g} g of {names.get(event['product'], event['product'])} added"
    if kind == "replaced_water":
        return f"{100 * event['fraction']:.0f} % of the water replaced"
    return f"{plain(event['step'])}: done"


def reading_in_words(event: Mapping[str, Any]) -> str:
    """Return a reading as a line."""
    water = " of the fill water" if event.get("sample") == "fill" else ""
    ends = f" ({band(event['low'], event['high'])})" if "low" in event and "high" in event else ""
    value = amount(event["value"], event["unit"])
    return f"{plain(event['analyte'])}{water} {value}{ends}, {plain(event['source'])}"
