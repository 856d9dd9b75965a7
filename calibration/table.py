"""The shop's calibration table: read it, check it, say what is wrong with it, write it."""

from __future__ import annotations

import csv
import io
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np

from calibration.lab import Cov, Lab, is_possible, lab_from_hex
from calibration.pad_plan import (
    OTHERS,
    PLACE,
    STRIP_LENGTH_MM,
    PadPlan as PadPlan,
    others_in,
    others_text,
    plan,
)
from calibration.rows import Fault, Row, TableError, first_sentence, read_rows

COLUMNS = (*PLACE, "value")
COLOUR = (("L", "a", "b"), ("hex",))
SD = ("sL", "sa", "sb")
CORRELATION = ("rLa", "rLb", "rab")

FROM_CHART = "from_chart"
"""What the column `kind` says where the colours are those of a printed chart."""

KINDS = ("", "standards", "instrument", FROM_CHART)


@dataclass(frozen=True, eq=False)
class Block:
    """One colour of a pad's chart: the pad in water of a known value."""

    value: float
    lab: Lab
    """CIELAB, D50 / 2 degree, shape (3,)."""
    n: int = 1
    """How many strips the colour averages."""
    cov: Cov | None = None
    """Covariance of one strip's colour about the mean [Lab units squared], shape (3, 3)."""
    line: int | None = None


@dataclass(frozen=True, eq=False)
class PadChart:
    """The chart of one pad: where it sits on the strip, and its blocks by rising value."""

    pad: int
    analyte: str
    unit: str
    read_after_s: float
    centre_mm: float
    size_mm: float
    blocks: tuple[Block, ...]
    kind: str = ""


@dataclass(frozen=True, eq=False)
class Table:
    """The calibration table of one strip lot."""

    strip: str
    lot: str
    charts: tuple[PadChart, ...]
    expires: date | None = None
    name: str = "table"
    others: tuple[PadPlan, ...] = ()
    """Pads of the strip that the table has no colours for."""


@dataclass(frozen=True, eq=False)
class _Entry:
    """One row of a table file, taken apart."""

    plan: PadPlan
    block: Block
    expires: date | None
    kind: str
    others: tuple[PadPlan, ...] = ()


def load_table(text: str, name: str) -> Table:
    """Return the table in this CSV text.

    Parameters
    ----------
    text
        The file's text, columns as `COLUMNS` with `L,a,b` or `hex`.
    name
        What messages call the file.

    Raises
    ------
    TableError
        If it cannot be used: the message names file, line, fault and cure.
    """
    table, faults = read_table(text, name)
    if table is None:
        raise TableError(first_sentence(faults, name))
    return table


def read_table(text: str, name: str) -> tuple[Table | None, list[Fault]]:
    """Return the table, or None where a fault is fatal, and every fault found."""
    rows, faults = read_rows(text, COLUMNS, COLOUR)
    entries = [entry for row in rows if (entry := _entry(row)) is not None]
    faults += [fault for row in rows for fault in row.faults]
    if entries and not any(fault.fatal for fault in faults):
        faults += place_faults([*(entry.plan for entry in entries), *_others(entries)])
        faults += _block_faults(entries)
    if not entries or any(fault.fatal for fault in faults):
        return None, faults
    return _table(entries, name), faults


def load_strip(text: str, name: str) -> tuple[PadPlan, ...]:
    """Return the pads of a strip file, by place; raise `TableError` where it cannot be used."""
    rows, faults = read_rows(text, PLACE)
    plans = [plan(row) for row in rows]
    faults += [fault for row in rows for fault in row.faults]
    if not faults:
        faults += place_faults(plans)
        faults += _twice([(p.pad,) for p in plans], [p.line for p in plans], "pad {0:d}")
    if faults:
        raise TableError(first_sentence(faults, name))
    return tuple(sorted(plans, key=lambda p: p.pad))


def _entry(row: Row) -> _Entry | None:
    where = plan(row)
    value = row.number("value", 0.0)
    lab = _colour(row)
    n, cov = _repeats(row)
    expires = _date(row)
    kind = row.cells.get("kind", "")
    if kind not in KINDS:
        row.fault(f"kind {kind!r} is unknown", f"leave it empty or write {FROM_CHART}")
    others = others_in(row)
    if row.faults:
        return None
    return _Entry(where, Block(value, lab, n, cov, row.line), expires, kind, others)


def _others(entries: Sequence[_Entry]) -> tuple[PadPlan, ...]:
    """Return the pads that any row names and none has colours for, by place."""
    charted = {entry.plan.pad for entry in entries}
    named = {p.pad: p for entry in reversed(entries) for p in entry.others}
    return tuple(named[pad] for pad in sorted(set(named) - charted))


