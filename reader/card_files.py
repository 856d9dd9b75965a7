"""Measured cards: CGATS.17 text, CxF3, or a CSV with the header `id,L,a,b`."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from reader.cgats import CardFacts, read_cgats, read_facts as facts_in, write_cgats
from reader.cxf import read_cxf, write_cxf
from reader.errors import CardFileError

__all__ = [
    "BESIDE_CARD",
    "BESIDE_CHART",
    "CardFacts",
    "CardFileError",
    "print_sd_of",
    "read_facts",
    "read_measured",
    "write_cgats",
    "write_csv",
    "write_cxf",
]

Lab = tuple[float, float, float]
HEADER = ("id", "L", "a", "b")
SMALL_HEADER = tuple(cell.lower() for cell in HEADER)
DELIMITERS = (",", ";", "\t")
BESIDE_CARD = "photos beside a measured card"
BESIDE_CHART = "photos beside a 24-patch chart"
"""What the keyword MEASUREMENT_SOURCE says of cards measured by photos."""
CHART_SD = (0.9, 0.7, 0.8)
"""Lightness, chroma and hue of a card measured beside a chart, in tolerance units, as rendered
photos have it: other colorants, and light foretold across the gap (`tests.bench calibration`)."""
MAX_BYTES = 5_000_000


def read_measured(data: bytes, name: str) -> dict[str, Lab]:
    """Return the measured CIELAB colours (D50, 2 degree) of a card by patch.

    Parameters
    ----------
    data
        Bytes of a CGATS.17, CxF3 or CSV file; which one is told from the content.
    name
        What messages call the file.

    Raises
    ------
    CardFileError
        For the first fault, with its line and a cure.
    """
    if len(data) > MAX_BYTES:
        raise CardFileError(
            f"{name}: {len(data) / 1e6:.0f} MB is no measured card; choose the card's own file"
        )
    if data.lstrip(b"\xef\xbb\xbf\xff\xfe\0 \t\r\n")[:1] == b"<":
        found = read_cxf(data, name)
    else:
        found = _read_text(_decoded(data), name)
    if not found:
        raise CardFileError(f"{name}: no patch was found; give one row for each patch of the card")
    return found


def read_facts(data: bytes) -> CardFacts:
    """Return what a measured card says of itself; CxF3 and CSV say nothing that is read."""
    return CardFacts() if data.lstrip()[:1] == b"<" else facts_in(_decoded(data))


def print_sd_of(data: bytes) -> tuple[float, float, float]:
    """Return what the way of measuring leaves unsure in common to all patches (`Card.print_sd`)."""
    return CHART_SD if read_facts(data).source == BESIDE_CHART else (0.0, 0.0, 0.0)


def _decoded(data: bytes) -> str:
    """Return the text; UTF-8 or UTF-16 by its mark, else the old western code page."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _read_text(text: str, name: str) -> dict[str, Lab]:
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = max(DELIMITERS, key=first.count)
    if tuple(cell.lower() for cell in _cells(first, mark)[: len(HEADER)]) == SMALL_HEADER:
        return _read_csv(text, mark, name)
    if "BEGIN_DATA" in text.upper():
        return read_cgats(text, name)
    raise CardFileError(
        f"{name}: this is neither CGATS.17 (BEGIN_DATA), nor CxF3, nor a CSV that begins with "
        "id,L,a,b; export the measured card in one of them"
    )


def _cells(line: str, mark: str = ",") -> tuple[str, ...]:
    return tuple(cell.strip().strip('"') for cell in line.split(mark))


def _read_csv(text: str, mark: str, name: str) -> dict[str, Lab]:
    found: dict[str, Lab] = {}
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=mark)
    width = 0
    try:
        for row in rows:
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            if not width:
                width = len(cells)
                continue
            place = f"{name}, line {rows.line_num}"
            patch, lab = _csv_row(cells, width, mark != ",", place)
            if patch in found:
                raise CardFileError(
                    f"{place}: patch {patch!r} stands twice; "
                    "average its measurements or leave one row"
                )
            found[patch] = lab
    except csv.Error as fault:
        raise CardFileError(
            f"{name}, line {rows.line_num}: {fault}; write plain rows of id,L,a,b"
        ) from None
    return found


def _csv_row(cells: list[str], width: int, commas: bool, place: str) -> tuple[str, Lab]:
    """Return patch and colour of a row; a decimal comma can only stand where none parts cells."""
    if len(cells) != width:
        raise CardFileError(
            f"{place}: {len(cells)} cells for the columns id,L,a,b; "
            "give one a column, with a decimal point in numbers"
        )
    values = []
    for column, cell in zip(HEADER[1:], cells[1:4], strict=True):
        try:
            value = float(cell.replace(",", ".") if commas else cell)
        except ValueError:
            value = float("nan")
        if not abs(value) < 1e4:
            raise CardFileError(
                f"{place}: {column} {cell!r} is not a number; "
                "use digits and a decimal point, for example 52.31"
            )
        values.append(value)
    return cells[0], (values[0], values[1], values[2])


def write_csv(lab: Mapping[str, Lab]) -> str:
    """Return the colours as a CSV."""
    rows = "".join(f"{patch},{v[0]:.4f},{v[1]:.4f},{v[2]:.4f}\n" for patch, v in lab.items())
    return "id,L,a,b\n" + rows
