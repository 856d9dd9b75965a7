"""The handover sheet: one page for the owner, as a PDF."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepInFrame, Paragraph, SimpleDocTemplate, Table

from api.words import USUAL_CAUTIONS, amount, band, moment, plain

INK, SUN, GREEN = HexColor("#0d1f1d"), HexColor("#ffd84d"), HexColor("#a9dcc0")
BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=9.4, leading=12, textColor=INK)
HEAD = ParagraphStyle(
    "head", parent=BODY, fontName="Helvetica-Bold", fontSize=11.5, leading=16, spaceBefore=8
)
TITLE = ParagraphStyle("title", parent=BODY, fontName="Helvetica-Bold", fontSize=18, leading=24)
MARGIN = 14 * mm

OWNER_NEVER = (
    "Do not add bromide, bromine tablets, silver products, or a second kind of shock: once in the "
    "water they spoil the chlorine or the sensor until the tub is drained.",
)
"""Common practice, no source."""

TESTS = (
    ("Before each use", "free chlorine and pH"),
    ("Every 10 days", "total alkalinity and calcium hardness, although the sensor runs"),
    ("Every 30 days", "phosphate; look at the cell for white scale"),
)
"""Common practice, no source."""


@dataclass(frozen=True)
class Handover:
    """What the sheet says."""

    tub: Mapping[str, Any]
    answer: Mapping[str, Any] | None
    fill: tuple[Mapping[str, Any], ...]
    """The newest reading of each analyte of the fill water (events of the log)."""
    final: tuple[Mapping[str, Any], ...]
    """The newest reading of each analyte of the tub."""
    doses: tuple[tuple[str, float, int], ...]
    """Product, grams in all, how many times."""
    output: str
    at: datetime
    wanted: Mapping[str, tuple[float | None, float | None]]


def handover_of(
    tub: Mapping[str, Any],
    events: Sequence[Mapping[str, Any]],
    answer: Mapping[str, Any] | None,
    wanted: Mapping[str, tuple[float | None, float | None]],
    at: datetime,
) -> Handover:
    """Return what a tub's log says to its owner."""
    return Handover(
        tub=tub,
        answer=answer,
        fill=newest(events, "fill"),
        final=newest(events, "tub"),
        doses=totals(events),
        output=output_set(events),
        at=at,
        wanted=wanted,
    )


def newest(events: Iterable[Mapping[str, Any]], sample: str) -> tuple[Mapping[str, Any], ...]:
    """Return the newest reading of each analyte of one water."""
    found: dict[str, Mapping[str, Any]] = {}
    for event in events:
        if event["type"] == "reading" and event.get("sample", "tub") == sample:
            found[event["analyte"]] = event
    return tuple(found.values())


def totals(events: Iterable[Mapping[str, Any]]) -> tuple[tuple[str, float, int], ...]:
    """Return what was added in all, by product."""
    given: dict[str, list[float]] = {}
    for event in events:
        if event["type"] == "dose":
            given.setdefault(event["product"], []).append(event["amount_g"])
    return tuple((name, sum(grams), len(grams)) for name, grams in given.items())


def output_set(events: Iterable[Mapping[str, Any]]) -> str:
    """Return the last step that set the generator, in words."""
    done = [one for one in events if one["type"] == "done"]
    steps = [one for one in done if "output" in one["step"] or "generator" in one["step"]]
    if not steps:
        return "not set yet"
    return f"{plain(steps[-1]['step'])}, {moment(steps[-1]['at'])}"


def draw_handover(sheet: Handover) -> bytes:
    """Return the sheet as a PDF of one A4 page."""
    out = io.BytesIO()
    room = (A4[0] - 2 * MARGIN, A4[1] - 2 * MARGIN)
    document = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=MARGIN,
        bottomMargin=MARGIN, title=f"Handover: {sheet.tub['name']}", author="Dipstep", invariant=1,
    )  # fmt: skip
    document.build([KeepInFrame(room[0] - 12, room[1] - 12, story(sheet), mode="shrink")])
    return out.getvalue()


