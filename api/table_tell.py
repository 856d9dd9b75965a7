"""What is known of a calibration table, as text for people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from api.words import plain

if TYPE_CHECKING:
    from calibration.check import PadCheck, TableCheck
    from calibration.estimate import Estimate
    from calibration.lots import LotComparison
    from calibration.rows import Fault
    from dosing.recipe import Recipe

VERDICTS = {
    "good": "This table can be trusted.",
    "doubtful": "This table works, with the doubts below.",
    "unusable": "Do not read strips with this table before the faults below are mended.",
}


def tell_faults(faults: Sequence[Fault], name: str) -> str:
    """Return every fault on a line of its own."""
    return "\n".join(f"- {fault.sentence(name)}" for fault in faults)


def tell_check(found: TableCheck) -> str:
    """Return the verdict, the faults and each pad's figures."""
    table = found.table
    lot = f", lot {table.lot}" if table.lot else ""
    expiry = f", expires {table.expires.isoformat()}" if table.expires else ""
    lines = [f"{table.name}: {table.strip}{lot}{expiry}", VERDICTS[found.verdict]]
    if found.faults:
        lines += ["", tell_faults(found.faults, table.name)]
    for pad in found.pads:
        lines += ["", *_tell_pad(pad)]
    return "\n".join(lines)


def tell_built(out: str, odd: Sequence[str], notes: Sequence[str], found: TableCheck) -> str:
    """Return what was made, what was set aside, and what the table is worth."""
    lines = [f"wrote {out}: {len(found.table.charts)} pads"]
    lines += [f"- set aside: {sentence}" for sentence in odd]
    lines += [f"- {sentence}" for sentence in notes]
    return "\n".join([*lines, "", tell_check(found)])


def tell_comparison(found: LotComparison, notes: Sequence[str]) -> str:
    """Return whether the lot passes, and each pad's shift."""
    passed = "The new lot passes: the old table holds for it."
    failed = "The new lot fails: make a table of its own before reading strips of it."
    from calibration.lots import OTHER_DYE

    lines = [passed if found.passed else failed]
    for pad in found.pads:
        word = "passes" if pad.passed else "fails"
        other = "; its colours lie beside the old path" if pad.off_chance < OTHER_DYE else ""
        if pad.spread_chance < OTHER_DYE:
            other += "; its strips contradict one another: check that waters were not exchanged"
        lines.append(
            f"  pad {pad.pad}, {plain(pad.analyte)}: {word}, "
            f"shifted by {pad.shift_steps:+z.2f} steps "
            f"({pad.low_steps:+z.2f} to {pad.high_steps:+z.2f}; {pad.strips} strips){other}"
        )
    lines += [f"- {note}" for note in notes]
    return "\n".join(lines)


def tell_recipe(recipe: Recipe) -> str:
    """Return the series, the steps and, before both, the cautions."""
    lines = [f"Waters of known {plain(recipe.analyte)} [{recipe.unit}]", "", "Before you begin:"]
    lines += [f"  ! {caution}" for caution in recipe.cautions]
    lines += ["", "How to mix:"]
    lines += [f"  {i}. {step}" for i, step in enumerate(recipe.steps, 1)]
    lines += ["", f"The waters, {recipe.volume_ml:g} mL each (95 % band):"]
    for water in recipe.standards:
        parts = ", ".join(f"{ml:g} mL {name}" for name, ml in water.parts_ml.items())
        band = f"({water.low:.4g} to {water.high:.4g})" if water.high > water.low else ""
        lines.append(f"  {water.value:8.4g} {band:20} {parts or 'distilled water'}")
    return "\n".join(lines)


def _tell_pad(pad: PadCheck) -> list[str]:
    chart = pad.curve.chart
    made = "repeat photos" if pad.curve.has_repeats else "single colours, no repeats"
    made = "the printed chart" if chart.kind == "from_chart" else made
    lines = [
        f"pad {chart.pad}, {chart.analyte} in {chart.unit}: {len(chart.blocks)} blocks, {made}"
    ]
    steps = ", ".join(
        f"{step.start:g} to {step.end:g}: {step.delta_e00:.1f}{' (alike)' if step.alike else ''}"
        for step in pad.steps
    )
    lines.append(f"  steps in CIEDE2000: {steps}")
    lines.append(f"  share of the chart that fits two values: {pad.alike_share:.0%}")
    lines += [
        f"  without its own row {left.value:g} would be read as {left.read.value:.3g} "
        f"({_band(left.read)}{'' if left.held else '; the band misses it'})"
        for left in pad.left_out
    ]
    bands = ", ".join(f"{band.value:.3g}: {_band(band.read)}" for band in pad.bands[::2])
    lines.append(f"  95 % bands to expect from a usual photo: {bands}")
    return lines


def _band(read: Estimate) -> str:
    if read.low is None and read.high is None:
        return "open"
    if read.low is None:
        return f"up to {read.high:.3g}"
    if read.high is None:
        return f"{read.low:.3g} and more"
    return f"{read.low:.3g} to {read.high:.3g}"
