"""How the water moves by itself: chlorine eaten and made, carbon dioxide lost, media at work."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from dosing.belief import Belief, Floats
from dosing.buffer import HIGHEST, LOWEST, Buffer
from dosing.constants import SALT_PER_CHLORINE
from dosing.state import State

DRIFT_PER_DAY: Final = {
    # Standard deviation after a day of what no law foretells: a fixed part and a share.
    "net": (1.0, 0.005),
    "calcium": (0.5, 0.005),
    "magnesium": (0.5, 0.01),
    "salt": (2.0, 0.004),
    "cyanuric_acid": (0.1, 0.01),
    "phosphate": (3.0, 0.03),
    "combined": (0.05, 0.0),
    "bromine": (0.2, 0.25),
    "iron": (2.0, 0.05),
    "copper": (2.0, 0.05),
    "manganese": (0.5, 0.05),
}
"""Common practice, no source."""
RATES_DRIFT_PER_DAY: Final = {
    **{"decay": 0.02, "organics": 0.06, "yield": 0.12, "still": 0.08, "jets": 0.05},
}
"""How far the ln of a rate wanders in a day (standard deviation)."""
WIDEST_RATE: Final = 1.2
"""Spread of the ln of a rate beyond which it wanders no further."""
LONGEST_PIECE_H: Final = 400.0 * 24.0
"""Beyond, nothing more is learned from waiting [h]."""
GENERATOR_STIRS_PER_H: Final = 0.003
"""Loss of excess CO2 by the cell's gas and its pump at full output [1/h]; common practice."""


SHORT_H: Final = 6.0
"""Up to here chlorine's course bends too little to need sigma points [h]."""
SMALL_LOSS_MG_L: Final = 0.03
"""Chlorine eaten in a step up to which, too, slopes will do."""
LOSS_ERROR: Final = 0.12
"""What the law of the carbon dioxide's loss does not know, as a share of the change of pH."""
JETS_VARY: Final = 0.12
"""How far the ln of the jets' rate wanders in an hour of them: air valves, nozzles, covers."""
MOST_DEMAND_MG_L: Final = 12.0
"""Demand beyond which water without chlorine gathers no more: what lives there feeds on the rest.
Common practice, no source: a tub laid by for months wants two or three shocks, not twenty."""
SMALL_EXPONENT: Final = 0.08
"""Up to this share of excess CO2 lost, nor does that of pH."""
CHLORINE_INPUTS: Final = ("free", "demand", "decay", "eats", "organics", "yield")
BREATH_INPUTS: Final = ("net", "ph", "still", "jets")
SAME_WATER_H: Final = 0.25
"""Readings closer than this are of the same water [h] (common practice)."""


def advance(state: State, hours: float, jets_h: float = 0.0) -> None:
    """Let the water stand for some hours, `jets_h` of them with the jets on.

    The jets of a dose just given run on their own and need not be told.
    """
    if hours <= 0.0:
        return
    hours = min(hours, LONGEST_PIECE_H)
    jets_h = min(max(jets_h, state.jets_left_h), hours)
    state.jets_left_h = max(state.jets_left_h - hours, 0.0)
    ages = ((analyte, age + hours) for analyte, age in state.read_h.items())
    state.read_h = {analyte: age for analyte, age in ages if age < SAME_WATER_H}
    before = state.belief.of("free")
    _chlorine(state, hours)
    # Used chlorine ends as chloride, and the cell takes its chlorine from there.
    used = before - state.belief.of("free")
    state.belief.put("salt", state.belief.of("salt") + SALT_PER_CHLORINE * used)
    _breathe(state, hours, jets_h, before)
    _media(state, hours)
    _wander(state, hours)


