"""What returns by the clock: filters to clean, cell and sensor to look at, the water to change."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

from dosing.course import numbered
from dosing.log import Dose, ReplacedWater
from dosing.procedure import Confirm, Limit
from dosing.procedure_file import hours
from dosing.situation import Situation
from dosing.steps import Todo

SOLIDS_FROM: Mapping[str, float] = {
    "bicarbonate": 1.0,
    "base_carbonate": 1.0,
    "calcium": 1.0,
    "acid": 1.0,
    "chlorinating": 1.65,
    "dechlorinating": 1.0,
}
"""Mass of dissolved solids that a unit mass of the pure product leaves; for chlorine as Cl2 it is
that of the common salt it ends as, 116.88 / 70.90. The salt of a generator belongs to the start
and is not counted (common practice)."""

SHORTEST_RATE_D = 14.0
"""Days of a log before a rate of dissolved solids is told from it."""


def after_dose(now: Situation, step: Confirm, confirm: Todo) -> Todo | None:
    """Cleaning that follows a treatment, a day apart, so many times."""
    doses = now.history.doses_of(step.after_dose)
    if not doses or step.times is None or step.rest is None:
        return None
    since = [when for when in now.history.times_done(step.id) if when > doses[-1].at]
    if len(since) >= step.times.value:
        return None
    due = max([doses[-1].at, *since]) + timedelta(hours=hours(step.rest))
    if due <= now.at:
        return confirm
    return Todo(
        numbered(f"wait_{step.id}", 1 + len(now.history.times_done(step.id))),
        "wait",
        "Let the filter collect, pump running; it is cleaned when the time is over.",
        not_before=due,
        why=(f"After a treatment the filter is cleaned daily, {step.times.value:g} times.",),
    )


def returning(now: Situation, step: Confirm, confirm: Todo) -> Todo | None:
    """Upkeep: something a person does every so many days, or sooner by use."""
    if step.every is None:
        return None
    last = now.history.last_done(step.id)
    begun = last or now.history.began
    due, because = _soonest(now, step, step.every, begun)
    since = f"Last done {now.offset(last)}." if last else f"Counted from {now.offset(begun)}."
    if due <= now.at:
        return Todo(**{**vars(confirm), "why": (because, since, *confirm.why)})
    return Todo(
        numbered(f"wait_{step.id}", 1 + len(now.history.times_done(step.id))),
        "wait",
        f"Nothing is due now. Next: {step.text}",
        not_before=due,
        why=(because, since),
    )


def _soonest(now: Situation, step: Confirm, every: Limit, begun: datetime) -> tuple[datetime, str]:
    """Return when it is due, and the reason that makes it so."""
    days = hours(every) / 24.0
    found = [(days, f"It returns every {days:g} days.")]
    bathers = now.log.tub.bathers_per_day
    if step.litres_each is not None and bathers:
        lasts = now.water.volume_l / step.litres_each.value / bathers
        found.append(
            (
                lasts,
                f"With {bathers:g} bathers a day this water lasts {lasts:.0f} days: "
                f"{now.water.volume_l:,.0f} L, {step.litres_each.value:g} L for each bather.",
            )
        )
    if step.solids is not None:
        found += _by_solids(now, step.solids, begun)
    lasts, because = min(found, key=lambda one: one[0])
    due = begun + timedelta(days=lasts)
    return due.replace(minute=0, second=0, microsecond=0), because


def _by_solids(now: Situation, solids: Limit, begun: datetime) -> list[tuple[float, str]]:
    """Return after how many days the dissolved solids will have risen by the limit."""
    events = now.log.events
    known = ((events[-1].at if events else now.at) - begun).total_seconds() / 86400.0
    risen = dissolved_since(now, begun)
    if risen < solids.value and (known < SHORTEST_RATE_D or risen <= 0.0):
        return []
    lasts = known * solids.value / risen
    return [
        (
            lasts,
            f"The products given have brought about {risen:.0f} mg/L of dissolved solids so far; "
            f"at {solids.value:g} mg/L over the start the water is changed.",
        )
    ]


def dissolved_since(now: Situation, begun: datetime) -> float:
    """Return the dissolved solids that products have brought since a moment [mg/L].

    Water replaced takes its share along.
    """
    volume_m3 = now.water.volume_l / 1000.0
    happened: list[Dose | ReplacedWater] = [*now.history.doses, *now.history.replaced]
    risen = 0.0
    for one in sorted(happened, key=lambda one: one.at):
        if one.at < begun:
            continue
        if isinstance(one, ReplacedWater):
            risen *= 1.0 - one.fraction
            continue
        product = now.history.product(one)
        pure = product.purity or product.available_chlorine or 1.0
        risen += SOLIDS_FROM.get(product.kind, 0.0) * pure * one.amount_g / volume_m3
    return risen
