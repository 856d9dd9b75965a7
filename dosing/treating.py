"""What brings a shut gate's water inside: a dose, air, time, new water, or a person."""

from __future__ import annotations

from datetime import timedelta

from dosing import texts
from dosing.airing import air, air_first, air_step
from dosing.analytes import ANALYTES
from dosing.cautions import ALWAYS, with_dose
from dosing.course import numbered
from dosing.dose import SMALLEST_SHARE, DosePlan, Mixed
from dosing.gates import SHUT_TO, limits, side
from dosing.measuring import BETTER, ask, believed, expected, measure, odd_one_out
from dosing.portions import HALFWAY, WORTH_INSIDE, gentler, least_harm, planned, unsparing
from dosing.procedure import Gate, Hold
from dosing.procedure_file import hours
from dosing.products import KINDS, Product
from dosing.situation import Situation
from dosing.standing import MOVED_BY
from dosing.steps import Expected, Todo
from dosing.water import Water

NEUTRALISE_ABOVE = 15.0
"""Chlorine above this is neutralised by half rather than waited for [mg/L] (common practice)."""

LOOKS = 3
"""Readings of one water before a cut dose, while it would end inside with too small a chance."""

MANY_LOOKS = 8
"""The same where these looks leave the other gate undecided."""

BEARABLE_PH = 8.0
"""Up to here upkeep may leave the pH for a day; above, chlorine works too slowly (mahc)."""

WORTH_ACID = 0.15
"""An acid dose that can only be this share of the need waits until air has raised the pH."""


def treat(now: Situation, gate: Gate | Hold) -> Todo:
    """Return the step that moves a shut gate's water towards its aim."""
    band = now.standing(gate).now(now.at)
    if band is None:
        raise ValueError(f"the gate {gate.id} has no valid reading to act on")
    where = side(gate, band)
    if isinstance(gate, Gate):
        helps = gate.raise_with if where == "low" else gate.lower_with
    else:
        helps = gate.raise_with if where == "low" else ("time", "dechlorinating")
    for help_ in helps:
        found = _try(now, gate, where, help_)
        if found is not None:
            return found
    return _no_help(now, gate, where, helps)


def by_the_ph(now: Situation, gate: Gate) -> Todo | None:
    """Return what a pH outside its own gate asks for, where that also takes an undecided alkalinity
    off its edge: acid when both are high, soda ash when both are low, air until the pH is high.
    """
    ph = next((one for _, one in now.gates() if one.analyte == "ph"), None)
    band = now.standing(gate).now(now.at)
    if gate.analyte != "total_alkalinity" or not isinstance(ph, Gate) or band is None:
        return None
    ph_band = now.standing(ph).now(now.at)
    where = side(gate, band)
    if ph_band is None:
        return None
    if now.state(ph).state == "shut" and side(ph, ph_band) == where:
        return _try(now, ph, where, "acid" if where == "high" else "base_carbonate")
    read = now.history.water_at_last_event  # a wait once told must stand
    if read.probability(gate.analyte, *limits(gate)) > 0.5:
        return None  # likely inside: another dip tells sooner than hours of air
    if where == "high" and now.standing(gate).count >= LOOKS and gate.air is not None:
        ends = (now.standing(ph).at or now.at) + timedelta(hours=hours(gate.air))
        if ends > now.at:
            return air_step(
                now, gate, ends, "Air lifts the pH; the acid it then needs settles both."
            )
    return None


def _try(now: Situation, gate: Gate | Hold, where: str, help_: str) -> Todo | None:
    if help_ == "air":
        return air(now, gate)
    if help_ == "time":
        return _time(now, gate)
    if help_ == "new_water":
        return _new_water(now, gate)
    if KINDS[help_].analyte is None:
        return None  # a person gives it, as its label says
    products = now.products.of_kind(help_)
    return _dose(now, gate, where, least_harm(now, gate, where, products)) if products else None


