"""The ranges a water should lie in, as the built-in procedures say: for band bars without a log."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from dosing.procedure import load_builtin

Range = tuple[float | None, float | None]
FROM = ("salt_startup",)
"""Procedures whose gates are shown; a later one overrides an earlier one."""


@cache
def wanted_ranges() -> Mapping[str, Range]:
    """Return the wanted range by analyte."""
    ranges: dict[str, Range] = {}
    for name in FROM:
        for _, gate in load_builtin(name).gates():
            if gate.sample == "tub":
                low = None if gate.low is None else gate.low.value
                high = None if gate.high is None else gate.high.value
                ranges[gate.analyte] = (low, high)
    return ranges


def ranges_of(gates: Iterable[Mapping[str, Any]]) -> Mapping[str, Range]:
    """Return the wanted ranges that the gates of an answer give, over the built-in ones."""
    own = {str(gate["analyte"]): (gate["low"], gate["high"]) for gate in gates if gate["analyte"]}
    return {**wanted_ranges(), **own}
