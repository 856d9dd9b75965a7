"""A table from the chart printed on the bottle: a start, with wider bands than pads give."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from calibration.lab import Lab, is_possible
from calibration.rows import TableError
from calibration.table import FROM_CHART, Block, PadPlan, Table, chart_of, without


@dataclass(frozen=True, eq=False)
class ChartBlock:
    """One printed block: the pad it stands for, its value, its colour beside the card."""

    pad: int
    value: float
    lab: Lab
    """CIELAB, D50 / 2 degree, shape (3,)."""


def table_from_chart(
    plans: Sequence[PadPlan],
    blocks: Iterable[ChartBlock],
    name: str = "chart",
    expires: date | None = None,
) -> Table:
    """Return a table of the kind `from_chart`; several photos of one block are averaged.

    Raises
    ------
    TableError
        If a block belongs to no pad, a pad has fewer than two values, or a number cannot be.
    """
    by_pad: dict[int, dict[float, list[Lab]]] = defaultdict(lambda: defaultdict(list))
    known = {plan.pad for plan in plans}
    for block in blocks:
        _check(block, known, name)
        by_pad[block.pad][float(block.value)].append(np.asarray(block.lab, dtype=np.float64))
    charts = []
    for plan in sorted(plans, key=lambda p: p.pad):
        values = by_pad.get(plan.pad)
        if not values:
            continue
        if len(values) < 2:
            raise TableError(
                f"{name}: pad {plan.pad} ({plan.analyte}) has only one block; mark at least two"
            )
        row = [Block(v, np.mean(values[v], axis=0), len(values[v])) for v in sorted(values)]
        charts.append(chart_of(plan, tuple(row), FROM_CHART))
    if not charts:
        raise TableError(f"{name}: no block was marked; drag the grid over the chart's blocks")
    others = without(plans, charts)
    return Table(plans[0].strip, plans[0].lot, tuple(charts), expires, name, others)


def _check(block: ChartBlock, known: set[int], name: str) -> None:
    if block.pad not in known:
        pads = ", ".join(str(pad) for pad in sorted(known))
        raise TableError(f"{name}: the strip has no pad {block.pad}; choose one of: {pads}")
    if not (np.isfinite(block.value) and block.value >= 0.0):
        raise TableError(f"{name}: value {block.value:g} of pad {block.pad} cannot be; write 0 up")
    if not (np.isfinite(block.lab).all() and is_possible(block.lab)):
        raise TableError(
            f"{name}: the block {block.value:g} of pad {block.pad} has an impossible colour; "
            "mark it again away from edges and glare"
        )