def _colour(row: Row) -> Lab:
    if row.has("hex") and not row.has("L"):
        try:
            return _fixed(lab_from_hex(row.cells["hex"]))
        except ValueError as fault:
            what, cure = str(fault).split("; ")
            row.fault(what, cure)
            return _fixed(np.full(3, np.nan))
    L = row.number("L", 0.0, 100.0, "62.5")
    a, b = (row.number(c, -128.0, 128.0, "-4.2") for c in ("a", "b"))
    lab = np.array([L, a, b])
    if np.isfinite(lab).all() and not is_possible(lab):
        what = f"no surface has the colour L {L:g}, a {a:g}, b {b:g} in CIELAB"
        row.fault(what, "check the order of the columns and that the values are CIELAB D50")
    return _fixed(lab)


def _fixed(array: Lab) -> Lab:
    array.setflags(write=False)
    return array


def _repeats(row: Row) -> tuple[int, Cov | None]:
    n = row.whole("n", "4") if row.has("n") else 1
    if not any(row.has(column) for column in (*SD, *CORRELATION)):
        return n, None
    if not row.has("n"):
        row.fault("sL, sa, sb without n", "add how many strips the row averages as n")
    sd = np.array([row.number(column, 0.0, 100.0, "0.8") for column in SD])
    r = [row.number(c, -1.0, 1.0, "0.2") if row.has(c) else 0.0 for c in CORRELATION]
    corr = np.array([[1.0, r[0], r[1]], [r[0], 1.0, r[2]], [r[1], r[2], 1.0]])
    if np.isfinite(corr).all() and np.linalg.eigvalsh(corr)[0] < -1e-3:
        row.fault("rLa, rLb, rab contradict one another", "compute them again from the repeats")
    return n, (_fixed(corr * np.outer(sd, sd)) if n > 1 else None)


def _date(row: Row) -> date | None:
    if not row.has("expires"):
        return None
    try:
        return date.fromisoformat(row.cells["expires"])
    except ValueError:
        row.fault(f"expires {row.cells['expires']!r} is not a date", "write it as 2027-03-31")
        return None


def place_faults(plans: Sequence[PadPlan]) -> list[Fault]:
    """Return what contradicts itself between the pads of one strip."""
    faults = _mixed(plans)
    pads = sorted({p.pad: p for p in reversed(plans)}.values(), key=lambda p: p.pad)
    for p in pads:
        if p.centre_mm - p.size_mm / 2 < 0.0 or p.centre_mm + p.size_mm / 2 > STRIP_LENGTH_MM:
            what = f"pad {p.pad} reaches past the strip, which is 0 to {STRIP_LENGTH_MM:g} mm long"
            faults.append(Fault(what, "measure centre_mm from the dipped tip", p.line, p.pad))
    for one, two in pairwise(pads):
        gap = two.centre_mm - one.centre_mm
        if gap < 0:
            what = f"pad {two.pad} lies nearer the dipped tip than pad {one.pad}"
            cure = "count the pads from 1 at the dipped tip"
            faults.append(Fault(what, cure, two.line, two.pad))
        elif gap < (one.size_mm + two.size_mm) / 2 - 1e-6:
            what = f"pads {one.pad} and {two.pad} overlap"
            faults.append(Fault(what, "check centre_mm and size_mm", two.line, two.pad))
    return faults


SHARED = ("strip", "lot")
OF_A_PAD = ("analyte", "unit", "read_after_s", "centre_mm", "size_mm")


def _mixed(plans: Sequence[PadPlan]) -> list[Fault]:
    """Return rows that disagree with an earlier row about the strip or about their pad."""
    faults: list[Fault] = []
    first: dict[int, PadPlan] = {}
    for p in plans:
        one = first.setdefault(p.pad, p)
        for other, names in ((plans[0], SHARED), (one, OF_A_PAD)):
            for column in names:
                mine, theirs = getattr(p, column), getattr(other, column)
                if mine != theirs:
                    faults.append(_disagreement(p, other, column, mine, theirs))
    return faults


def _disagreement(p: PadPlan, other: PadPlan, column: str, mine: object, theirs: object) -> Fault:
    of = "" if column in SHARED else f" of pad {p.pad}"
    what = f"{column}{of} is {mine!s} here and {theirs!s} in line {other.line}"
    cure = "one file describes one lot" if column in SHARED else "write the same in all its rows"
    return Fault(what, cure, p.line, p.pad)


def _twice(keys: Sequence[tuple[float, ...]], lines: Sequence[int], text: str) -> list[Fault]:
    seen: dict[tuple[float, ...], int] = {}
    faults = []
    for key, line in zip(keys, lines, strict=True):
        if key in seen:
            what = f"{text.format(*key)} stands in line {seen[key]} already"
            faults.append(Fault(what, "keep one of the two rows", line, int(key[0])))
        seen.setdefault(key, line)
    return faults


