"""How much of a product: towards the aim, with the far limit outside the 99 % band."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from dosing.bands import NORMAL_99
from dosing.procedure import Gate, Hold
from dosing.products import Product

SMALLEST_SHARE = 0.12
"""A dose that can only be this share of what is needed waits for a better reading."""

PH_MARGIN = 0.05
"""Kept above the lowest pH that a dose may be expected to reach."""


class Water(Protocol):
    """What a dose must know of the water."""

    def value(self, analyte: str) -> float:
        """Return the expected value."""

    def sd(self, analyte: str) -> float:
        """Return the standard deviation."""

    def after_dose(self, product: Product, grams: float) -> Water:
        """Return the water once the dose has mixed."""


@dataclass(frozen=True)
class DosePlan:
    """Grams to give now, what was needed in all, and why no more."""

    product: Product
    grams: float
    """What a scale or scoop can measure; 0 when no safe dose can be told."""
    needed_g: float
    """What would bring the expected value to the aim [g]."""
    held_back_by: str
    """`aim`, `band` (the far limit), `ph`, `portion` or `pack`."""
    after: Water


@dataclass(frozen=True)
class Want:
    """Where to go: from the expected value to the aim, never past the far limit."""

    analyte: str
    aim: float
    far: float | None
    least_ph: float | None
    most_change: float | None = None
    """The largest change that one portion may make, in the analyte's unit."""
    share: float = 1.0
    """The share of the need that one portion may be."""


def want_of(gate: Gate | Hold, side: str) -> Want:
    """Return what a gate shut on this side asks of a dose."""
    upward = side == "low"
    aim = gate.aim_up if upward else (gate.aim_down if isinstance(gate, Gate) else gate.high)
    far = gate.high if upward else gate.low
    least = gate.keeps_ph.value if isinstance(gate, Gate) and gate.keeps_ph else None
    if aim is None:
        raise ValueError(f"the gate {gate.id} has no aim; the procedure's check should say so")
    return Want(gate.analyte, aim.value, far.value if far else None, least)


def dose_for(want: Want, water: Water, product: Product) -> DosePlan:
    """Return the dose of a product towards a wanted value.

    Parameters
    ----------
    want
        Aim, far limit and what a portion may be.
    water
        The water as believed now.
    product
        The product to give.

    Returns
    -------
    DosePlan
        The largest amount that neither passes the aim by expectation, nor brings the far limit
        into the 99 % band, nor lowers the pH below the least allowed, rounded down to what can be
        measured out.
    """
    direction = 1.0 if want.aim >= water.value(want.analyte) else -1.0
    needed = _largest(lambda grams: _past_aim(want, water, product, grams, direction))
    bounds = {"aim": needed, "portion": want.share * needed}
    if want.far is not None:
        bounds["band"] = _largest(
            lambda grams: _past_far(want, water, product, grams, direction), needed
        )
    if want.least_ph is not None and product.kind == "acid":
        bounds["ph"] = _largest(
            lambda grams: water.after_dose(product, grams).value("ph") < least_ph(want), needed
        )
    if want.most_change is not None:
        most = want.most_change
        small = _largest(lambda grams: _moved(want, water, product, grams) > most, needed)
        bounds["portion"] = min(bounds["portion"], small)
    reason = min(bounds, key=lambda name: bounds[name])
    grams, reason = _in_steps(bounds[reason], reason, product)
    return DosePlan(product, grams, needed, reason, water.after_dose(product, grams))


def least_ph(want: Want) -> float:
    """Return the lowest pH a dose may be expected to reach."""
    return (want.least_ph or 0.0) + PH_MARGIN


def _moved(want: Want, water: Water, product: Product, grams: float) -> float:
    after = water.after_dose(product, grams).value(want.analyte)
    return abs(after - water.value(want.analyte))


def _past_aim(want: Want, water: Water, product: Product, grams: float, direction: float) -> bool:
    after = water.after_dose(product, grams).value(want.analyte)
    return direction * (after - want.aim) > 0.0


def _past_far(want: Want, water: Water, product: Product, grams: float, direction: float) -> bool:
    after = water.after_dose(product, grams)
    edge = after.value(want.analyte) + direction * NORMAL_99 * after.sd(want.analyte)
    return want.far is not None and direction * (edge - want.far) > 0.0


def _largest(too_much: Callable[[float], bool], most: float | None = None) -> float:
    """Return the largest number of grams that is not too much, to a part in a thousand."""
    if too_much(0.0):
        return 0.0
    high = most if most is not None else 1.0
    if most is None:
        while not too_much(high):
            high *= 4.0
            if high > 1e6:
                return 0.0
    elif not too_much(high):
        return high
    low = 0.0
    while high - low > 1e-3 * high:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if too_much(middle) else (middle, high)
    return low


def _in_steps(grams: float, reason: str, product: Product) -> tuple[float, str]:
    """Split what one step may not hold into equal parts, and round to what can be measured."""
    if product.max_step_g is not None and grams > product.max_step_g:
        parts = math.ceil(grams / product.max_step_g)
        return measurable(grams / parts), "pack"
    return measurable(grams), reason


def measurable(grams: float) -> float:
    """Return the amount rounded down to what a scale or scoop can measure [g]."""
    for below, step in ((2.0, 0.1), (10.0, 0.5), (100.0, 1.0), (1000.0, 5.0)):
        if grams < below:
            return round(math.floor(grams / step + 1e-9) * step, 1)
    return math.floor(grams / 10.0) * 10.0
