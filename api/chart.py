"""From a photo of the printed chart beside the card to a table: the joint of boxes and chart."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from api.named import Named
from api.swatch import hex_of

WHY = {
    "clipped": "too bright for the camera: take the photo a little darker",
    "uneven_pad": "an edge or glare lies in the box: move the grid, or take the photo again",
    "too_small": "too few pixels: go closer",
    "card_cut_off": "the box reaches beyond the photo: move the grid",
}
"""What a block's reason means here, where the reasons speak of pads."""

HEADER = "strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm"
MOST_BLOCKS = 400


class ChartError(ValueError):
    """A grid over the chart that cannot be used; the message says where and what to do."""


@dataclass(frozen=True)
class Cell:
    """One block of the chart: whose it is, its value, its corners as shares of the photo."""

    pad: int
    value: float
    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Grid:
    """The grid that a person laid over the chart."""

    strip_csv: str
    """The strip's pads as `strip.csv` has them."""
    cells: tuple[Cell, ...]


def load_grid(text: str) -> Grid:
    """Return the grid in this JSON; raise `ChartError` with the place of the first fault."""
    try:
        given = json.loads(text)
        rows = given["rows"]
        lines = [HEADER, *(_line(given, row, place) for place, row in enumerate(rows))]
        cells = tuple(
            _cell(row, block, f"rows[{i}].blocks[{j}]")
            for i, row in enumerate(rows)
            for j, block in enumerate(row["blocks"])
        )
    except (KeyError, TypeError) as fault:
        raise ChartError(f"grid: {fault} is missing or of the wrong kind; send it anew") from None
    except (json.JSONDecodeError, RecursionError):
        raise ChartError("grid: is no JSON; send it anew") from None
    if not 2 <= len(cells) <= MOST_BLOCKS:
        raise ChartError(
            f"grid: {len(cells)} blocks are marked; mark at least two of a pad, "
            f"{MOST_BLOCKS} at most"
        )
    return Grid("\n".join(lines) + "\n", cells)


def _line(given: Mapping[str, Any], row: Mapping[str, Any], place: int) -> str:
    cells = [given["strip"], given["lot"], row["pad"], row["analyte"], row["unit"]]
    cells += [row["read_after_s"], row["centre_mm"], row["size_mm"]]
    words = [str(cell).strip() for cell in cells]
    for word in words:
        if not word or any(mark in word for mark in ',"\r\n'):
            raise ChartError(f"grid, row {place + 1}: {word!r} cannot stand there; fill it anew")
    return ",".join(words)


def _cell(row: Mapping[str, Any], block: Mapping[str, Any], where: str) -> Cell:
    corners = tuple((float(x), float(y)) for x, y in block["corners"])
    value = float(block["value"])
    numbers = [value, *(part for corner in corners for part in corner)]
    if len(corners) != 4 or not all(math.isfinite(one) for one in numbers):
        raise ChartError(f"grid, {where}: needs a value and four corners; mark the block anew")
    return Cell(int(row["pad"]), value, corners)


def read_chart(photo: Named, grid: Grid, measured: Named | None) -> dict[str, Any]:
    """Return the blocks' corrected colours and the table they make, or why they make none.

    Raises ValueError (one sentence) for a photo, grid or card that cannot be used.
    """
    from api.job import measured_card
    from calibration.table import load_strip
    from reader.card import standard_card
    from reader.chart_boxes import read_boxes

    plans = load_strip(grid.strip_csv, "grid")
    card = measured_card(standard_card(), measured) if measured else standard_card()
    corners = np.array([cell.corners for cell in grid.cells])
    seen = read_boxes(photo.data, card, corners)
    found = list(zip(grid.cells, seen.boxes, strict=False))
    table, trouble = _table(plans, found) if seen.card_found else (None, None)
    return {
        "card": {"found": seen.card_found},
        "reasons": list(seen.reasons),
        "blocks": [_block(cell, box) for cell, box in found],
        "table": table,
        "trouble": trouble,
    }


def _table(plans: Any, found: list[tuple[Cell, Any]]) -> tuple[str | None, str | None]:
    """Return the table as CSV, or the sentence that says why there is none."""
    from calibration.printed_chart import ChartBlock, table_from_chart
    from calibration.rows import TableError
    from calibration.table import table_text

    whole = [(cell, box) for cell, box in found if box.lab is not None]
    try:
        blocks = [ChartBlock(cell.pad, cell.value, box.lab) for cell, box in whole]
        return table_text(table_from_chart(plans, blocks)), None
    except TableError as fault:
        return None, str(fault)


def _block(cell: Cell, box: Any) -> dict[str, Any]:
    lab = None if box.lab is None else [round(float(part), 2) for part in box.lab]
    return {
        "pad": cell.pad,
        "value": cell.value,
        "lab": lab,
        "hex": hex_of(lab) if lab else None,
        "reasons": list(box.reasons),
        "why": "; ".join(WHY.get(code, code.replace("_", " ")) for code in box.reasons) or None,
    }
