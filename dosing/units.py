"""A dose in ounces, cups and millilitres beside its grams.

Grams stay what the engine computes with and what the log holds; this is for the hand.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from dosing.products import Product

SPOONS = (("cup", 0.25), ("tablespoon", 0.5), ("teaspoon", 0.25))
"""Household measures from the largest, with the smallest part of each that can be filled."""


@dataclass(frozen=True)
class Amount:
    """One way to measure a dose out."""

    value: float
    unit: str
    by_scoop: bool
    """Whether it rests on a bulk density and is no better than a scoop."""


def amounts(product: Product, grams: float, system: str) -> tuple[Amount, ...]:
    """Return a dose in the units of a system, weighed first, scooped last.

    Parameters
    ----------
    product
        The product as sold; a density makes it a liquid.
    grams
        The dose [g].
    system
        `metric`: grams, with millilitres for liquids; `us`: ounces, fluid ounces, cups and spoons
        besides.
    """
    found = [Amount(grams, "g", False)]
    millilitres = product.millilitres(grams)
    bulk = bulk_density(product)
    if millilitres is not None:
        found.append(Amount(_short(millilitres), "mL", False))
    elif bulk is not None:
        found.append(Amount(_short(grams / bulk), "mL", True))
    if system == "us":
        found += _american(grams, millilitres, bulk)
    return tuple(found)


def _american(grams: float, millilitres: float | None, bulk: float | None) -> list[Amount]:
    if millilitres is None:
        found = [Amount(_short(_converted(grams, "gram", "ounce")), "oz", False)]
        return found + _household(grams / bulk, True) if bulk else found
    fluid = _short(_converted(millilitres, "milliliter", "fluid_ounce"))
    return [Amount(fluid, "fl oz", False), *_household(millilitres, False)]


def _household(millilitres: float, by_scoop: bool) -> list[Amount]:
    """Return the largest cup or spoon of which the dose is at least the smallest part."""
    for unit, part in SPOONS:
        value = _converted(millilitres, "milliliter", unit)
        if value >= part:
            return [Amount(part * max(int(value / part + 1e-9), 1), unit, by_scoop)]
    return []


def bulk_density(product: Product) -> float | None:
    """Return the mass of a millilitre of the loose product [g/mL]; None when it is not known."""
    found = _bulk().get(product.formula or "")
    return None if found is None else float(found["value"])


@lru_cache(maxsize=1)
def _bulk() -> Mapping[str, Any]:
    import tomllib

    path = Path(__file__).parent / "data" / "bulk_densities.toml"
    data: Mapping[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))["bulk_g_per_ml"]
    return data


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # heavy: only for those who ask for other units

    return pint.UnitRegistry()


def _converted(value: float, unit: str, to: str) -> float:
    """Return a value in another unit of the same kind."""
    return float(_registry().Quantity(value, unit).to(to).magnitude)


def _short(value: float) -> float:
    """Round down to two significant figures: never more than was computed."""
    from math import floor, log10

    if value <= 0.0:
        return 0.0
    step = 10.0 ** (floor(log10(value)) - 1)
    return round(floor(value / step + 1e-9) * step, 6)


def told(found: tuple[Amount, ...]) -> str:
    """Return the other units as one sentence; empty when grams are all there is."""
    others = [one for one in found if one.unit != "g"]
    if not others:
        return ""
    words = [f"{'about ' if one.by_scoop else ''}{_plural(one)}" for one in others]
    loose = " A scoop is less sure than a scale." if any(one.by_scoop for one in others) else ""
    return f"That is {', or '.join(words)}.{loose}"


def _plural(one: Amount) -> str:
    household = one.unit in {unit for unit, _ in SPOONS}
    plural = "s" if household and one.value > 1.0 else ""
    return f"{one.value:g} {one.unit}{plural}"


def as_dicts(found: tuple[Amount, ...]) -> list[dict[str, Any]]:
    """Return the amounts as plain values, ready to become JSON."""
    return [{"value": one.value, "unit": one.unit, "by_scoop": one.by_scoop} for one in found]
