"""How the water moves by itself: chlorine eaten and made, carbon dioxide lost, media at work."""

from __future__ import annotations

import math
from collections.abc import Sequence
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
SMALL_EXPONENT: Final = 0.08
"""Up to this share of excess CO2 lost, nor does that of pH."""
CHLORINE_INPUTS: Final = ("free", "demand", "decay", "eats", "organics", "yield")
BREATH_INPUTS: Final = ("net", "ph", "still", "jets")


def advance(state: State, hours: float, jets_h: float = 0.0) -> None:
    """Let the water stand for some hours, `jets_h` of them with the jets on.

    The jets of a dose just given run on their own and need not be told.
    """
    if hours <= 0.0:
        return
    hours = min(hours, LONGEST_PIECE_H)
    jets_h = min(max(jets_h, state.jets_left_h), hours)
    state.jets_left_h = max(state.jets_left_h - hours, 0.0)
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
    days = hours / 24.0
    free = belief.of("free")
    noise = {
        "free": 0.02 * min(1.0, days) * free + 0.01 * math.sqrt(days),
        "demand": 0.04 * math.sqrt(min(days, 30.0)),
    }
    eaten = math.exp(belief.of("eats")) * free * belief.of("demand") * hours
    move = belief.bend if hours > SHORT_H or eaten > SMALL_LOSS_MG_L else belief.lean
    move(inputs, ("free", "demand"), law, noise)
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
        free, demand = free * keep + adds, demand + grows
        free, demand = _react(free, demand, 0.5 * eats * piece)
    return free, demand


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
    now = belief.of("free")
    stirred = GENERATOR_STIRS_PER_H * state.output

    quiet_h = hours - jets_h

    def law(point: Sequence[float]) -> tuple[float]:
        net, ph = max(point[0], 3.0), min(max(point[1], LOWEST), HIGHEST)
        exponent = (math.exp(min(point[2], 2.0)) + stirred) * quiet_h
        if jets_h > 0.0:
            exponent += math.exp(min(point[3], 3.0)) * jets_h
        return (ph_after_loss(buffer, net, ph, (chlorine_before, now), exponent),)

    days = hours / 24.0
    unknown = 0.015 * min(hours, 1.0) + 0.025 * math.sqrt(min(days, 9.0))
    likely = math.exp(belief.of("still")) * quiet_h + math.exp(belief.of("jets")) * jets_h
    move = belief.bend if likely > SMALL_EXPONENT else belief.lean
    inputs = BREATH_INPUTS if jets_h > 0.0 else BREATH_INPUTS[:-1]
    before = belief.of("ph")
    move(inputs, ("ph",), law, {"ph": unknown})
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
    rates = {name: sd for name, sd in RATES_DRIFT_PER_DAY.items() if belief.sd(name) < WIDEST_RATE}
    names = (*DRIFT_PER_DAY, *rates)
    fixed = [fixed for fixed, _ in DRIFT_PER_DAY.values()] + list(rates.values())
    share = [share for _, share in DRIFT_PER_DAY.values()] + [0.0] * len(rates)
    return belief.places(names), np.array(fixed), np.array(share)
