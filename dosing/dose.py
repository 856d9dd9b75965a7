"""How much of a product: towards the aim, with the far limit outside the 99 % band."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist
from typing import Protocol

from dosing.analytes import NORMAL_95
from dosing.procedure import Gate, Hold
from dosing.products import Product, effect
from dosing.water import Water

SURE = 0.994
"""Share of the belief that must stay on the near side of a far limit and of the lowest pH (two
sided): 0.3 % beyond it, better than the 99 % that is asked for."""

CHLORINE_MIXES_H = 5.0 / 60.0
"""New water eats chlorine while it mixes [h]."""

SMALLEST_SHARE = 0.12
"""A dose that can only be this share of what is needed waits for a better reading."""


CROSSING = 0.004
"""Chance that a dose may take of pushing the water out of another gate by its side effects."""


class Mixed(Protocol):
    """What is believed of the water once a dose has mixed or acted."""

    def value(self, analyte: str) -> float:
        """Return the middle of what is believed."""

    def band(self, analyte: str, confidence: float) -> tuple[float, float]:
        """Return the limits that hold the truth with this confidence."""

    def probability(self, analyte: str, low: float | None, high: float | None) -> float:
        """Return the probability that the truth lies between two limits."""


@dataclass(frozen=True)
class Acted:
    """The one analyte that a slow product moves, once it has acted."""

    middle: float
    deviation: float

    def value(self, _: str) -> float:
        """Return the expected value."""
        return self.middle

    def band(self, _: str, confidence: float) -> tuple[float, float]:
        """Return the limits of a normal distribution, never below zero."""
        half = NormalDist().inv_cdf(0.5 + 0.5 * confidence) * self.deviation
        return max(self.middle - half, 0.0), self.middle + half

    def probability(self, _: str, low: float | None, high: float | None) -> float:
        """Return the probability of lying between two limits."""
        spread = NormalDist(self.middle, max(self.deviation, 1e-9))
        under = 0.0 if low is None else spread.cdf(low)
        return (1.0 if high is None else spread.cdf(high)) - under


def mixed(water: Water, product: Product, grams: float, asked: str = "ph") -> Mixed:
    """Return the water once so many grams have mixed, or acted if the product is slow.

    Its pH is right only where that is `asked` for, or the product chlorinates.
    """
    if product.kind == "chlorinating":
        return water.after_dose(product, grams).later(CHLORINE_MIXES_H)
    if not product.is_slow or product.analyte is None:
        return water.after_dose(product, grams, moves_ph=asked == "ph")
    analyte = product.analyte
    by = effect(product, grams, water.volume_l)[analyte] if grams > 0.0 else 0.0
    loose = math.hypot(water.volume_sd_l / water.volume_l, product.strength_error_95 / NORMAL_95)
    middle = water.value(analyte) + by
    return Acted(max(middle, 0.0), math.hypot(water.sd(analyte), loose * by))


@dataclass(frozen=True)
class DosePlan:
    """Grams to give now, what was needed in all, and why no more."""

    product: Product
    grams: float
    """What a scale or scoop can measure; 0 when no safe dose can be told."""
    needed_g: float
    """What would bring the expected value to the aim [g]."""
    held_back_by: str
    """`aim`, `band` (the far limit), `ph`, `other` (another gate), `portion` or `pack`."""
    after: Mixed
    spares: str = ""
    """The analyte whose gate the dose would else push the water out of."""


@dataclass(frozen=True)
class Keep:
    """Another gate, which the dose moves as well: acid for the pH lowers the alkalinity."""

    analyte: str
    low: float | None
    high: float | None


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
    keeps: tuple[Keep, ...] = ()
    crossing: float = CROSSING
    """The chance of pushing the water out of another gate that the dose may take."""


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
        into the 99 % band, nor lowers the pH below the least allowed, nor pushes the water out of
        another gate, rounded down to what can be measured out.
    """
    direction = 1.0 if want.aim >= water.value(want.analyte) else -1.0
    needed = _largest(lambda grams: _past_aim(want, water, product, grams, direction))
    bounds = {"aim": needed, "portion": want.share * needed}
    if want.far is not None:
        bounds["band"] = _largest(
            lambda grams: _past_far(want, water, product, grams, direction), needed
        )
    if want.least_ph is not None and product.kind == "acid":
        least = want.least_ph
        bounds["ph"] = _largest(
            lambda grams: mixed(water, product, grams).band("ph", SURE)[0] < least, needed
        )
    spares = ""
    for keep in want.keeps:
        bound = _sparing(keep, want.crossing, water, product, needed)
        if bound < bounds.get("other", needed):
            bounds["other"], spares = bound, keep.analyte
    if want.most_change is not None:
        most = want.most_change
        small = _largest(lambda grams: _moved(want, water, product, grams) > most, needed)
        bounds["portion"] = min(bounds["portion"], small)
    reason = min(bounds, key=lambda name: bounds[name])
    grams, reason = _in_steps(bounds[reason], reason, product)
    spares = spares if reason == "other" else ""
    return DosePlan(product, grams, needed, reason, mixed(water, product, grams), spares)


def _sparing(keep: Keep, crossing: float, water: Water, product: Product, most: float) -> float:
    """Return the most grams that leave another gate's water where it is, but for a small chance."""
    inside = water.probability(keep.analyte, keep.low, keep.high)

    def pushes_out(grams: float) -> bool:
        after = mixed(water, product, grams, keep.analyte).probability(
            keep.analyte, keep.low, keep.high
        )
        return grams > 0.0 and inside - after > crossing

    return _largest(pushes_out, most)


def _moved(want: Want, water: Water, product: Product, grams: float) -> float:
    after = mixed(water, product, grams, want.analyte).value(want.analyte)
    return abs(after - water.value(want.analyte))


def _past_aim(want: Want, water: Water, product: Product, grams: float, direction: float) -> bool:
    after = mixed(water, product, grams, want.analyte).value(want.analyte)
    return direction * (after - want.aim) > 0.0


def _past_far(want: Want, water: Water, product: Product, grams: float, direction: float) -> bool:
    low, high = mixed(water, product, grams, want.analyte).band(want.analyte, SURE)
    edge = high if direction > 0.0 else low
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
