"""The list of photos of strips dipped in waters of known value."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.rows import Fault, TableError, first_sentence, read_rows

COLUMNS = ("photo", "analyte", "value")


@dataclass(frozen=True)
class Run:
    """One photo of a strip dipped in water of which one value is known."""

    photo: str
    analyte: str
    value: float
    line: int


def load_runs(text: str, name: str) -> tuple[Run, ...]:
    """Return the runs in this CSV; raise `TableError` with line and cure where one is wrong."""
    rows, faults = read_rows(text, COLUMNS)
    runs = [
        Run(row.text("photo"), row.text("analyte"), row.number("value", 0.0), row.line)
        for row in rows
    ]
    faults += [fault for row in rows for fault in row.faults]
    seen: dict[tuple[str, str], int] = {}
    for run in runs:
        key = (run.photo, run.analyte)
        if key in seen:
            what = f"{run.analyte} of {run.photo} stands in line {seen[key]} already"
            faults.append(Fault(what, "keep one of the two rows", run.line))
        seen.setdefault(key, run.line)
    if faults:
        raise TableError(first_sentence(faults, name))
    return tuple(runs)
