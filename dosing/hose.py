"""What the water from the hose will need: softened share, prefilter, what goes in afterwards."""

from __future__ import annotations

from collections.abc import Iterator

from dosing import texts
from dosing.analytes import ANALYTES
from dosing.procedure import Gate, Hold
from dosing.products import KINDS, amount_for
from dosing.situation import Situation
from dosing.softened import softened_fill

MATTERS = ("calcium_hardness", "total_alkalinity", "ph", "phosphate", "iron", "copper", "manganese")
"""What decides the recipe (common practice)."""
SURELY = 0.95
LEAST_GAP = 0.1
"""A need smaller than this share of the aim is not worth a sentence."""


def needs(now: Situation) -> tuple[str, ...]:
    """Return what the water from the hose will need, one sentence a matter; none once filled."""
    if is_filled(now):
        return ()
    hose = [one for _, one in now.gates() if one.sample == "fill"]
    metals = [_metal(now, one) for one in hose if ANALYTES[one.analyte].unit == "ug/L"]
    tub = [one for _, one in now.gates() if one.sample == "tub" and isinstance(one, Gate)]
    rest = [_need(now, one) for one in tub if one.analyte != "calcium_hardness"]
    said = (*_hardness(now), *rest, *metals, _untested(now))
    return tuple(dict.fromkeys(one for one in said if one))


def is_filled(now: Situation) -> bool:
    """Say whether the tub has its water."""
    fills = [one for _, one in now.procedure.steps() if getattr(one, "action", "") == "fill"]
    return not fills or any(now.is_done(one.id) for one in fills)


def _is_known(now: Situation, analyte: str) -> bool:
    return now.history.standing(analyte, "fill").band is not None


def _about(now: Situation, analyte: str) -> str:
    """Say what the hose's water holds, with its band."""
    low, high = now.water.band(analyte, sample="fill")
    middle = texts.plain(analyte, now.water.value(analyte, "fill"))
    unit = ANALYTES[analyte].unit
    label = ANALYTES[analyte].label
    return (
        f"{label[:1].upper()}{label[1:]} of the hose's water is about {middle} {unit} "
        f"(95 %: {texts.plain(analyte, low)} to {texts.plain(analyte, high)})"
    )


def _hardness(now: Situation) -> Iterator[str]:
    """Say which share of the fill to soften, and what a tub filled without would need."""
    gate = next((one for _, one in now.gates() if one.analyte == "calcium_hardness"), None)
    if not isinstance(gate, Gate) or not _is_known(now, gate.analyte):
        return
    about = _about(now, gate.analyte)
    high = gate.high.value if gate.high else None
    if high is None or gate.aim_down is None or now.water.value(gate.analyte, "fill") <= high:
        yield f"{about}: no softened water is needed."
        if gate.aim_up is not None:
            yield _need(now, gate)
        return
    least = gate.low.value if gate.low else 0.0
    blend = softened_fill(now.water, gate.aim_down.value, least, high)
    yield (
        f"{about}: with {100 * blend.softened:.0f} % of it softened the tub starts at about "
        f"{blend.value:.0f} mg/L (95 %: {blend.low:.0f} to {blend.high:.0f}); "
        f"chance to lie in range: {100 * min(blend.fits, 0.99):.0f} %."
    )
    amount = _amount(now, gate)
    if amount:
        yield f"Filled without a softener, it takes {amount}, and a day each time."


def _need(now: Situation, gate: Gate) -> str:
    """Say what goes in for one analyte after filling; pH waits for the alkalinity."""
    analyte = gate.analyte
    if not _is_known(now, analyte) or analyte in ("ph", "free_chlorine"):
        return ""
    label = ANALYTES[analyte].label
    low, high = (side.value if side else None for side in (gate.low, gate.high))
    inside = now.water.probability(analyte, low, high, "fill")
    if inside >= SURELY:
        return "" if analyte == "calcium_hardness" else f"{_about(now, analyte)}: in range."
    amount = _amount(now, gate)
    if not amount:
        return f"{_about(now, analyte)}: it is measured again in the tub."
    if analyte == "calcium_hardness":
        return f"To lift the {label} it will take {amount}."
    whether = "it will take" if inside <= 1.0 - SURELY else "it may take"
    return f"{_about(now, analyte)}: {whether} {amount}."


def _amount(now: Situation, gate: Gate) -> str:
    """Return the grams that bring the hose's water to the aim, with their band."""
    analyte, value = gate.analyte, now.water.value(gate.analyte, "fill")
    rises = gate.low is not None and gate.aim_up is not None and value < gate.aim_up.value
    aim, kinds = (gate.aim_up, gate.raise_with) if rises else (gate.aim_down, gate.lower_with)
    kinds = tuple(kind for kind in kinds if kind in KINDS and now.products.of_kind(kind))
    if aim is None or not kinds or abs(aim.value - value) < LEAST_GAP * aim.value:
        return ""
    product = now.products.of_kind(kinds[0])[0]
    ends = now.water.band(analyte, sample="fill")
    grams = [amount_for(product, aim.value - one, now.water.volume_l) for one in (value, *ends)]
    if grams[0] <= 0.0:
        return ""
    low, high = sorted(grams[1:])
    parts = ", jets and air between the doses" if product.kind == "acid" else ""
    return f"about {grams[0]:.0f} g of {product.label} ({low:.0f} to {high:.0f} g){parts}"


def _metal(now: Situation, gate: Gate | Hold) -> str:
    """Say whether a metal in the hose's water asks for a prefilter."""
    if not _is_known(now, gate.analyte):
        return ""
    state = now.history.as_read.get(gate.id, now.state(gate).state)
    if state == "shut":
        return f"{_about(now, gate.analyte)}: too much, bring a metal-removing prefilter."
    if state == "open":
        return f"{_about(now, gate.analyte)}: no prefilter for it."
    return f"{_about(now, gate.analyte)}: not decided, have a metal-removing prefilter at hand."


def _untested(now: Situation) -> str:
    """Name what nobody has tested of the hose's water, and the tub's papers do not tell."""
    asked = {one.analyte for _, one in now.gates()}
    unread = [one for one in MATTERS if one in asked and not _is_known(now, one)]
    if not unread:
        return ""
    return f"Not tested of the hose's water: {texts.names(unread)}. Test that before you pack."
