"""How much of which product at hand: portions, and what the dose must leave alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from dosing.dose import DosePlan, Keep, Want, dose_for, want_of
from dosing.gates import limits
from dosing.procedure import Gate, Hold
from dosing.products import Product
from dosing.situation import Situation
from dosing.standing import MOVED_BY

WORTH_INSIDE = 0.85
"""A dose that would end inside with less than this is worth another thought."""

HALFWAY = 0.5
"""How far a dose that spares another gate stays short of its aim, towards the near limit. Nearer to
the limit it would be read on the edge, and air and more acid would follow."""

UNSPARING = 0.05
"""Chance of pushing another gate's water out that a gentler dose may take, once all was read."""


def least_harm(
    now: Situation, gate: Gate | Hold, where: str, products: Sequence[Product]
) -> Product:
    """Return the first product that leaves the other gates alone; else the first at hand."""
    if len(products) == 1 or all(not _keeps(now, gate, product) for product in products):
        return products[0]
    for product in products:
        if not planned(now, gate, where, product).spares:
            return product
    return products[0]


def planned(now: Situation, gate: Gate | Hold, where: str, product: Product) -> DosePlan:
    """Return the dose; a later portion that would end on the gate's edge may be larger."""
    want = _portion(now, gate, where, product)
    plan = dose_for(want, now.water, product)
    if want.most_change is None or plan.held_back_by != "portion":
        return plan
    if 0.03 < plan.after.probability(gate.analyte, *limits(gate)) < WORTH_INSIDE:
        return dose_for(replace(want, most_change=1.7 * want.most_change), now.water, product)
    return plan


def _portion(now: Situation, gate: Gate | Hold, where: str, product: Product) -> Want:
    """Return the want with the shares that the procedure sets for portions."""
    want = replace(want_of(gate, where), keeps=_keeps(now, gate, product))
    if product.kind == "dechlorinating":
        return replace(want, share=0.5)
    if not isinstance(gate, Gate) or gate.first_share is None:
        return want
    first = not now.history.doses_of(product.kind)
    if first:
        return replace(want, share=gate.first_share.value)
    if gate.later_share is not None:
        return replace(want, most_change=gate.later_share.value * want.aim)
    return want


def _keeps(now: Situation, gate: Gate | Hold, product: Product) -> tuple[Keep, ...]:
    """Return the other gates of the tub's water that the product moves as well.

    The pH is left out: its own gate comes next, and `keeps_ph` holds it from below.
    """
    moved = set(MOVED_BY[product.kind]) - {gate.analyte, "ph"}
    if product.formula == "Ca(OCl)2":
        moved.add("calcium_hardness")
    return tuple(
        Keep(other.analyte, *limits(other))
        for _, other in now.gates()
        if isinstance(other, Gate) and other.sample == "tub" and other.analyte in moved
    )


def gentler(now: Situation, gate: Gate | Hold, where: str, product: Product) -> DosePlan | None:
    """Return a dose half the way from the aim to the near limit, which spares another gate.

    None where even that would likely push the other gate's water out.
    """
    want = _portion(now, gate, where, product)
    want = replace(want, aim=_short_of(want, gate, where, HALFWAY), crossing=UNSPARING)
    gentle = dose_for(want, now.water, product)
    inside = gentle.after.probability(gate.analyte, *limits(gate))
    return gentle if inside >= 0.5 else None


def unsparing(
    now: Situation, gate: Gate | Hold, where: str, product: Product, short: float = 0.0
) -> DosePlan:
    """Return the dose that the gate itself needs, whatever else it moves.

    It ends `short` of the aim by this share of the way from there to the near limit.
    """
    want = _portion(now, gate, where, product)
    want = replace(want, keeps=(), aim=_short_of(want, gate, where, short))
    return dose_for(want, now.water, product)


def _short_of(want: Want, gate: Gate | Hold, where: str, share: float) -> float:
    """Return an aim that lies short of the gate's own."""
    near = gate.low if where == "low" else gate.high
    return want.aim if near is None else want.aim + share * (near.value - want.aim)