def _chlorine(state: State, hours: float) -> None:
    """Chlorine and demand after some hours, with what is not known of the rates."""
    output = state.output
    belief = state.belief

    def law(point: Sequence[float]) -> tuple[float, float]:
        return chlorine_after(point, hours, output)

    inputs = CHLORINE_INPUTS if output > 0.0 else CHLORINE_INPUTS[:-1]
    outputs = CHLORINE_INPUTS[:2]
    days = hours / 24.0
    free = belief.of("free")
    noise = {
        "free": 0.02 * min(1.0, days) * free + 0.01 * math.sqrt(days),
        "demand": 0.04 * math.sqrt(min(days, 30.0)),
    }
    eaten = math.exp(belief.of("eats")) * free * belief.of("demand") * hours
    if hours > SHORT_H or eaten > SMALL_LOSS_MG_L:
        belief.bend(inputs, outputs, law, noise)
    else:
        point = [belief.of(name) for name in inputs]
        belief.follow(inputs, outputs, *chlorine_slopes(point, hours, output), noise)
    state.hold_positive()


def chlorine_after(point: Sequence[float], hours: float, output: float) -> tuple[float, float]:
    """Return free chlorine and demand after some hours [mg/L].

    Parameters
    ----------
    point
        Free chlorine, demand [mg/L]; ln of decay [1/day], of eating [1/(mg/L h)], of new demand
        [mg/L a day] and, when it runs, of the generator's yield at full output [mg/L a day].

    Notes
    -----
    Chlorine and demand react one to one at a rate of both (second order, as chlorine's decay in
    water is often fitted); besides, chlorine decays at a rate of its own and the generator makes
    it. Halves of the reaction stand before and after the rest, in pieces of at most three hours.
    """
    free, demand = max(point[0], 0.0), max(point[1], 0.0)
    decay = math.exp(min(point[2], 6.0))
    eats = math.exp(min(point[3], 6.0))
    organics = math.exp(min(point[4], 6.0))
    made = math.exp(min(point[5], 6.0)) if output > 0.0 else 0.0
    pieces = min(max(math.ceil(hours / 3.0), 1), 16)
    piece = hours / pieces
    keep = math.exp(-decay * piece / 24.0)
    adds = output * made / decay * (1.0 - keep)
    grows = organics * piece / 24.0
    for _ in range(pieces):
        free, demand = _react(free, demand, 0.5 * eats * piece)
        free, demand = free * keep + adds, _grown(demand, grows)
        free, demand = _react(free, demand, 0.5 * eats * piece)
    return free, demand


def _grown(demand: float, by: float) -> float:
    return min(demand + by, max(demand, MOST_DEMAND_MG_L))


def chlorine_slopes(
    point: Sequence[float], hours: float, output: float
) -> tuple[tuple[float, float], tuple[list[float], list[float]]]:
    """Return what `chlorine_after` does, with the slopes of both results over the point's values.

    Followed by the chain rule, for rates below the caps there.
    """
    free, demand = max(point[0], 0.0), max(point[1], 0.0)
    decay, eats, organics = (math.exp(min(rate, 6.0)) for rate in point[2:5])
    made = math.exp(min(point[5], 6.0)) if output > 0.0 else 0.0
    pieces = min(max(math.ceil(hours / 3.0), 1), 16)
    piece = hours / pieces
    keep = math.exp(-decay * piece / 24.0)
    level, fades = output * made / decay, -decay * piece / 24.0 * keep
    adds, grows, half = level * (1.0 - keep), organics * piece / 24.0, 0.5 * eats * piece
    by_free = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    by_demand = [0.0, 1.0, 0.0, 0.0, 0.0, 0.0]
    for _ in range(pieces):
        free, demand = _react_along(free, demand, half, by_free, by_demand)
        by_free = [keep * slope for slope in by_free]
        by_free[2] += fades * (free - level) - adds
        by_free[5] += adds
        by_demand[4] += grows
        free, demand = free * keep + adds, _grown(demand, grows)
        free, demand = _react_along(free, demand, half, by_free, by_demand)
    count = len(point)
    return (free, demand), (by_free[:count], by_demand[:count])


EATS: Final = CHLORINE_INPUTS.index("eats")


def _react_along(
    free: float, demand: float, time: float, by_free: list[float], by_demand: list[float]
) -> tuple[float, float]:
    """React, and carry the slopes of chlorine and demand along; `time` goes with `eats`."""
    left, rest = _react(free, demand, time)
    own, other = _react_slopes(free, demand, time)
    for place, (first, second) in enumerate(zip(by_free, by_demand, strict=True)):
        moved = own * first + other * second
        by_free[place], by_demand[place] = moved, moved - first + second
    by_free[EATS] -= left * rest * time
    by_demand[EATS] -= left * rest * time
    return left, rest