def _no_help(now: Situation, gate: Gate | Hold, where: str, helps: tuple[str, ...]) -> Todo:
    label = ANALYTES[gate.analyte].label
    kinds = " or ".join(help_.replace("_", " ") for help_ in helps) or "nothing in the procedure"
    if gate.text and where == "low":
        text = f"{gate.text}{_missing(now, gate)}"
        return ask(now, f"ask_{gate.id}", text, texts.judged(gate, now.state(gate)), ALWAYS)
    return ask(
        now,
        f"ask_{gate.id}",
        f"The {label} is too {where} ({now.state(gate).needs} wanted) and no product at hand moves "
        f"it ({kinds}). Add such a product to the log's products, or change the water by hand and "
        "enter what was done; confirm this step to go on with the water as it is.",
        texts.judged(gate, now.state(gate)),
        ALWAYS,
    )


def _missing(now: Situation, gate: Gate | Hold) -> str:
    """Say how much is missing in the whole tub, for a label that speaks of grams."""
    if gate.aim_up is None:
        return ""
    grams = (gate.aim_up.value - now.water.value(gate.analyte)) * now.water.volume_l / 1000.0
    label = ANALYTES[gate.analyte].label
    return f" About {grams:.1f} g of {label} are missing in this tub." if grams > 0.0 else ""


def _dose(now: Situation, gate: Gate | Hold, where: str, product: Product) -> Todo | None:
    apart = now.kept_apart_until(product)
    if apart is not None:
        return Todo(
            numbered(f"wait_apart_{product.kind}", 1 + len(now.history.doses)),
            "wait",
            f"Wait: {product.label} must not meet what went in before. Jets on, air closed.",
            not_before=apart,
            why=("Acid and chlorine, calcium and soda ash are kept apart in time.",),
        )
    ph = next((one for _, one in now.gates() if one.analyte == "ph"), None)
    old_ph = now.history.standing("ph").band is None or (ph is not None and now.is_aired(ph))
    if product.kind in ("acid", "base_carbonate") and old_ph:
        what = "An acid" if product.kind == "acid" else "A soda ash"
        return measure(now, gate, f"{what} dose needs a pH reading that still counts.")
    if _rests_on_one_dip(now, gate, product):
        reason = odd_one_out(gate, now.standing(gate)) or (
            f"{product.label} is not undone within a day, and one dip alone asks for it: read the "
            f"{ANALYTES[gate.analyte].label} once more first."
        )
        return measure(now, gate, reason)
    plan = planned(now, gate, where, product)
    if plan.spares:
        spared = _spared(now, gate, where, plan)
        if isinstance(spared, Todo):
            return spared
        plan = spared
    for_alkalinity = product.kind == "acid" and gate.analyte == "total_alkalinity"
    held_by_ph = plan.held_back_by == "ph" and plan.grams < WORTH_ACID * plan.needed_g
    if for_alkalinity and held_by_ph:
        return air_first(now, gate)
    if plan.grams <= 0.0 or (
        plan.held_back_by == "band" and plan.grams < SMALLEST_SHARE * plan.needed_g
    ):
        return _too_unsure(now, gate, plan)
    if plan.held_back_by == "band" and _worth_another_look(now, gate, plan):
        return _too_unsure(now, gate, plan)
    return dose_step(now, gate, plan)


def _rests_on_one_dip(now: Situation, gate: Gate | Hold, product: Product) -> bool:
    """Say whether a dose would rest on one reading that the log did not foretell.

    A reading that would cause a big dose is taken twice (common practice); chlorine is quickly
    gone again.
    """
    standing = now.standing(gate)
    if len(standing.newest) > 1 or product.kind == "chlorinating":
        return False
    inside = now.water.probability(gate.analyte, *limits(gate))
    return standing.is_odd or (product.is_slow and inside > SHUT_TO)


