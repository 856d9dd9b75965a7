"""The handover sheet: one page for the owner, as a PDF."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepInFrame, Paragraph, SimpleDocTemplate, Table

from api.words import USUAL_CAUTIONS, amount, band, limit, plain, whole, wish

INK, SUN, GREEN = HexColor("#0d1f1d"), HexColor("#ffd84d"), HexColor("#a9dcc0")
BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=10.6, leading=13.4, textColor=INK)
HEAD = ParagraphStyle(
    "head", parent=BODY, fontName="Helvetica-Bold", fontSize=13, leading=18, spaceBefore=9
)
TITLE = ParagraphStyle("title", parent=BODY, fontName="Helvetica-Bold", fontSize=20, leading=26)
MARGIN = 14 * mm

OWNER_NEVER = (
    "Do not add bromide, bromine tablets, silver products, or a second kind of shock: once in the "
    "water they spoil the chlorine or the sensor until the tub is drained.",
)
"""Common practice, no source."""

OUTPUT = re.compile(r"generator_\w*?(?:_at_(?P<percent>\d+)|(?P<word>full|zero))(?:_\d+)?$")
"""Steps that set the generator: the log has no other place for what was set."""


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
    zone: tzinfo | None
    """Where the owner's clock hangs; None: times stay as they were written down."""


def handover_of(
    tub: Mapping[str, Any],
    events: Sequence[Mapping[str, Any]],
    answer: Mapping[str, Any] | None,
    wanted: Mapping[str, tuple[float | None, float | None]],
    at: datetime,
    names: Mapping[str, str] | None = None,
    zone: tzinfo | None = None,
) -> Handover:
    """Return what a tub's log says to its owner; `names` are the products' by id."""
    named = names or {}
    return Handover(
        tub=tub,
        answer=answer,
        fill=newest(events, "fill"),
        final=newest(events, "tub"),
        doses=tuple((named.get(one, one), grams, times) for one, grams, times in totals(events)),
        output=output_set(events, zone),
        at=at,
        wanted=wanted,
        zone=zone,
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


def output_set(events: Iterable[Mapping[str, Any]], zone: tzinfo | None = None) -> str:
    """Return what the generator was last set to, in words."""
    done = [one for one in events if one["type"] == "done"]
    steps = [(one, found) for one in done if (found := OUTPUT.match(one["step"]))]
    if not steps:
        return "Not set yet."
    last, found = steps[-1]
    output = {"full": "full output", "zero": "no output"}.get(found["word"] or "")
    return f"Set to {output or found['percent'] + ' % output'}, {clock(last['at'], zone)}."


def clock(moment: str, zone: tzinfo | None) -> str:
    """Return a moment as the owner's clock shows it, else as written down with its offset."""
    when = datetime.fromisoformat(moment)
    if zone is not None:
        return f"{when.astimezone(zone):%d %b %Y, %H:%M}"
    offset = when.strftime("%z")
    hours = "" if offset in ("+0000", "-0000") else f"{offset[:3]}:{offset[3:]}"
    return f"{when:%d %b %Y, %H:%M} UTC{hours}"


def bathing(sheet: Handover) -> str:
    """Return whether anybody may bathe, as far as the last readings tell."""
    needed = ("bromine" if sheet.tub["sanitizer"] == "bromine" else "free_chlorine", "ph")
    there = {one["analyte"]: one for one in sheet.final}
    for name in needed:
        if name not in there:
            return f"Not yet: {plain(name)} has not been measured."
        low, high = sheet.wanted.get(name, (None, None))
        if not in_range(there[name], sheet.wanted) and (low, high) != (None, None):
            value = amount(there[name]["value"], there[name]["unit"])
            return f"Not yet: {plain(name)} read {value}, wanted {wish(low, high)}."
    first, second = (plain(name) for name in needed)
    return whole(f"{first} and {second} were in range when last measured. Measure before each use.")


def what_to_test(tub: Mapping[str, Any]) -> list[list[str]]:
    """Return what to test and when (common practice, no source)."""
    bromine, salt = (tub["sanitizer"] == one for one in ("bromine", "salt_chlorine"))
    sensor = ", although the sensor runs" if tub.get("has_sensor") else ""
    scale = "; look at the cell for white scale" if salt else ""
    return [
        ["Before each use", f"{'bromine' if bromine else 'free chlorine'} and pH"],
        ["Every 10 days", f"total alkalinity and calcium hardness{sensor}"],
        ["Every 30 days", f"phosphate{scale}"],
    ]


def draw_handover(sheet: Handover) -> bytes:
    """Return the sheet as a PDF of one A4 page."""
    out = io.BytesIO()
    room = (A4[0] - 2 * MARGIN, A4[1] - 2 * MARGIN)
    document = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=f"Handover: {sheet.tub['name']}",
        author="Dipstep",
        invariant=1,
    )
    document.build([KeepInFrame(room[0] - 12, room[1] - 12, story(sheet), mode="shrink")])
    return out.getvalue()


