"""A reading as a page shows it: one row a pad, like the strip itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.bands import BandBar, Range, band_bar
from api.swatch import hex_of
from api.words import sentences, weightiest, whole


@dataclass(frozen=True)
class PadRow:
    """One pad: its colour, its value on a band bar, its verdict and what was flagged."""

    pad: Mapping[str, Any]
    colour: str | None
    bar: BandBar
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class ReadingView:
    """One photo's reading for a page."""

    answer: Mapping[str, Any]
    rows: tuple[PadRow, ...]
    remarks: tuple[str, ...]
    """What was seen of the whole photo, each with its cure."""
    cures: tuple[str, ...]
    """What to do about the pads, each cure once."""


def view_of(
    answer: Mapping[str, Any], wanted: Mapping[str, Range], known: Mapping[str, Any]
) -> ReadingView:
    """Return a reading (JSON of formats) as a page shows it."""
    of_photo = set(answer["reasons"])
    shown = answer["readings"] if answer["status"] != "unreadable" else []
    rows = tuple(
        PadRow(
            pad,
            hex_of(pad["lab"]) if pad["lab"] else None,
            band_bar(pad, wanted.get(pad["analyte"])),
            tuple(whole(known[code].sentence) for code in deciding(pad, of_photo, known)),
        )
        for pad in shown
    )
    codes = [code for pad in shown for code in deciding(pad, of_photo, known)]
    cures = tuple(dict.fromkeys(whole(known[code].cure) for code in codes))
    return ReadingView(
        answer, rows, tuple(sentences(weightiest(answer["reasons"], known), known)), cures
    )


def deciding(pad: Mapping[str, Any], of_photo: set[str], known: Mapping[str, Any]) -> list[str]:
    """Return the codes that decided a pad's verdict, but for what is said of the whole photo."""
    return [code for code in weightiest(pad["reasons"], known) if code not in of_photo]
