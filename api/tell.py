"""Readings and next steps as text for a terminal."""

from __future__ import annotations

import os
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TextIO

from api.bands import share_of
from api.words import (
    VERDICT_WORDS,
    amount,
    band,
    cautions_of,
    chance,
    moment,
    number,
    plain,
    sentences,
    value_of,
    weightiest,
)

Wanted = Mapping[str, tuple[float | None, float | None]]

BAR = 26
"""Width of the band bar in characters."""
LINE = 92
"""Where long sentences break."""
COLOURS = {"accepted": "32", "recheck": "33", "unreadable": "31", "dim": "2", "strong": "1"}
COLOURS |= {"open": "32", "shut": "31", "undecided": "33", "waiting": "36", "caution": "33"}


@dataclass(frozen=True)
class Style:
    """What the terminal can show."""

    colour: bool = False
    unicode: bool = True

    @staticmethod
    def of(stream: TextIO) -> Style:
        """Return what this stream can show; NO_COLOR is respected."""
        fancy = stream.isatty() and "NO_COLOR" not in os.environ
        return Style(fancy, "utf" in (stream.encoding or "").lower())

    def paint(self, text: str, kind: str) -> str:
        """Return the text in the colour of its kind, where colours can be shown."""
        return f"\033[{COLOURS[kind]}m{text}\033[0m" if self.colour else text


def tell_reading(
    answer: Mapping[str, Any], wanted: Wanted, known: Mapping[str, Any], style: Style
) -> str:
    """Return one photo's answer as a table with band bars, reasons and cures below."""
    lines = [style.paint(answer["photo"], "strong") + "   " + _verdict(answer["status"], style)]
    if answer["card"]["found"] and answer["card"]["delta_e00_median"] is not None:
        card = answer["card"]
        fit = f"card {card['design']}: colours fit within {card['delta_e00_median']:.1f} "
        fit += f"(median) and {card['delta_e00_p95']:.1f} (95 %) CIEDE2000"
        lines.append("  " + style.paint(fit, "dim"))
    lines += [
        f"  {line}" for line in _wrapped(sentences(weightiest(answer["reasons"], known), known))
    ]
    shown = answer["readings"] if answer["status"] != "unreadable" else []
    lines += [_pad_line(pad, wanted.get(pad["analyte"]), style) for pad in shown]
    lines += _remarks(shown, set(answer["reasons"]), known, style)
    for derived in answer.get("derived", []):
        says = f"{plain(derived['analyte'])} {amount(derived['value'], derived['unit'])}"
        says += f" ({band(derived['low'], derived['high'])}), derived from "
        lines.append("  " + says + " and ".join(plain(name) for name in derived["from"]))
    return "\n".join(lines)


def _verdict(status: str, style: Style) -> str:
    mark = {"accepted": "✓", "recheck": "▲", "unreadable": "✗"} if style.unicode else {}
    return style.paint(f"{mark.get(status, '')} {VERDICT_WORDS[status]}".strip(), status)


def _pad_line(
    pad: Mapping[str, Any], wanted: tuple[float | None, float | None] | None, style: Style
) -> str:
    unread = pad["value"] is None
    width = "" if unread else band(pad["low"], pad["high"])
    bar = " " * BAR if unread else band_bar(pad, wanted, style)
    return (
        f"  {pad['pad']}  {plain(pad['analyte']):<18}{value_of(pad):>16}  {width:<16}{bar}  "
        + _verdict(pad["status"], style)
    )


def band_bar(
    pad: Mapping[str, Any], wanted: tuple[float | None, float | None] | None, style: Style
) -> str:
    """Return the chart's scale with the wanted range, the band and the value on it."""
    scale = pad["scale"]
    ground, good, line, dot = ("·", "░", "━", "●") if style.unicode else (".", ":", "=", "o")

    def place(value: float) -> int:
        return round(share_of(value, scale) * (BAR - 1))

    low, high = (None, None) if wanted is None else wanted
    cells = [ground] * BAR
    if wanted is not None:
        start, end = 0 if low is None else place(low), BAR - 1 if high is None else place(high)
        cells[start : end + 1] = [good] * (end + 1 - start)
    start = 0 if pad["low"] is None else place(pad["low"])
    end = BAR - 1 if pad["high"] is None else place(pad["high"])
    cells[start : end + 1] = [line] * (end + 1 - start)
    cells[place(pad["value"])] = dot
    if pad["high"] is None:
        cells[-1] = ">"
    if pad["low"] is None:
        cells[0] = "<"
    return "".join(cells)


def _remarks(
    pads: list[Mapping[str, Any]], said: set[str], known: Mapping[str, Any], style: Style
) -> list[str]:
    """Return each reason once, with the pads it concerns."""
    concerned: dict[str, list[str]] = {}
    for pad in pads:
        for code in weightiest(pad["reasons"], known):
            if code not in said:
                concerned.setdefault(code, []).append(plain(pad["analyte"]))
    lines = []
    for code, names in concerned.items():
        text = f"{', '.join(names)}: " + " ".join(sentences([code], known))
        lines += [f"    {style.paint(line, 'dim')}" for line in _wrapped([text])]
    return lines


def tell_next(answer: Mapping[str, Any], tub: str, style: Style) -> str:
    """Return the next step with its gates, what to expect, why, and the cautions."""
    step = answer["step"]
    head = style.paint(tub, "strong") + f"   stage: {plain(answer['stage'])}"
    lines = [head, "", *_wrapped([step["text"]], "  ", style.paint("Next: ", "strong"))]
    if step.get("not_before"):
        lines.append(f"  Not before {moment(step['not_before'])}")
    lines += _expected(answer["expect"])
    lines += _gates(answer["gates"], style)
    lines += _listed("Why", answer["why"], "-", style)
    lines += _listed("Cautions", cautions_of(answer), "!", style)
    return "\n".join(lines)


def _expected(expect: Mapping[str, Mapping[str, float]]) -> list[str]:
    """Return what the next measurement should show."""
    return [
        f"  Expect {plain(name)} {number(one['value'])} ({band(one['low'], one['high'])})"
        for name, one in expect.items()
    ]


def _gates(gates: list[Mapping[str, Any]], style: Style) -> list[str]:
    lines = ["", style.paint("Gates", "strong")] if gates else []
    for gate in gates:
        unit = "" if gate["unit"] in (None, "pH") else f" {gate['unit']}"
        needs = f"{plain(gate['id']):<26} {gate['needs']}"
        needs += "" if unit.strip() in gate["needs"] else unit
        sure = "" if gate["probability"] is None else f"in range: {chance(gate['probability'])}"
        state = style.paint(f"{gate['state']:<10}", gate["state"])
        lines.append(f"  {state} {needs:<56} {style.paint(sure, 'dim')}".rstrip())
    return lines


def _listed(title: str, texts: list[str], mark: str, style: Style) -> list[str]:
    lines = ["", style.paint(title, "strong")] if texts else []
    for text in texts:
        lines += _wrapped([text], "    ", f"  {mark} ")
    return lines


def _wrapped(texts: list[str], indent: str = "", first: str | None = None) -> list[str]:
    start = indent if first is None else first
    return [
        line
        for text in texts
        for line in textwrap.wrap(text, LINE, initial_indent=start, subsequent_indent=indent)
    ]
