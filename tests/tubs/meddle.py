"""What customers and helpers do behind the technician's back; each is entered in the log."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from tests.tubs.technician import Technician

FOREIGN: tuple[dict[str, Any], ...] = (
    {"id": "bromine-1", "kind": "bromine"},
    {"id": "silver-1", "kind": "silver"},
    {"id": "oxidizer-1", "kind": "monopersulfate"},
)


class Once:
    """Does one thing once, when its time has come."""

    def __init__(self, act: Callable[[Technician], None], ready: Callable[[Technician], bool]):
        self.act, self.ready, self.over = act, ready, False

    def __call__(self, technician: Technician) -> None:
        if not self.over and technician.tub.filled and self.ready(technician):
            self.over = True
            self.act(technician)
            technician.record.trace.append("      (meddled)")


def uses(product: str, grams: float) -> Callable[[Technician], None]:
    """A product that must not be in this water, or one given without being asked."""

    def act(technician: Technician) -> None:
        record = technician.products[product]
        technician.tub.add(record, grams)
        technician.watch.given_by_others(record["kind"])
        technician.enter(type="dose", product=product, amount_g=grams)

    return act


def replaces(share: float) -> Callable[[Technician], None]:
    """The owner lets out some water and tops it up."""

    def act(technician: Technician) -> None:
        technician.tub.replace(share)
        technician.enter(type="replaced_water", fraction=share)

    return act


def away(days: float) -> Callable[[Technician], None]:
    """Nobody comes for some days."""
    return lambda technician: technician.pass_minutes(days * 1440)


def after_days(days: float) -> Callable[[Technician], bool]:
    return lambda technician: technician.days > days


def at_output(technician: Technician) -> bool:
    """The generator has been switched on."""
    return technician.tub.output > 0


def after_salt(technician: Technician) -> bool:
    return technician.watch.salted


SCENARIOS: Mapping[str, Callable[[], Once]] = {
    "bromine": lambda: Once(uses("bromine-1", 50.0), after_salt),
    "silver": lambda: Once(uses("silver-1", 20.0), at_output),
    "monopersulfate": lambda: Once(uses("oxidizer-1", 40.0), at_output),
    "replaced": lambda: Once(replaces(0.3), after_salt),
    "replaced_late": lambda: Once(replaces(0.4), at_output),
    "extra_salt": lambda: Once(uses("salt-1", 400.0), after_salt),
    "away_early": lambda: Once(away(3.0), after_days(0.2)),
    "away_late": lambda: Once(away(4.0), at_output),
}
