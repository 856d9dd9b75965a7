"""Whether a table can be trusted: all that is known of it in one answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

import numpy as np

from calibration.alike import Step, alike_share, out_of_order, steps, worst_fold
from calibration.coverage import ExpectedBand, LeftOut, expected_bands, left_out
from calibration.curve import Curve, fit_curve
from calibration.estimate import WIDE_STEPS, Estimate
from calibration.rows import Fault
from calibration.table import FROM_CHART, PadChart, Table

FEW_REPEATS = 4
"""Strips a value that are advised: fewer leave the scatter itself uncertain."""

FAR_OFF_STEPS = 0.5
"""A block left out and read further off than this says that the chart is uneven there."""

Verdict = Literal["good", "doubtful", "unusable"]


@dataclass(frozen=True, eq=False)
class PadCheck:
    """What is known of one pad's chart."""

    curve: Curve
    steps: tuple[Step, ...]
    out_of_order: tuple[float, ...]
    alike_share: float
    left_out: tuple[LeftOut, ...]
    bands: tuple[ExpectedBand, ...]


@dataclass(frozen=True, eq=False)
class TableCheck:
    """What is known of a table."""

    table: Table
    pads: tuple[PadCheck, ...]
    faults: tuple[Fault, ...]
    verdict: Verdict


def check_table(table: Table, today: date | None = None) -> TableCheck:
    """Return whether the table can be trusted, with every fault; `today` tests its expiry."""
    pads = tuple(_check_pad(chart) for chart in table.charts)
    faults = tuple(fault for pad in pads for fault in pad_faults(pad))
    faults += _table_faults(table, today)
    grave = any(fault.what.startswith(GRAVE) for fault in faults)
    verdict: Verdict = "unusable" if grave else "doubtful" if faults else "good"
    return TableCheck(table, pads, faults, verdict)


def faults(table: Table) -> list[Fault]:
    """Return what speaks against trusting the table; an empty list for a good one."""
    return list(check_table(table).faults)


def _check_pad(chart: PadChart) -> PadCheck:
    curve = fit_curve(chart)
    return PadCheck(
        curve,
        steps(curve),
        out_of_order(chart),
        alike_share(curve),
        left_out(curve),
        expected_bands(curve),
    )


GRAVE = ("blocks out of order", "a fold")


def pad_faults(pad: PadCheck) -> list[Fault]:
    """Return what speaks against trusting one pad's chart, with the line of its block."""
    chart = pad.curve.chart
    lines = {block.value: block.line for block in chart.blocks}
    name = f"pad {chart.pad} ({chart.analyte})"
    found = []
    for value in pad.out_of_order:
        what = f"blocks out of order: the colour of {value:g} of {name} fits another place better"
        found.append((what, "check value and colour of this row", lines[value]))
    for step in pad.steps:
        if step.alike:
            what = (
                f"{step.start:g} and {step.end:g} of {name} look alike in a photo "
                f"(CIEDE2000 {step.delta_e00:.1f})"
            )
            found.append((what, "measure them again or leave one out", lines[step.end]))
    found += _fold(pad, name)
    found += _uneven(pad, name, lines)
    found += _thin(chart, name)
    return [Fault(what, cure, line, chart.pad, fatal=False) for what, cure, line in found]


def _fold(pad: PadCheck, name: str) -> list[tuple[str, str, int | None]]:
    fold = worst_fold(pad.curve)
    if fold is None or any(step.alike for step in pad.steps):
        return []
    what = (
        f"a fold: {name} shows nearly the same colour at {fold[0]:.3g} and {fold[1]:.3g} "
        f"({pad.alike_share:.0%} of the chart fits two values)"
    )
    cure = "end the chart before it comes back, or measure the blocks again"
    return [(what, cure, None)]


def _uneven(
    pad: PadCheck, name: str, lines: dict[float, int | None]
) -> list[tuple[str, str, int | None]]:
    if pad.out_of_order:
        return []
    found: list[tuple[str, str, int | None]] = []
    for left in pad.left_out:
        if not left.at_end and not left.held and abs(left.off_steps) > FAR_OFF_STEPS:
            what = (
                f"without its own row {left.value:g} of {name} would be read as "
                f"{left.read.value:.3g}"
            )
            found.append((what, "measure this block again", lines[left.value]))
    return found


