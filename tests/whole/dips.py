"""Photos of strips in waters of known value, for tests of the keeper's pages."""

from __future__ import annotations

from functools import cache

from api.waters import strip_text
from calibration.table import PadPlan
from tests.bench.photo_sets import Job, photo_of, setting_of
from tests.render import strips

SHOP = 31
BLOCKS = (1, 3, 4)
"""Blocks of every chart that are dipped."""


@cache
def dip(block: int, again: int) -> bytes:
    """One strip in the water of these blocks."""
    seed = 100_000 * SHOP + 50 * block + again
    return photo_of(
        Job("dips", "good", seed, light="daylight", shop=SHOP, block=block, pixels=2e6)
    )[0]


def kind() -> strips.StripKind:
    """The make of strip."""
    return strips.FAMILIES[setting_of(Job("dips", "good", 0, shop=SHOP)).family]


def values(block: int) -> dict[str, float]:
    """What is known of a water, by analyte."""
    return {p.analyte: float(p.blocks[min(block, len(p.blocks) - 1)]) for p in kind().pads}


def strip_csv(lot: str = "L5") -> str:
    """The strip's pads."""
    own = kind()
    return strip_text(
        [
            PadPlan(own.name, lot, i, p.analyte, p.unit, 15.0, own.centre_mm(i), own.pad_mm)
            for i, p in enumerate(own.pads, 1)
        ]
    )
