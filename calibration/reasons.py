"""Reason codes of the chart: what a person should know about a value, in one place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal


@dataclass(frozen=True)
class Reason:
    """Why a value may not be trusted as it stands."""

    code: str
    weight: Literal["note", "doubt", "spoils"]
    """note: accepted with a remark; doubt: a person looks; spoils: no value is given."""
    sentence: str
    cure: str


_ALL = (
    Reason(
        "beyond_chart",
        "note",
        "the colour lies past the last block of the chart, so the band is open on that side",
        "trust only the closed side, and use a test with a wider range if the value matters",
    ),
    Reason(
        "off_curve",
        "doubt",
        "the colour lies too far from the chart to be this pad",
        "check strip, lot and which end was dipped, wipe the card and dip a fresh strip",
    ),
    Reason(
        "two_values",
        "doubt",
        "the colour fits two values of the chart",
        "dip again in better light, or settle it with a drop test",
    ),
    Reason(
        "wide_band",
        "doubt",
        "the band is too wide to act on",
        "take the photo in better light and closer, or use a drop test",
    ),
    Reason(
        "from_chart",
        "note",
        "the table was made from the printed chart, whose inks are not pads, so bands are wider",
        "make a table from waters of known value: dipstep table build",
    ),
    Reason(
        "table_expired",
        "doubt",
        "the strips of this lot are past their date",
        "open a fresh lot and load its table",
    ),
    Reason(
        "control_broken",
        "doubt",
        "the control water of this lot broke a quality rule that nobody has signed off",
        "dip the control water again; sign off once it reads as it should",
    ),
)

REASONS: Mapping[str, Reason] = MappingProxyType({reason.code: reason for reason in _ALL})