def _react_slopes(free: float, demand: float, time: float) -> tuple[float, float]:
    """Return how the chlorine left goes with the chlorine and the demand before."""
    gap = free - demand
    if abs(gap) * time < 1e-3:  # to the first order in what is left of the gap
        bottom = 1.0 + demand * time - 0.5 * demand * gap * time * time
        curve = 0.5 * demand * time * time
        own = 1.0 / bottom + free * curve / bottom**2
        return own, -free * (time - 0.5 * gap * time * time + curve) / bottom**2
    fade = math.exp(-min(abs(gap) * time, 700.0))
    if gap > 0.0:
        bottom, bent = free - demand * fade, demand * time * fade
        own = ((free + gap) * bottom - gap * free * (1.0 + bent)) / bottom**2
        return own, (gap * free * (fade + bent) - free * bottom) / bottom**2
    bottom, bent = demand - free * fade, free * time * fade
    own = (free * gap * time + gap + free) * bottom + free * gap * (fade + bent)
    other = (1.0 + gap * time) * bottom + gap * (1.0 + bent)
    return -fade * own / bottom**2, free * fade * other / bottom**2


def _react(free: float, demand: float, time: float) -> tuple[float, float]:
    """Second-order reaction, one to one, in closed form; `time` is rate times time."""
    gap = free - demand
    if abs(gap) * time < 1e-6:
        left = 1.0 / (1.0 + free * time)
        return free * left, demand * left
    if gap > 0.0:
        fade = math.exp(-min(gap * time, 700.0))
        demand = demand * gap * fade / (free - demand * fade)
        return demand + gap, demand
    fade = math.exp(-min(-gap * time, 700.0))
    free = free * -gap * fade / (demand - free * fade)
    return free, free - gap


def _breathe(state: State, hours: float, jets_h: float, chlorine_before: float) -> None:
    """Move the pH: carbon dioxide was lost to the air and chlorine has changed."""
    belief = state.belief
    buffer = state.buffer()
    chlorine = chlorine_before, belief.of("free")
    stirred = GENERATOR_STIRS_PER_H * state.output
    quiet_h = hours - jets_h

    def law(point: Sequence[float]) -> tuple[float]:
        net, ph = max(point[0], 3.0), min(max(point[1], LOWEST), HIGHEST)
        exponent = (math.exp(min(point[2], 2.0)) + stirred) * quiet_h
        if jets_h > 0.0:
            exponent += math.exp(min(point[3], 3.0)) * jets_h
        return (ph_after_loss(buffer, net, ph, chlorine, exponent),)

    days = hours / 24.0
    unknown = 0.015 * min(hours, 1.0) + 0.025 * math.sqrt(min(days, 9.0))
    by_still = math.exp(min(belief.of("still"), 2.0)) * quiet_h
    by_jets = math.exp(min(belief.of("jets"), 3.0)) * jets_h
    inputs = BREATH_INPUTS if jets_h > 0.0 else BREATH_INPUTS[:-1]
    before = belief.of("ph")
    if by_still + by_jets > SMALL_EXPONENT:
        belief.bend(inputs, ("ph",), law, {"ph": unknown})
    else:
        net, ph = max(belief.of("net"), 3.0), min(max(before, LOWEST), HIGHEST)
        exponent = by_still + by_jets + stirred * quiet_h
        after, by_net, by_ph, by_loss = ph_slopes(buffer, net, ph, chlorine, exponent)
        slopes = by_net, by_ph, by_loss * by_still, by_loss * by_jets
        belief.follow(inputs, ("ph",), (after,), (slopes[: len(inputs)],), {"ph": unknown})
    belief.shake("ph", LOSS_ERROR * abs(belief.of("ph") - before))
    belief.shake("jets", JETS_VARY * math.sqrt(min(jets_h, 4.0)))
    belief.put("ph", min(max(belief.of("ph"), LOWEST), HIGHEST))