def _block_faults(entries: Sequence[_Entry]) -> list[Fault]:
    keys = [(e.plan.pad, e.block.value) for e in entries]
    lines = [e.plan.line for e in entries]
    faults = _twice(keys, lines, "value {1:g} of pad {0:d}")
    for entry in entries:
        same = [e for e in entries if e.plan.pad == entry.plan.pad]
        if len({e.block.value for e in same}) == 1 and entry is same[0]:
            p = entry.plan
            what = f"pad {p.pad} ({p.analyte}) has only one block"
            faults.append(Fault(what, "a chart needs at least two", p.line, p.pad))
        faults += _too_close(same) if entry is same[0] else []
        if entry is same[0] and len({e.kind for e in same}) > 1:
            what = f"pad {entry.plan.pad} mixes rows of different kind"
            cure = "make the whole pad's chart in one way"
            faults.append(Fault(what, cure, entry.plan.line, entry.plan.pad))
    return faults


CLOSEST = 1e-6
"""Blocks lie at least this share of the highest value apart; nearer is a slip of the pen."""


def _too_close(same: Sequence[_Entry]) -> list[Fault]:
    entries = sorted(same, key=lambda e: e.block.value)
    least = CLOSEST * entries[-1].block.value
    return [
        Fault(
            f"value {two.block.value:g} of pad {two.plan.pad} is next to no step from "
            f"{one.block.value:g}",
            "check both values",
            two.plan.line,
            two.plan.pad,
        )
        for one, two in pairwise(entries)
        if 0.0 < two.block.value - one.block.value < least
    ]


def _table(entries: Sequence[_Entry], name: str) -> Table:
    pads: dict[int, list[_Entry]] = defaultdict(list)
    for entry in entries:
        pads[entry.plan.pad].append(entry)
    charts = tuple(_chart(pads[pad]) for pad in sorted(pads))
    dates = [entry.expires for entry in entries if entry.expires is not None]
    first = entries[0].plan
    expires = min(dates, default=None)
    return Table(first.strip, first.lot, charts, expires, name, _others(entries))


def _chart(entries: Sequence[_Entry]) -> PadChart:
    blocks = tuple(sorted((entry.block for entry in entries), key=lambda block: block.value))
    return chart_of(entries[0].plan, blocks, entries[0].kind)


def chart_of(p: PadPlan, blocks: tuple[Block, ...], kind: str = "") -> PadChart:
    """Return the chart of the planned pad with these blocks."""
    place = (p.pad, p.analyte, p.unit, p.read_after_s, p.centre_mm, p.size_mm)
    return PadChart(*place, blocks, kind)


def without(plans: Sequence[PadPlan], charts: Sequence[PadChart]) -> tuple[PadPlan, ...]:
    """Return the pads that have no chart."""
    charted = {chart.pad for chart in charts}
    return tuple(p for p in plans if p.pad not in charted)


def plans_of(table: Table) -> tuple[PadPlan, ...]:
    """Return where the strip's pads sit, those without colours too, as a strip file would say."""
    charted = [
        PadPlan(
            *(table.strip, table.lot, c.pad, c.analyte, c.unit),
            *(c.read_after_s, c.centre_mm, c.size_mm),
            c.blocks[0].line or 0,
        )
        for c in table.charts
    ]
    return tuple(sorted([*charted, *table.others], key=lambda p: p.pad))


def table_text(table: Table) -> str:
    """Return the table as the CSV that `load_table` reads, with repeats where it has them."""
    header = [*COLUMNS, *COLOUR[0], "n", *SD, *CORRELATION]
    header += ["kind"] if any(chart.kind for chart in table.charts) else []
    header += ["expires"] if table.expires else []
    header += [OTHERS] if table.others else []
    out = io.StringIO()
    writer = csv.DictWriter(out, header, lineterminator="\n", extrasaction="ignore")
    writer.writeheader()
    writer.writerows(_cells(table))
    return out.getvalue()


def _cells(table: Table) -> Iterable[dict[str, object]]:
    for chart in table.charts:
        for block in chart.blocks:
            yield {
                **{"strip": table.strip, "lot": table.lot, "kind": chart.kind},
                OTHERS: others_text(table.others),
                **{"expires": table.expires, "value": f"{block.value:.10g}", "n": block.n},
                **{column: getattr(chart, column) for column in ("pad", "analyte", "unit")},
                **{column: f"{getattr(chart, column):g}" for column in PLACE[5:]},
                **{c: f"{x:.3f}" for c, x in zip("Lab", block.lab, strict=True)},
                **_repeat_cells(block),
            }


def _repeat_cells(block: Block) -> dict[str, str]:
    if block.cov is None:
        return {}
    sd = np.sqrt(np.diag(block.cov))
    cells = {c: f"{x:.4f}" for c, x in zip(SD, sd, strict=True)}
    if block.n > 3 and (sd > 0).all():  # a plane through three points correlates by itself
        r = block.cov / np.outer(sd, sd)
        pairs = (r[0, 1], r[0, 2], r[1, 2])
        # cut, not rounded, so that what is written stays a possible correlation
        cells |= {
            c: f"{math.trunc(x * 1e4) / 1e4:.4f}" for c, x in zip(CORRELATION, pairs, strict=True)
        }
    return cells