def _spared(now: Situation, gate: Gate | Hold, where: str, plan: DosePlan) -> Todo | DosePlan:
    """The whole dose might push another gate's water out: be surer of that first, then give less.

    Chlorine comes before hardness: its dose is never cut for that.
    """
    if plan.product.kind == "chlorinating":
        return unsparing(now, gate, where, plan.product)
    if _once_mixed(now, plan).probability(gate.analyte, *limits(gate)) >= WORTH_INSIDE:
        return plan
    other = next(one for _, one in now.gates() if one.analyte == plan.spares)
    label = ANALYTES[plan.spares].label
    looks = len(now.standing(other).looks)
    if looks < LOOKS or (now.state(other).state == "undecided" and looks < MANY_LOOKS):
        reason = (
            f"{plan.product.label} for the {ANALYTES[gate.analyte].label} also moves the {label}, "
            "which is near its limit: read that once more first."
        )
        return measure(now, other, reason)
    gentle = gentler(now, gate, where, plan.product)
    if gentle is not None:
        return gentle
    band = now.standing(gate).now(now.at)
    if now.procedure.ends or band is None or band.mode > BEARABLE_PH:
        return unsparing(now, gate, where, plan.product, HALFWAY)
    return _bear_it(now, gate, other)


def _bear_it(now: Situation, gate: Gate | Hold, other: Gate | Hold) -> Todo:
    """Upkeep can leave a pH a little high until the alkalinity beside it is decided."""
    read_at = now.standing(gate).at or now.at
    ends = read_at + timedelta(days=1)
    label = ANALYTES[other.analyte].label
    if ends <= now.at:
        return measure(now, other, f"The {label} decides whether acid may be given: read it again.")
    return Todo(
        numbered(f"wait_{gate.id}", 1 + now.history.readings),
        "wait",
        f"Leave the tub alone until tomorrow: acid would take the {label} under its limit, and "
        "the pH is only a little high.",
        not_before=ends,
        analytes=(gate.analyte, other.analyte),
        expect=expected(now, (gate.analyte, other.analyte), ends),
        why=(texts.judged(other, now.state(other)),),
    )


def _worth_another_look(now: Situation, gate: Gate | Hold, plan: DosePlan) -> bool:
    """A dose cut short by a wide band would end on the gate's edge: read once more first."""
    if now.standing(gate).count >= LOOKS or not isinstance(gate, Gate):
        return False
    inside = plan.after.probability(gate.analyte, *limits(gate))
    return inside < WORTH_INSIDE


def _too_unsure(now: Situation, gate: Gate | Hold, plan: DosePlan) -> Todo:
    label = ANALYTES[gate.analyte].label
    reason = (
        f"The {label} is outside, but its band is so wide that no dose of {plan.product.label} "
        "is sure to stay short of the far limit: read it again first."
    )
    if now.standing(gate).count >= 5:
        return ask(
            now,
            f"ask_{gate.id}",
            f"No measurable dose of {plan.product.label} is safe for {label} as it is read. "
            "Decide by hand, enter what was done, or confirm this step to go on.",
            reason,
            ALWAYS,
        )
    return measure(now, gate, reason, BETTER)


def dose_step(now: Situation, gate: Gate | Hold, plan: DosePlan) -> Todo:
    """Return the dose of a plan as a step, with cautions and what to expect."""
    product, label = plan.product, ANALYTES[gate.analyte].label
    doses = len(now.history.doses_of(product.kind))
    how = (
        "Jets on, air closed; pour it through the filter compartment in small parts, nothing else "
        "with it."
    )
    if product.kind == "softening_medium":
        how = "Hang it into the filter compartment in its bag, pump running, for the time it acts."
    return Todo(
        numbered(f"dose_{product.kind}", doses + 1),
        "dose",
        f"Add {texts.amount(product, plan.grams)} of {product.label}. {how}",
        analytes=(gate.analyte,),
        product=product.id,
        product_kind=product.kind,
        amount_g=plan.grams,
        expect=after_dose(now, plan),
        why=(texts.judged(gate, now.state(gate)), _reason(now, gate, plan, label)),
        cautions=with_dose(product),
    )


