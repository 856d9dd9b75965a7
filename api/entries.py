"""A reading becomes events of a log: only what was accepted, only what the engine knows."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from dosing.analytes import ANALYTES


def events_of(reading: Mapping[str, Any], at: datetime) -> list[dict[str, Any]]:
    """Return the events of the accepted pads of a reading (JSON of formats), taken at `at`."""
    return [
        event_of(pad, at)
        for pad in reading["readings"]
        if pad["status"] == "accepted" and loggable(pad)
    ]


def event_of(pad: Mapping[str, Any], at: datetime, source: str = "photo") -> dict[str, Any]:
    """Return one pad as an event."""
    return {
        "at": at.isoformat(),
        "type": "reading",
        **{name: pad[name] for name in ("analyte", "value", "low", "high", "unit")},
        "source": source,
        "sample": pad.get("sample", "tub"),
    }


def loggable(pad: Mapping[str, Any]) -> bool:
    """Say whether the log knows this analyte in this unit; nothing is converted by guess."""
    known = ANALYTES.get(pad["analyte"])
    return known is not None and known.unit == pad["unit"] and pad["value"] is not None


def with_reading(text: str, reading: Mapping[str, Any], at: datetime) -> str:
    """Return a log's JSON with a reading's accepted pads entered at its end."""
    try:
        log = json.loads(text)
        events = [*log["events"], *events_of(reading, at)]
    except (ValueError, TypeError, KeyError, RecursionError):
        return text  # the engine says what is wrong with it
    return json.dumps({**log, "events": events})