def story(sheet: Handover) -> list[Flowable]:
    """Return everything on the page, from top to bottom."""
    tub = sheet.tub
    facts = (
        f"{limit(tub['volume_l'])} litres, {limit(tub['temperature_c'])} °C, "
        f"{plain(str(tub['sanitizer']))}, {plain(str(tub['procedure']))}. "
        f"Printed {clock(sheet.at.isoformat(), sheet.zone)}."
    )
    parts: list[Flowable] = [text(f"Your tub: {tub['name']}", TITLE), text(facts)]
    parts += section("The water now", reading_table(sheet.final, sheet.wanted, sheet.zone))
    parts += section("Bathing", [text(bathing(sheet))])
    parts += section("The fill water", reading_table(sheet.fill, {}, sheet.zone))
    parts += section("What was added", dose_table(sheet.doses))
    if tub["sanitizer"] == "salt_chlorine":
        parts += section("Generator", [text(sheet.output)])
    if sheet.answer is not None and sheet.answer["complete"]:
        parts += section("What comes next", [text("The start-up is complete.")])
    elif sheet.answer is not None:
        parts += section("Still to do, by your technician", [text(sheet.answer["step"]["text"])])
    parts += section("What to test, and when", [grid(what_to_test(tub), (36, 146))])
    warned = [*USUAL_CAUTIONS, *OWNER_NEVER]
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
    zone: tzinfo | None,
) -> list[Flowable]:
    """Return readings with their bands and the wanted range."""
    if not readings:
        return [text("No reading was entered.")]
    head = ["", "value", "95 % band", "wanted" if wanted else "", "by, when"]
    rows = [head, *(row_of(one, wanted, zone) for one in readings)]
    table = grid(rows, (38, 26, 29, 39, 50))
    table.setStyle(
        [
            ("BACKGROUND", (3, place), (3, place), GREEN)
            for place, one in enumerate(readings, 1)
            if in_range(one, wanted)
        ]
    )
    return [table]


def row_of(
    one: Mapping[str, Any],
    wanted: Mapping[str, tuple[float | None, float | None]],
    zone: tzinfo | None,
) -> list[str]:
    """Return a reading's cells; whether it lies inside is told by a word as well as by colour."""
    range_ = wanted.get(one["analyte"])
    ends = band(one["low"], one["high"]) if "low" in one and "high" in one else ""
    by = f"{plain(one['source'])}, {clock(one['at'], zone)}"
    inside = "inside" if in_range(one, wanted) else "outside"
    told = f"{wish(*range_)}: {inside}" if range_ else ""
    return [plain(one["analyte"]), amount(one["value"], one["unit"]), ends, told, by]


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
    rows = [
        [name, f"{grams:.0f} g in all", f"{times} dose{'s' if times > 1 else ''}"]
        for name, grams, times in doses
    ]
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
