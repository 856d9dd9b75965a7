"""From the colours of strips in waters of known value to a table, or to a word on a new lot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from api.data_url import svg_url
from api.swatch import hex_of
from calibration.table import PadPlan, Table

HEADER = "strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm"


@dataclass(frozen=True)
class Dipped:
    """One photo: its pads' colours, and what is known of its water."""

    photo: str
    values: Mapping[str, float]
    """By analyte."""
    labs: Mapping[int, tuple[float, float, float]]
    """By pad."""


def strip_text(plans: Sequence[PadPlan]) -> str:
    """Return the pads as `strip.csv` has them."""
    rows = [
        f'"{p.strip}","{p.lot}",{p.pad},{p.analyte},{p.unit},{p.read_after_s:g},{p.centre_mm:g},'
        f"{p.size_mm:g}"
        for p in plans
    ]
    return "\n".join([HEADER, *rows, ""])


def of_lot(plans: Sequence[PadPlan], lot: str) -> list[PadPlan]:
    """Return the pads of the same strip of another lot."""
    return [replace(plan, lot=lot) for plan in plans]


def standard_pads(plans: Sequence[PadPlan], dips: Sequence[Dipped]) -> list[Any]:
    """Return the pads whose value is known; raise ValueError where an analyte has no pad."""
    from calibration.standards import StandardPad

    has = {plan.analyte for plan in plans}
    found = []
    for dip in dips:
        unknown = [name for name in dip.values if name not in has]
        if unknown:
            names = ", ".join(sorted(has))
            raise ValueError(
                f"{dip.photo}: the strip has no pad for {unknown[0]!r}; it has {names}"
            )
        for plan in plans:
            if plan.analyte in dip.values and plan.pad in dip.labs:
                value = dip.values[plan.analyte]
                found.append(StandardPad(dip.photo, plan.pad, value, _array(dip.labs[plan.pad])))
    return found


def _array(lab: tuple[float, float, float]) -> Any:
    import numpy as np

    return np.array(lab, np.float64)


def build(
    plans: Sequence[PadPlan], dips: Sequence[Dipped], expires: date | None, today: date
) -> dict[str, Any]:
    """Return the table with all that is known of it; raise ValueError where none can be made."""
    from calibration.check import as_dict, check_table
    from calibration.picture import draw_path
    from calibration.standards import table_from_standards
    from calibration.table import load_table, table_text

    name = "these photos"
    built = table_from_standards(plans, standard_pads(plans, dips), name, expires)
    text = table_text(built.table)
    found = check_table(load_table(text, "table.csv"), today)
    return {
        "table": text,
        "set_aside": built.told_aside,
        "notes": [note for note in built.notes if "fewer than four" not in note],
        "check": as_dict(found),
        "pictures": {str(pad.curve.chart.pad): svg_url(draw_path(pad.curve)) for pad in found.pads},
    }


def compare(old: Table, dips: Sequence[Dipped]) -> dict[str, Any]:
    """Return whether strips of a new lot read as the old table says."""
    from api.table_tell import tell_comparison
    from calibration.lots import Strip, as_dict, compare_strips
    from calibration.table import plans_of

    pads = standard_pads(plans_of(old), dips)
    found = compare_strips(old, [Strip(p.pad, p.value, p.lab, p.photo) for p in pads])
    return {**as_dict(found), "told": tell_comparison(found, ()).splitlines()}


def shown(pads: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the pads with the colour a screen shows for each."""
    return [{**pad, "hex": hex_of(pad["lab"]) if pad["lab"] else None} for pad in pads]