def story(sheet: Handover) -> list[Flowable]:
    """Return everything on the page, from top to bottom."""
    tub = sheet.tub
    facts = (
        f"{tub['volume_l']:g} litres, {plain(str(tub['sanitizer']))}, "
        f"{plain(str(tub['procedure']))}. Printed {moment(sheet.at.isoformat())}."
    )
    parts: list[Flowable] = [text(f"Your tub: {tub['name']}", TITLE), text(facts)]
    parts += section("The water now", reading_table(sheet.final, sheet.wanted))
    parts += section("The fill water", reading_table(sheet.fill, {}))
    parts += section("What was added", dose_table(sheet.doses))
    parts += section("Generator", [text(sheet.output)])
    if sheet.answer is not None:
        state = "The start-up is complete. " if sheet.answer["complete"] else ""
        parts += section("What comes next", [text(state + sheet.answer["step"]["text"])])
    parts += section("What to test, and when", [grid([list(row) for row in TESTS], (32, 150))])
    warned = [*USUAL_CAUTIONS, *OWNER_NEVER, *(sheet.answer["cautions"] if sheet.answer else ())]
    boxed = Table(
        [[[text(f"! {one}") for one in dict.fromkeys(warned)]]], colWidths=[180 * mm], hAlign="LEFT"
    )
    boxed.setStyle([("BOX", (0, 0), (-1, -1), 1.5, INK), ("BACKGROUND", (0, 0), (-1, -1), SUN)])
    return [*parts, *section("Cautions", [boxed])]


def section(title: str, body: Sequence[Flowable]) -> list[Flowable]:
    """Return a heading with what stands under it."""
    return [text(title, HEAD), *body]


def reading_table(
    readings: Sequence[Mapping[str, Any]],
    wanted: Mapping[str, tuple[float | None, float | None]],
) -> list[Flowable]:
    """Return readings with their bands and the wanted range."""
    if not readings:
        return [text("No reading was entered.")]
    head = ["", "value", "95 % band", "wanted", "by, when"]
    table = grid([head, *(row_of(one, wanted) for one in readings)], (42, 28, 36, 34, 42))
    table.setStyle(
        [
            ("BACKGROUND", (3, place), (3, place), GREEN)
            for place, one in enumerate(readings, 1)
            if in_range(one, wanted)
        ]
    )
    return [table]


def row_of(
    one: Mapping[str, Any], wanted: Mapping[str, tuple[float | None, float | None]]
) -> list[str]:
    """Return a reading's cells."""
    wish = wanted.get(one["analyte"])
    ends = band(one["low"], one["high"]) if "low" in one and "high" in one else ""
    by = f"{plain(one['source'])}, {datetime.fromisoformat(one['at']):%d %b %H:%M}"
    wish_words = band(*wish) if wish else ""
    return [plain(one["analyte"]), amount(one["value"], one["unit"]), ends, wish_words, by]


def in_range(
    one: Mapping[str, Any], wanted: Mapping[str, tuple[float | None, float | None]]
) -> bool:
    """Say whether the value lies in the wanted range."""
    low, high = wanted.get(one["analyte"], (None, None))
    if low is None and high is None:
        return False
    return (low is None or one["value"] >= low) and (high is None or one["value"] <= high)


def dose_table(doses: Sequence[tuple[str, float, int]]) -> list[Flowable]:
    """Return what was added, by product."""
    if not doses:
        return [text("Nothing was added.")]
    rows = [[name, f"{grams:.0f} g in all", f"{times} dose{'s' if times > 1 else ''}"]
            for name, grams, times in doses]  # fmt: skip
    return [grid(rows, (60, 50, 72))]


def grid(rows: Sequence[Sequence[str]], widths_mm: Sequence[float]) -> Table:
    """Return rows of text as a table with thin lines."""
    cells = [[text(cell) for cell in row] for row in rows]
    made = Table(cells, colWidths=[width * mm for width in widths_mm], hAlign="LEFT")
    thin: Color = INK
    made.setStyle(
        [
            ("LINEBELOW", (0, 0), (-1, -1), 0.4, thin),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 1.5),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ]
    )
    return made


def text(words: str, style: ParagraphStyle = BODY) -> Paragraph:
    """Return words as a paragraph; letters the built-in font lacks become a question mark."""
    known = words.encode("cp1252", "replace").decode("cp1252")
    return Paragraph(escape(known), style)