def _thin(chart: PadChart, name: str) -> list[tuple[str, str, int | None]]:
    counts = [block.n for block in chart.blocks]
    if chart.kind != FROM_CHART and 1 < min(counts) < FEW_REPEATS:
        what = f"{name} has values with only {min(counts)} strips"
        return [(what, f"dip {FEW_REPEATS} or more a value", None)]
    return []


def _table_faults(table: Table, today: date | None) -> tuple[Fault, ...]:
    return (*_of_print(table), *_expired(table, today))


def _of_print(table: Table) -> tuple[Fault, ...]:
    """Return one remark for all pads that were made from the printed chart."""
    printed = [chart for chart in table.charts if chart.kind == FROM_CHART]
    if not printed:
        return ()
    which = ", ".join(f"pad {chart.pad} ({chart.analyte})" for chart in printed)
    if len(printed) == len(table.charts):
        which = "every pad"
    verb = "were" if len(printed) > 1 and which != "every pad" else "was"
    what = f"{which} {verb} made from the printed chart, whose inks are not pads: bands are wider"
    cure = "make the table from waters of known value: dipstep table build"
    return (Fault(what, cure, None, fatal=False),)


def _expired(table: Table, today: date | None) -> tuple[Fault, ...]:
    if table.expires is None or today is None or today <= table.expires:
        return ()
    what = f"the strips of lot {table.lot or '(none)'} expired on {table.expires.isoformat()}"
    return (Fault(what, "open a fresh lot and make its table", None, fatal=False),)


def as_dict(found: TableCheck) -> dict[str, Any]:
    """Return the answer of `dipstep table check --json`."""
    table = found.table
    return {
        "table": table.name,
        "strip": table.strip,
        "lot": table.lot,
        "expires": table.expires.isoformat() if table.expires else None,
        "verdict": found.verdict,
        "faults": faults_dict(found.faults, table.name),
        "pads": [_pad_dict(pad) for pad in found.pads],
    }


def faults_dict(faults: Sequence[Fault], name: str) -> list[dict[str, Any]]:
    """Return faults as JSON objects: by row, with what is wrong and the cure."""
    return [
        {
            "line": fault.line,
            "pad": fault.pad,
            "fatal": fault.fatal,
            "what": fault.what,
            "cure": fault.cure,
            "sentence": fault.sentence(name),
        }
        for fault in faults
    ]


def _pad_dict(pad: PadCheck) -> dict[str, Any]:
    chart = pad.curve.chart
    inner = [x for x in pad.left_out if not x.at_end]
    rms = float(np.sqrt(np.mean([x.off_steps**2 for x in inner]))) if inner else None
    return {
        "pad": chart.pad,
        "analyte": chart.analyte,
        "unit": chart.unit,
        "kind": chart.kind or None,
        "has_repeats": pad.curve.has_repeats,
        "blocks": [
            {"value": b.value, "lab": [round(float(x), 2) for x in b.lab], "n": b.n, "line": b.line}
            for b in chart.blocks
        ],
        "steps": [
            {
                "from": step.start,
                "to": step.end,
                "delta_e00": round(step.delta_e00, 2),
                "separation": round(step.separation, 2),
                "alike": step.alike,
            }
            for step in pad.steps
        ],
        "out_of_order": list(pad.out_of_order),
        "alike_share": round(pad.alike_share, 3),
        "left_out": [_left_dict(left) for left in pad.left_out],
        "left_out_rms_steps": None if rms is None else round(rms, 3),
        "left_out_held": round(sum(x.held for x in inner) / len(inner), 3) if inner else None,
        "bands": [{"value": round(b.value, 6), **_band(b.read)} for b in pad.bands],
        "wide_share": round(float(np.mean([b.read.steps > WIDE_STEPS for b in pad.bands])), 3),
    }


def _left_dict(left: LeftOut) -> dict[str, Any]:
    return {
        "value": left.value,
        "read": round(left.read.value, 6),
        **_band(left.read),
        "off_steps": round(left.off_steps, 3),
        "held": left.held,
        "at_end": left.at_end,
        "reasons": list(left.read.reasons),
    }


def _band(read: Estimate) -> dict[str, Any]:
    low, high = (None if x is None else round(x, 6) for x in (read.low, read.high))
    return {"low": low, "high": high, "width_steps": round(read.steps, 3)}
