"""Names, numbers and sentences as a person reads them; shared by terminal and pages."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from typing import Any

ACRONYMS = {"ph": "pH", "qa": "QA"}

USUAL_CAUTIONS = (
    "Never mix chemicals, above all acid and chlorine: clean scoop, one product at a time.",
    "Add chemical to water, never water to chemical, with jets running.",
    "Nobody in the tub while dosing and until the water has mixed and tests in range.",
    "The product's label, local code and licensed practice come first.",
)
"""Common practice, no source; printed when an answer with a dose brings no cautions of its own."""

VERDICT_WORDS = {
    "accepted": "accepted",
    "recheck": "check by hand",
    "unreadable": "cannot tell",
}


def plain(name: str) -> str:
    """Return a code as words: `free_chlorine` is free chlorine, `ph` is pH."""
    return ACRONYMS.get(name, name.replace("_", " "))


def number(value: float | None) -> str:
    """Return a number with the digits a strip deserves."""
    if value is None:
        return "-"
    if value == 0:
        return "0"
    value = float(f"{value:.3g}") if abs(value) < 1000 else value
    digits = max(0, 2 - math.floor(math.log10(abs(value)))) if abs(value) < 100 else 0
    return f"{value:.{min(digits, 2)}f}"


def amount(value: float | None, unit: str) -> str:
    """Return a value with its unit; pH bears none."""
    return number(value) if unit == "pH" else f"{number(value)} {unit}"


def limit(value: float | None) -> str:
    """Return a number that somebody set, such as a limit or a chart's block, as it was set."""
    return "-" if value is None else f"{value:.6g}"


def band(
    low: float | None, high: float | None, told: Callable[[float | None], str] = number
) -> str:
    """Return a band as words; an open end is said to be open."""
    if low is None and high is None:
        return "open on both sides"
    if low is None:
        return f"{told(high)} or less"
    if high is None:
        return f"{told(low)} or more"
    return f"{told(low)} to {told(high)}"


def wish(low: float | None, high: float | None) -> str:
    """Return a wanted range as words: its ends are limits, not measurements."""
    return band(low, high, limit)


def lot_words(lot: str) -> str:
    """Return a lot as words, the word said once: `7` is lot 7, and so is `Lot 7`."""
    return lot if lot.lower().startswith("lot") else f"lot {lot}"


def value_of(pad: Mapping[str, Any]) -> str:
    """Return a pad's value as a person may rely on it: an open end is told as such."""
    if pad["value"] is None:
        return "-"
    if pad["high"] is None and pad["low"] is not None:
        return f"above {amount(pad['low'], pad['unit'])}"
    if pad["low"] is None and pad["high"] is not None:
        return f"below {amount(pad['high'], pad['unit'])}"
    return amount(pad["value"], pad["unit"])


def moment(text: str | None) -> str:
    """Return an ISO time as day and minute, with its offset."""
    if not text:
        return ""
    when = datetime.fromisoformat(text)
    return (
        when.strftime("%a %d %b %Y, %H:%M ")
        + when.strftime("%z")[:3]
        + ":"
        + when.strftime("%z")[3:]
    )


def sentences(codes: Iterable[str], known: Mapping[str, Any]) -> list[str]:
    """Return each reason's sentence with its cure."""
    return [
        f"{whole(known[code].sentence)} {whole(known[code].cure)}"
        for code in codes
        if code in known
    ]


def weightiest(codes: Iterable[str], known: Mapping[str, Any]) -> list[str]:
    """Return the codes that decide the verdict: those of the heaviest weight among them."""
    there = [code for code in codes if code in known]
    for weight in ("spoils", "doubt", "note"):
        heavy = [code for code in there if known[code].weight == weight]
        if heavy:
            return heavy
    return []


def chance(probability: float) -> str:
    """Return a probability as a person says it; nothing is ever quite certain."""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def whole(text: str) -> str:
    """Return the text as a whole sentence: capital first, full stop last."""
    return text[:1].upper() + text[1:].rstrip(".") + "."


def cautions_of(answer: Mapping[str, Any]) -> list[str]:
    """Return the answer's cautions; a dose never goes without the usual ones."""
    given = list(answer["cautions"])
    if answer["step"]["kind"] == "dose" and not given:
        return list(USUAL_CAUTIONS)
    return given
