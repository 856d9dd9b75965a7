"""What events do to the belief: a reading, a dose, water replaced, a tub filled."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

from dosing.buffer import HIGHEST, LOWEST, Buffer, near
from dosing.chemistry import MOVES
from dosing.constants import ALKALINITY_PER_CHLORINE, MOLAR_MASS
from dosing.log import Reading
from dosing.products import Product, dissolved, effect
from dosing.scale import NORMAL, OFFSETS, UNKNOWN, combine, deviation, is_news, offset_of, widened
from dosing.state import (
    DISSOLVED,
    SHOWN,
    SHOWN_OF_HOSE,
    TUB_PRIORS,
    State,
    sample_at,
)

NORMAL_95: Final = 1.959964
SPILL: Final = 0.015
"""Relative error of a dose as weighed and given (standard deviation); common practice."""
FILLING: Final = {
    # Fixed part and share by which a filled tub differs from the hose's sample.
    "net": (2.0, 0.02),
    "calcium": (2.0, 0.03),
    "magnesium": (2.0, 0.05),
    "salt": (5.0, 0.05),
    "cyanuric_acid": (0.1, 0.0),
    "phosphate": (10.0, 0.05),
    "free": (0.1, 0.3),
    "combined": (0.05, 0.2),
    "bromine": (0.02, 0.0),
    "iron": (5.0, 0.1),
    "copper": (5.0, 0.1),
    "manganese": (1.0, 0.1),
}
JETS_AFTER_DOSE_H: Final = 0.25
"""How long the jets run with a dose [h]; common practice."""
SMALL: Final = 0.01
"""Share of a dose over which the slope of its pH is taken."""
STRAIGHT_PH: Final = 0.06
"""A change of pH up to which a dose's law is as good as straight."""
SHARED_SHARE: Final = 0.08
"""Share of a reading's variance that the method's next reading has again (common practice)."""
BLEACHES_PH: Final = 10.0
"""Free chlorine above which pH and alkalinity pads are doubtful [mg/L]; common practice."""


def read(state: State, reading: Reading) -> None:
    """Take a reading into the belief.

    A part of its error is the method's own and comes back with the next reading: it has an entry,
    so that ten dips of one lot do not pass for a laboratory.
    """
    weights = dict((SHOWN_OF_HOSE if reading.sample == "fill" else SHOWN)[reading.analyte])
    mean, variance = state.shown(reading.analyte, reading.sample)
    same_water = reading.sample == "tub" and reading.analyte in state.read_h
    if not same_water and is_news(reading, mean, variance):
        main = next(iter(weights))
        state.belief.renew(main, state.belief.of(main), _unknown(reading, mean))
    method = f"error of {reading.source} {reading.analyte}"
    state.belief.add_entry(method, 0.0, SHARED_SHARE**0.5 * deviation(reading))
    weights[method] = 1.0 if reading.analyte == "ph" else mean + offset_of(reading)
    mean, variance = state.belief.moments(weights)
    mean, variance = max(mean, 0.0), max(variance, 1e-12)
    wider, widen = widened(reading, mean, variance, same_water=same_water)
    if wider > variance:
        state.belief.shake(next(iter(weights)), (wider - variance) ** 0.5)
        variance = wider
    doubtful = reading.analyte in ("ph", "total_alkalinity") and reading.sample == "tub"
    widen *= 2.0 if doubtful and state.belief.of("free") > BLEACHES_PH else 1.0
    widen *= (1.0 - SHARED_SHARE) ** 0.5
    state.belief.correct(weights, *combine(reading, mean, variance, widen))
    if reading.sample == "tub":
        state.read_h[reading.analyte] = 0.0
    state.hold_positive()


def _unknown(reading: Reading, mean: float) -> float:
    """Return the spread of an entry that the water's untold change has made unknown."""
    if reading.analyte == "ph":
        return UNKNOWN
    return UNKNOWN * (max(mean, reading.value) + OFFSETS[reading.analyte])


def dose(state: State, product: Product, grams: float, *, moves_ph: bool = True) -> None:
    """Put a dose into the water; slow products begin their work.

    Without `moves_ph` what dissolves leaves the pH as it was: for questions about all else.
    """
    if grams <= 0.0 or product.analyte is None:
        return
    state.read_h.clear()
    strength = f"strength of {product.id}"
    state.belief.add_entry(strength, 0.0, max(product.strength_error_95 / NORMAL_95, 1e-3))
    if product.removes_mg_caco3_per_g is not None or product.removes_ug_per_g is not None:
        _start_medium(state, product, grams, strength)
    elif product.removes_mg_cl2_per_g is not None:
        _neutralise(state, product, grams, strength)
    else:
        _dissolve(state, product, grams, strength, moves_ph=moves_ph)
    state.jets_left_h = max(state.jets_left_h, JETS_AFTER_DOSE_H)
    state.hold_positive()


def _factor(state: State, strength: str) -> float:
    """True amount over the amount by label and stated volume."""
    return math.exp(state.belief.of(strength) - state.belief.of("volume"))