def ph_after_loss(
    buffer: Buffer, net: float, ph: float, chlorine: tuple[float, float], exponent: float
) -> float:
    """Return the pH after `exponent` (rate times hours) of carbon dioxide's loss to the air.

    `chlorine` is the free chlorine before and after [mg/L]. Excess carbon dioxide fades as
    exp(-exponent) while bicarbonate makes more of it: followed in pieces.
    """
    before, now = chlorine
    carbon, co2 = buffer.carbon(net, ph, before)
    pieces = min(max(math.ceil(exponent / 0.15), 1), 12)
    share = 1.0 - math.exp(-exponent / pieces)
    for _ in range(pieces - 1):
        carbon -= (co2 - buffer.air_co2) * share
        ph = buffer.ph(net, carbon, before, ph)
        co2 = buffer.carbon(net, ph, before)[1]
    carbon -= (co2 - buffer.air_co2) * share
    return buffer.ph(net, carbon, now, ph)


def ph_slopes(
    buffer: Buffer, net: float, ph: float, chlorine: tuple[float, float], exponent: float
) -> tuple[float, float, float, float]:
    """Return what `ph_after_loss` does for a small exponent, and its slopes.

    Over net alkalinity, pH and exponent; of the water whose carbon is left (implicit function).
    """
    old = buffer.slopes(net, ph, chlorine[0])
    share = 1.0 - math.exp(-exponent)
    excess = old.co2 - buffer.air_co2
    after = buffer.ph(net, old.carbon - excess * share, chlorine[1], ph)
    new = buffer.slopes(net, after, chlorine[1])
    by_net = old.carbon_by_net - share * old.co2_by_net - new.carbon_by_net
    by_ph = old.carbon_by_ph - share * old.co2_by_ph
    per_carbon = 1.0 / new.carbon_by_ph
    return after, by_net * per_carbon, by_ph * per_carbon, -excess * (1.0 - share) * per_carbon


def _media(state: State, hours: float) -> None:
    """Let the softening medium and the phosphate remover work."""
    belief = state.belief
    for entry, target, rate in (
        ("softening", "calcium", state.softens_per_h),
        ("removing", "phosphate", state.removes_per_h),
    ):
        pending = belief.of(entry)
        if pending <= 1e-6 or rate <= 0.0:
            continue
        share = 1.0 - math.exp(-rate * hours)
        _take(state, entry, target, share)


def _take(state: State, entry: str, target: str, share: float) -> None:
    """Move a share of what is pending out of the water; an empty water gives nothing."""
    belief = state.belief
    pending, there = belief.of(entry), belief.of(target)
    wanted = share * pending
    taken = min(wanted, 0.97 * there)
    left = pending - wanted
    noise = {target: 0.06 * taken + 0.20 * (1.0 - share) * share * pending, entry: 0.0}
    reach = 1.0 if taken == wanted else 0.15
    belief.move(
        {target: {target: reach, entry: -share * reach}, entry: {entry: 1.0 - share}},
        noise,
    )
    belief.put(target, there - taken)
    belief.put(entry, left)
    if target == "phosphate":
        state.caught += taken


def _wander(state: State, hours: float) -> None:
    """Widen what drifts."""
    belief = state.belief
    days = hours / 24.0
    places, fixed, share = _drifts(belief)
    belief.shake_all(places, math.sqrt(days) * (fixed + share * belief.mean[places]))
    if state.caught > 0.0:
        back = state.caught * (1.0 - math.exp(-0.05 * days))
        belief.put("phosphate", belief.of("phosphate") + back)
        belief.shake("phosphate", 0.6 * back)
        state.caught -= back


def _drifts(belief: Belief) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Return places, fixed parts and shares of what drifts; rates too wide already are left out."""
    wide = tuple(name for name in RATES_DRIFT_PER_DAY if belief.sd(name) >= WIDEST_RATE)
    names, fixed, share = _without(wide)
    return belief.places(names), fixed, share


@lru_cache(maxsize=32)
def _without(wide: tuple[str, ...]) -> tuple[tuple[str, ...], Floats, Floats]:
    """Return names, fixed parts and shares of what drifts, but for rates too wide."""
    rates = {name: (sd, 0.0) for name, sd in RATES_DRIFT_PER_DAY.items() if name not in wide}
    drifts = {**DRIFT_PER_DAY, **rates}
    fixed, share = zip(*drifts.values(), strict=True)
    return tuple(drifts), np.array(fixed), np.array(share)
