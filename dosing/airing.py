"""Jets with the air open: what lifts the pH without any product."""

from __future__ import annotations

from datetime import datetime, timedelta

from dosing import texts
from dosing.course import numbered
from dosing.measuring import expected, measure
from dosing.procedure import Gate, Hold
from dosing.procedure_file import hours
from dosing.situation import Situation
from dosing.steps import Todo

AIR_ENOUGH_PH = 6.6
"""Below this the pH is raised with a base: air alone takes too long (common practice)."""

SHORT_AIR_H = (1.0, 1.5)
"""Shorter spells of air that are tried before the procedure's own [h]."""

AIR_RISE = 0.05
"""pH that jets and air must have gained since the last reading, or a base takes over."""


def air(now: Situation, gate: Gate | Hold) -> Todo | None:
    """Raise the pH with jets and air, as long as that works."""
    standing = now.standing(gate)
    last, earlier = standing.last, standing.earlier
    if not isinstance(gate, Gate) or gate.air is None or last is None or standing.at is None:
        return None
    if last.value < AIR_ENOUGH_PH:
        return None
    ends = standing.at + timedelta(hours=_enough_air(now, gate, hours(gate.air)))
    if ends <= now.at:
        return measure(now, gate, "Jets and air have run: see what the pH has gained.")
    stalled = (
        earlier is not None
        and timedelta(hours=1) < last.at - earlier.at < timedelta(hours=12)
        and last.value - earlier.value < AIR_RISE
        and last.value < 7.2
        and not any(earlier.at <= dose.at <= last.at for dose in now.history.doses_of("acid"))
    )
    if stalled:
        return None
    return air_step(now, gate, ends, texts.judged(gate, now.state(gate)))


def _enough_air(now: Situation, gate: Gate, most: float) -> float:
    """Return the hours of air that bring the pH to its aim; more would call for acid again."""
    aim = gate.aim_up.value if gate.aim_up else None
    read = now.history.water_at_last_event  # not the water now: a wait once told must stand
    for short in SHORT_AIR_H:
        if aim and short < most and read.later(short, aerated=True).value("ph") >= aim:
            return short
    return most


def air_first(now: Situation, gate: Gate | Hold) -> Todo:
    """The alkalinity is too high but the pH leaves no room for acid: let air raise it."""
    standing = now.standing(gate)
    rest = hours(gate.air) if isinstance(gate, Gate) and gate.air else 3.0
    ends = (standing.at or now.at) + timedelta(hours=rest)
    reason = "The pH leaves no room for more acid: jets and air drive carbon dioxide out first."
    if ends <= now.at:
        return measure(now, gate, "Jets and air have run: see what the pH has gained.")
    return air_step(now, gate, ends, reason)


def air_step(now: Situation, gate: Gate | Hold, ends: datetime, reason: str) -> Todo:
    """Return a wait with jets and air on."""
    return Todo(
        numbered(f"wait_aerate_{gate.id}", 1 + len(now.history.doses) + now.history.readings),
        "wait",
        "Run the jets with the air fully open, cover off, until then: carbon dioxide leaves and "
        "the pH rises without any product.",
        action="aerate",
        not_before=ends,
        analytes=("ph",),
        expect=expected(now, ("ph", "total_alkalinity"), ends, aerated=True),
        why=(reason,),
    )
