"""Whether a strip's analytes and units are those a log takes, so that readings can be entered."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from calibration.rows import Fault
from calibration.table import PadPlan
from dosing.analytes import ANALYTES


def unit_faults(plans: Sequence[PadPlan]) -> list[Fault]:
    """Return a fault for each pad whose unit is another than a log takes, or analyte unknown."""
    seen: set[int] = set()
    faults = []
    for plan in plans:
        known = ANALYTES.get(plan.analyte)
        if plan.pad in seen or (known is not None and known.unit == plan.unit):
            continue
        seen.add(plan.pad)
        what = f"pad {plan.pad} is {plan.analyte} in {plan.unit!r}"
        if known is None:
            cure = f"no log takes {plan.analyte!r}; known are {', '.join(ANALYTES)}"
        else:
            cure = f"a log takes {plan.analyte} in {known.unit} only; write {known.unit}"
        faults.append(Fault(what, cure, plan.line or None, plan.pad, fatal=known is not None))
    return faults


def check_units(plans: Iterable[PadPlan], name: str) -> None:
    """Raise ValueError, one sentence, for the first pad whose unit is wrong."""
    wrong = [fault for fault in unit_faults(list(plans)) if fault.fatal]
    if wrong:
        raise ValueError(wrong[0].sentence(name))