def after_dose(now: Situation, plan: DosePlan) -> dict[str, Expected]:
    """Return what the next measurement should show once the dose has mixed."""
    moved = [
        analyte
        for analyte in MOVED_BY[plan.product.kind]
        if now.history.standing(analyte).last is not None
    ]
    after = _once_mixed(now, plan, 0.5)
    return {analyte: believed(after, analyte) for analyte in moved}


def _once_mixed(now: Situation, plan: DosePlan, share: float = 1.0) -> Mixed:
    """Return the water after a share of the jets that mix a dose, which lift the pH a little.

    That of chlorine is told as mixed already.
    """
    after: Mixed = plan.after
    if isinstance(after, Water) and plan.product.kind != "chlorinating":
        mixing_h = now.history.mixing(plan.product.kind).total_seconds() / 3600.0
        return after.later(share * mixing_h)
    return after


def _reason(now: Situation, gate: Gate | Hold, plan: DosePlan, label: str) -> str:
    tub = now.water
    share = 100.0 * 1.96 * tub.volume_sd_l / tub.volume_l
    taken = f"The tub is taken as {tub.volume_l:,.0f} L, {share:.0f} % either way."
    unit = "" if gate.analyte == "ph" else f" {ANALYTES[gate.analyte].unit}"
    aim = texts.plain(gate.analyte, plan.after.value(gate.analyte)) + unit
    why = {
        "aim": f"This brings {label} to about {aim}.",
        "portion": f"A portion first, to about {aim}; then test, then the rest.",
        "pack": f"The product goes in in parts; this one brings {label} to about {aim}.",
        "band": f"More might overshoot, the readings being no surer; expect about {aim}.",
        "ph": f"More would bring the pH under what is allowed; {label} goes to about {aim}.",
        "other": f"More could push the {_other(plan)} out of its range; {label} goes to about "
        f"{aim}.",
    }[plan.held_back_by]
    return f"{taken} {why}"


def _other(plan: DosePlan) -> str:
    return ANALYTES[plan.spares].label if plan.spares else "water"


def _time(now: Situation, gate: Gate | Hold) -> Todo | None:
    """Let chlorine fall by itself unless it is far too high."""
    standing = now.standing(gate)
    band = standing.now(now.at)
    if band is None or standing.at is None:
        return None
    if band.mode > NEUTRALISE_ABOVE and now.products.of_kind("dechlorinating"):
        return None
    rest = 6.0 if band.mode < 12.0 else 24.0
    ends = standing.at + timedelta(hours=rest)
    if ends <= now.at:
        return measure(now, gate, "The chlorine has had time to fall: see where it stands.")
    return Todo(
        numbered(f"wait_{gate.id}", 1 + now.history.readings),
        "wait",
        "Keep the cover open and the jets on now and then: the chlorine falls by itself. "
        "No bathers, and the generator's output at zero, until it is in range.",
        not_before=ends,
        analytes=(gate.analyte,),
        expect=expected(now, (gate.analyte,), ends),
        why=(texts.judged(gate, now.state(gate)),),
    )


def _new_water(now: Situation, gate: Gate | Hold) -> Todo | None:
    """Replace a share of the water where the hose's water is lower."""
    if not isinstance(gate, Gate) or gate.aim_down is None or gate.high is None:
        return None
    value = now.water.value(gate.analyte)
    fill = now.history.standing(gate.analyte, "fill")
    fresh = fill.band.mean if fill.band else (50.0 if gate.analyte == "salt" else value)
    if fresh >= gate.high.value or value <= fresh:
        return None
    share = (value - gate.aim_down.value) / (value - fresh)
    share = min(max(0.05 * round(share / 0.05), 0.05), 0.9)
    after = now.water.after_replacement(share)
    return Todo(
        numbered("replace_water", 1 + len(now.history.replaced)),
        "replace_water",
        f"Replace {100 * share:.0f} % of the water ({share * now.water.volume_l:.0f} L): drain "
        "that much and fill up through the filter well. Enter the share really replaced.",
        fraction=round(share, 2),
        analytes=(gate.analyte,),
        expect={gate.analyte: believed(after, gate.analyte)},
        why=(texts.judged(gate, now.state(gate)),),
    )
