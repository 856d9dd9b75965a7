"""Where a strip's pads sit: the rows of a strip file, and pads that a table has no colours for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.rows import NUMBER, Row

PLACE = ("strip", "lot", "pad", "analyte", "unit", "read_after_s", "centre_mm", "size_mm")

STRIP_LENGTH_MM = 90.0
STRIP_WIDTH_MM = 6.5
"""The longest and widest strip that the card's slot takes."""

OTHERS = "other_pads"
"""Optional column of a table: pads of the strip that were not calibrated. Without them the strip
would not be known whole, and a photo of it be taken for another strip."""


@dataclass(frozen=True)
class PadPlan:
    """One row of a strip file: a pad without colours."""

    strip: str
    lot: str
    pad: int
    analyte: str
    unit: str
    read_after_s: float
    centre_mm: float
    size_mm: float
    line: int = 0


def plan(row: Row) -> PadPlan:
    """Return the place of a row's pad; faults are noted in the row."""
    size = row.number("size_mm", 0.0, STRIP_WIDTH_MM, "5.0", above=True)
    return PadPlan(
        row.text("strip"),
        row.cells.get("lot", ""),
        row.whole("pad", "1"),
        row.text("analyte"),
        row.text("unit"),
        row.number("read_after_s", 0.0, 3600.0, "15"),
        row.number("centre_mm", 0.0, STRIP_LENGTH_MM, "6.0", above=True),
        size,
        row.line,
    )


def others_text(plans: Sequence[PadPlan]) -> str:
    """Return pads as one cell: `2:total_chlorine:mg/L:15:12:5|...` (as in a strip file's row)."""
    return "|".join(
        f"{p.pad}:{p.analyte}:{p.unit}:{p.read_after_s:g}:{p.centre_mm:g}:{p.size_mm:g}"
        for p in plans
    )


def others_in(row: Row) -> tuple[PadPlan, ...]:
    """Return the pads in a row's cell `other_pads`; faults are noted in the row."""
    found = []
    for item in filter(None, row.cells.get(OTHERS, "").split("|")):
        parts = [part.strip() for part in item.split(":")]
        if len(parts) != 6 or not all(parts):
            row.fault(f"{OTHERS} {item[:40]!r} is no pad", "write for example 2:iron:ug/L:15:12:5")
            continue
        cells = dict(zip(PLACE[2:], parts, strict=True))
        numbers = [cells["pad"], cells["read_after_s"], cells["centre_mm"], cells["size_mm"]]
        if not all(NUMBER.fullmatch(n) and math.isfinite(float(n)) for n in numbers):
            row.fault(f"{OTHERS} {item[:40]!r} has a part that is no number", "correct it")
            continue
        own = Row(row.line, {**row.cells, **cells}, comma=row.comma)
        found.append(plan(own))
        row.faults += own.faults
    return tuple(found)
