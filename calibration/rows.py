"""CSV text to rows of checked cells; every fault with its line, what is wrong and the cure."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
DELIMITERS = (",", ";", "\t")


class TableError(ValueError):
    """A file of the calibration that cannot be used; says file, line, fault and cure."""


@dataclass(frozen=True)
class Fault:
    """One thing wrong with a file: where, what, and what to do."""

    what: str
    cure: str
    line: int | None = None
    pad: int | None = None
    fatal: bool = True
    """False: the file can be used, but not trusted without a look."""

    def sentence(self, name: str) -> str:
        """Return the fault of the file called `name` as one sentence."""
        place = f"{name}, line {self.line}" if self.line is not None else name
        return f"{place}: {self.what}; {self.cure}"

    @property
    def words(self) -> str:
        """Return the fault where the file is plain to see."""
        place = f"line {self.line}: " if self.line is not None else ""
        told = f"{place}{self.what}; {self.cure}"
        return told[0].upper() + told[1:]


def first_sentence(faults: Sequence[Fault], name: str) -> str:
    """Return the first fatal fault as a sentence, and how many more there are."""
    fatal = [fault for fault in faults if fault.fatal]
    more = f" (and {len(fatal) - 1} more)" if len(fatal) > 1 else ""
    return fatal[0].sentence(name) + more


def decode(data: bytes, name: str) -> str:
    """Return the text of a CSV file in UTF-8 or, with its mark, UTF-16; else raise TableError."""
    encoding = "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        raise TableError(
            f"{name}: the file is not text in UTF-8; save it again as 'CSV UTF-8'"
        ) from None


@dataclass
class Row:
    """One line of the file; its readers add what they find wrong to `faults`."""

    line: int
    cells: Mapping[str, str]
    faults: list[Fault] = field(default_factory=list)
    comma: bool = False
    """Cells are not parted by commas, so that one in a number can only be its decimal comma."""

    def fault(self, what: str, cure: str) -> None:
        """Note a fatal fault of this line."""
        self.faults.append(Fault(what, cure, self.line))

    def has(self, column: str) -> bool:
        """Say whether the cell holds anything."""
        return bool(self.cells.get(column))

    def text(self, column: str) -> str:
        """Return a cell that must not be empty."""
        found = self.cells.get(column, "")
        if not found:
            self.fault(f"{column} is empty", "fill it in")
        return found

    def number(
        self,
        column: str,
        low: float = -math.inf,
        high: float = math.inf,
        example: str = "3.0",
        above: bool = False,
    ) -> float:
        """Return a number from `low` (over it when `above`) to `high`; NaN with a fault if not."""
        found = self.cells.get(column, "").replace("−", "-")
        if self.comma and DECIMAL_COMMA.fullmatch(found):
            found = found.replace(",", ".")
        if not NUMBER.fullmatch(found):
            self.fault(*_no_number(column, found, example))
            return math.nan
        number = float(found)
        if not math.isfinite(number) or not low <= number <= high or (above and number == low):
            limit = _limit(low, high, above)
            self.fault(f"{column} {found} cannot be", f"{limit}, for example {example}")
            return math.nan
        return number

    def whole(self, column: str, example: str) -> int:
        """Return a whole number of at least 1; 0 with a fault if it is none."""
        found = self.cells.get(column, "")
        if not re.fullmatch(r"\d{1,6}", found, re.ASCII) or int(found) < 1:
            what = f"{column} {found!r} is not a whole number from 1"
            self.fault(what, f"write for example {example}")
            return 0
        return int(found)


def _no_number(column: str, found: str, example: str) -> tuple[str, str]:
    if not found:
        return f"{column} is empty", f"write a number, for example {example}"
    if DECIMAL_COMMA.fullmatch(found):
        cure = f"use a decimal point: {found.replace(',', '.')}"
        return f"{column} {found!r} has a decimal comma", cure
    what = f"{column} {found[:40]!r} is not a number"
    return what, f"use digits and a decimal point, for example {example}"


def _limit(low: float, high: float, above: bool) -> str:
    if math.isinf(high):
        return f"it must be over {low:g}" if above else f"it must be at least {low:g}"
    return f"it must lie between {low:g} and {high:g}"


def read_rows(
    text: str, needed: Sequence[str], one_of: Sequence[Sequence[str]] = ()
) -> tuple[list[Row], list[Fault]]:
    """Return the rows of a CSV with the columns `needed`, and the faults of its shape.

    Commas, semicolons and tabs part the cells; a byte order mark, CRLF, blank lines and lines
    that begin with # are passed over. Of each group in `one_of` at least one must be complete.
    """
    if "\x00" in text:
        return [], [Fault("the file is not text", "save it again as 'CSV UTF-8'")]
    lines = _Lines(text.removeprefix("\ufeff"))
    header_line, header = next(lines, (1, []))
    faults = _header_faults(header, needed, one_of)
    if faults:
        return [], faults
    rows = []
    for line, cells in lines:
        if len(cells) > len(header) and any(cells[len(header) :]):
            faults.append(_too_many(line, len(cells), len(header)))
        padded = [*cells, *[""] * len(header)][: len(header)]
        cells_of = dict(zip(header, padded, strict=True))
        rows.append(Row(line, cells_of, comma=lines.delimiter != ","))
    if not rows:
        faults.append(Fault("there is no row under the header", "write rows under it", header_line))
    return rows, faults


class _Lines:
    """The lines of a CSV with their numbers, blank lines and comments left out."""

    def __init__(self, text: str) -> None:
        first = next((x for x in text.splitlines() if x.strip() and x[0] != "#"), "")
        self.delimiter = max(DELIMITERS, key=first.count)
        self._rows = csv.reader(io.StringIO(text, newline=""), delimiter=self.delimiter)

    def __iter__(self) -> _Lines:
        return self

    def __next__(self) -> tuple[int, list[str]]:
        while True:
            try:
                cells = [cell.strip() for cell in next(self._rows)]
            except csv.Error:
                continue
            if any(cells) and not cells[0].startswith("#"):
                return self._rows.line_num, cells


def _too_many(line: int, found: int, wanted: int) -> Fault:
    what = f"the row has {found} cells where the header has {wanted}"
    return Fault(what, "use a decimal point, and quotes around text with commas", line)


def _header_faults(
    header: Sequence[str], needed: Sequence[str], one_of: Sequence[Sequence[str]]
) -> list[Fault]:
    example = ",".join([*needed, *(one_of[0] if one_of else ())])
    cure = f"write the first line as: {example}"
    if not header:
        return [Fault("the file is empty", cure)]
    missing = [column for column in needed if column not in header]
    if one_of and not any(set(group) <= set(header) for group in one_of):
        lacking = " or ".join(",".join(group) for group in one_of)
        missing.append(lacking)
    twice = sorted({column for column in header if column and header.count(column) > 1})
    faults = []
    if missing:
        word = "column" if len(missing) == 1 else "columns"
        faults.append(Fault(f"the header has no {word} {', '.join(missing)}", cure))
    if twice:
        what = f"the header has the column {', '.join(twice)} twice"
        faults.append(Fault(what, "keep one of each"))
    return faults