def _dissolve(
    state: State, product: Product, grams: float, strength: str, *, moves_ph: bool
) -> None:
    """Add what dissolves; pH by the equilibrium, all else by mass."""
    change = _entries_changed(effect(product, grams, state.tub.volume_l))
    factor = _factor(state, strength)
    if moves_ph:
        _shift_ph(state, change, dissolved(product, grams, state.tub.volume_l), strength)
    state.sulfate += change.pop("sulfate", 0.0) * factor
    for entry, by in change.items():
        _add(state, entry, by * factor, strength)
    if product.analyte != "salt":  # whether a strip counts chloride from elsewhere is not sure
        state.belief.shake("salt", 0.3 * change.get("salt", 0.0) * factor)


def _shift_ph(
    state: State, change: Mapping[str, float], added: Mapping[str, float], strength: str
) -> None:
    """Move the pH by the equilibrium, before what dissolves has changed anything else."""
    factor = _factor(state, strength)
    belief, old = state.belief, state.buffer()
    free, new = belief.of("free"), _buffer_after(state, change, factor)
    carbon = sum(MOVES[formula].carbon * mg / MOLAR_MASS[formula] for formula, mg in added.items())
    net_change, chlorine_change = change.get("net", 0.0), change.get("free", 0.0)

    def mixed(net: float, ph: float, held: float, scale: float) -> float:
        return new.ph(
            max(net + net_change * scale, 3.0),
            held + carbon * scale,
            free + chlorine_change * scale,
            ph,
        )

    def law(point: Sequence[float]) -> tuple[float]:
        net, ph, by_strength, by_volume = point
        held, _ = old.carbon(max(net, 3.0), min(max(ph, LOWEST), HIGHEST), free)
        return (mixed(net, ph, held, math.exp(by_strength - by_volume)),)

    net, before = max(belief.of("net"), 3.0), belief.of("ph")
    was = old.slopes(net, min(max(before, LOWEST), HIGHEST), free)
    after = mixed(net, before, was.carbon, factor)
    inputs = ("net", "ph", strength, "volume")
    if abs(after - before) > STRAIGHT_PH:
        belief.bend(inputs, ("ph",), law, {})
    else:
        now = new.slopes(
            max(net + net_change * factor, 3.0), after, free + chlorine_change * factor
        )
        by_net = (was.carbon_by_net - now.carbon_by_net) / now.carbon_by_ph
        by_scale = (mixed(net, before, was.carbon, factor * (1.0 + SMALL)) - after) / SMALL
        slopes = by_net, was.carbon_by_ph / now.carbon_by_ph, by_scale, -by_scale
        belief.follow(inputs, ("ph",), (after,), (slopes,), {})
    belief.shake("ph", 0.005 + 0.05 * abs(belief.of("ph") - before))


def _entries_changed(change: dict[str, float]) -> dict[str, float]:
    """Turn a change by analyte into one by entry; alkalinity becomes net of chlorine."""
    chlorine = change.get("free_chlorine", 0.0)
    named = {
        "net": change.get("total_alkalinity", 0.0) - ALKALINITY_PER_CHLORINE * chlorine,
        "free": chlorine,
        "calcium": change.get("calcium_hardness", 0.0),
        "salt": change.get("salt", 0.0),
        "cyanuric_acid": change.get("cyanuric_acid", 0.0),
        "sulfate": change.get("sulfate", 0.0),
    }
    return {entry: by for entry, by in named.items() if abs(by) > 1e-9}


def _buffer_after(state: State, change: Mapping[str, float], factor: float) -> Buffer:
    """Return the buffer of the water that the dose will make."""
    trial = state.copy()
    for entry, by in change.items():
        if entry == "sulfate":
            trial.sulfate += by * factor
        else:
            trial.belief.put(entry, max(trial.belief.of(entry) + by * factor, 0.0))
    return near(sample_at(trial, state.tub.temperature_c))


def _add(state: State, entry: str, by: float, strength: str) -> None:
    """Add a known amount of unknown strength into an unknown volume."""
    belief = state.belief
    spill = (2.0 if entry == "free" else 1.0) * SPILL
    belief.move({entry: {entry: 1.0, strength: by, "volume": -by}}, {entry: spill * by})
    belief.put(entry, belief.of(entry) + by)


def _start_medium(state: State, product: Product, grams: float, strength: str) -> None:
    """Let a softening medium or a phosphate remover begin; `motion` does the rest."""
    change = effect(product, grams, state.tub.volume_l)
    rate = 3.5 / max(product.acts_over_h or 0.0, 0.25)
    if product.removes_mg_caco3_per_g is not None:
        entry, taken, state.softens_per_h = "softening", -change.get("calcium_hardness", 0.0), rate
    else:
        entry, taken, state.removes_per_h = "removing", -change.get("phosphate", 0.0), rate
        _add(state, "net", change.get("total_alkalinity", 0.0) * _factor(state, strength), strength)
    _add(state, entry, taken * _factor(state, strength), strength)


