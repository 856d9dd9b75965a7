"""The JSON of formats that leaves and enters the house, as plain dictionaries.

Pydantic is left to `schemas.py`, which describes the same shapes to the service: the command
`dipstep next` has no time to load it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from api.interference import Derived
    from api.measure import PadReading, PhotoReading

DIGITS = 4
"""Significant digits of a value; the band is never that narrow."""


def reading_json(photo: str, reading: PhotoReading) -> dict[str, Any]:
    """Return one photo's answer; `photo` is the name it was asked by."""
    seen = reading.seen
    return {
        "photo": photo,
        "card": {
            "found": seen.card_found,
            "design": seen.design,
            "delta_e00_median": tidy(seen.delta_e00_median, 3),
            "delta_e00_p95": tidy(seen.delta_e00_p95, 3),
        },
        "strip": {"found": seen.strip_found},
        "taken_at": seen.taken_at.isoformat() if seen.taken_at else None,
        "elapsed_s": tidy(reading.elapsed_s),
        "readings": [pad_json(pad) for pad in reading.pads],
        "derived": derived_json(reading.carbonate_alkalinity),
        "status": reading.status,
        "reasons": list(reading.reasons),
    }


def pad_json(pad: PadReading) -> dict[str, Any]:
    """Return one pad's answer; an unreadable one has neither value nor band."""
    band = pad.band
    return {
        "pad": pad.chart.pad,
        "analyte": pad.chart.analyte,
        "unit": pad.chart.unit,
        "value": tidy(band.value) if band else None,
        "low": tidy(band.low) if band else None,
        "high": tidy(band.high) if band else None,
        "confidence": pad.estimate.confidence if pad.estimate else 0.95,
        "status": pad.status,
        "reasons": list(pad.reasons),
        "lab": None if pad.lab is None else [round(float(part), 2) for part in pad.lab],
        "scale": [block.value for block in pad.chart.blocks],
    }


def derived_json(carbonate: Derived | None) -> list[dict[str, Any]]:
    """Return what follows from several pads together; never put in place of a pad's own value."""
    if carbonate is None:
        return []
    return [
        {
            "analyte": "carbonate_alkalinity",
            "unit": "mg/L",
            "value": tidy(carbonate.value),
            "low": tidy(carbonate.low),
            "high": tidy(carbonate.high),
            "from": list(carbonate.made_from),
        }
    ]


def unread_json(photo: str, code: str, message: str) -> dict[str, Any]:
    """Return the answer for a file in which nothing could be looked at."""
    return {
        "photo": photo,
        "card": {
            "found": False,
            "design": None,
            "delta_e00_median": None,
            "delta_e00_p95": None,
        },
        "strip": {"found": False},
        "readings": [],
        "derived": [],
        "status": "unreadable",
        "reasons": [code],
        "message": message,
    }


def tidy(value: float | None, digits: int = DIGITS) -> float | None:
    """Return the number with so many significant digits; None for none or no number."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}")