def _neutralise(state: State, product: Product, grams: float, strength: str) -> None:
    """Take chlorine away, as far as there is any; how much a gram takes is loosely known."""
    change = effect(product, grams, state.tub.volume_l)
    belief = state.belief
    there = belief.of("free")
    taken = min(-change["free_chlorine"] * _factor(state, strength), there)
    per_chlorine = change["total_alkalinity"] / change["free_chlorine"] - ALKALINITY_PER_CHLORINE
    reach = 1.0 if taken < 0.9 * there else 0.3
    belief.move(
        {"free": {"free": reach, strength: -taken, "volume": taken}},
        {"free": 0.2 * taken + 0.02, "net": 0.4 * taken},
    )
    belief.put("free", there - taken)
    belief.put("net", belief.of("net") - per_chlorine * taken)
    belief.shake("net", 0.4 * taken)
    belief.shake("ph", 0.03 * taken)


def replace_water(state: State, fraction: float) -> None:
    """Replace a share of the tub's water with water from the hose."""
    fraction = min(max(fraction, 0.0), 1.0)
    if fraction == 0.0:
        return
    state.read_h.clear()
    _mix_ph(state, fraction)
    belief = state.belief
    rows = {n: {n: 1.0 - fraction, f"hose_{n}": fraction} for n in DISSOLVED}
    noise = {
        n: 0.02 * fraction * abs(belief.of(n) - belief.of(f"hose_{n}"))
        + fraction * _filling(state, n)
        for n in DISSOLVED
    }
    means = {n: (1.0 - fraction) * belief.of(n) + fraction * belief.of(f"hose_{n}") for n in rows}
    belief.move(rows, noise)
    for name, mean in means.items():
        belief.put(name, mean)
    rest = {n: {n: 1.0 - fraction} for n in ("softening", "removing")}
    belief.move(rest, {})
    for name in rest:
        belief.put(name, (1.0 - fraction) * belief.of(name))
    belief.put(
        "demand", (1.0 - fraction) * belief.of("demand") + fraction * TUB_PRIORS["demand"][0]
    )
    belief.shake("demand", 1.3 * fraction)
    state.sulfate = (1.0 - fraction) * state.sulfate + fraction * 20.0
    state.caught *= 1.0 - fraction
    state.jets_left_h = max(state.jets_left_h, JETS_AFTER_DOSE_H)
    state.hold_positive()


def _filling(state: State, name: str) -> float:
    fixed, share = FILLING[name]
    return fixed + share * state.belief.of(f"hose_{name}")


def _mix_ph(state: State, fraction: float) -> None:
    """Give the pH of the mixed water at the tub's heat, no carbon dioxide lost."""
    belief = state.belief
    tub, hose = state.buffer(), state.hose_buffer()
    tub_free, hose_free = belief.of("free"), belief.of("hose_free")
    free = (1.0 - fraction) * tub_free + fraction * hose_free

    def law(point: Sequence[float]) -> tuple[float]:
        net, ph, hose_net, hose_ph = point
        net, hose_net = max(net, 3.0), max(hose_net, 3.0)
        ours, _ = tub.carbon(net, min(max(ph, LOWEST), HIGHEST), tub_free)
        theirs, _ = hose.carbon(hose_net, min(max(hose_ph, LOWEST), HIGHEST), hose_free)
        carbon = (1.0 - fraction) * ours + fraction * theirs
        return (tub.ph((1.0 - fraction) * net + fraction * hose_net, carbon, free, hose_ph),)

    belief.bend(("net", "ph", "hose_net", "hose_ph"), ("ph",), law, {"ph": 0.10 * fraction})
    belief.put("ph", min(max(belief.of("ph"), LOWEST), HIGHEST))


def fill(state: State, softened: float = 0.0) -> None:
    """Fill the empty tub from the hose, a share of it softened; what media did is gone."""
    belief = state.belief
    for name in ("softening", "removing"):
        belief.renew(name, 0.0, 1e-6)
    belief.renew("demand", *TUB_PRIORS["demand"])
    state.softens_per_h = state.removes_per_h = state.caught = 0.0
    replace_water(state, 1.0)
    if softened > 0.0:
        keep = 1.0 - min(softened, 1.0)
        for name in ("calcium", "magnesium"):
            was = belief.of(name)
            belief.move({name: {name: keep}}, {name: 3.0 + 0.08 * was * softened})
            belief.put(name, was * keep + 3.0 * softened)


def prefilter(state: State) -> None:
    """Take the hose's metals as unknown again: a filter now stands in it."""
    for metal in ("iron", "copper", "manganese"):
        was = state.belief.of(f"hose_{metal}")
        state.belief.renew(f"hose_{metal}", 0.2 * was, 0.3 * was + 20.0)


def two_sided(confidence: float) -> float:
    """Return how many standard deviations each side of a normal band has."""
    return NORMAL.inv_cdf(0.5 + 0.5 * confidence)
