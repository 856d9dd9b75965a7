"""From a log's text to the answer of `dipstep next`: the joint of logs, procedures and engine."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from api.words import USUAL_CAUTIONS
from dosing.answer import as_dict
from dosing.log import Log, load_log
from dosing.next_step import answered, next_step
from dosing.procedure import Procedure, load_builtin, load_procedure
from dosing.products import Products, generic_products, load_products

if TYPE_CHECKING:
    from api.replay import Replays

FindProcedure = Callable[[str], str | None]
"""From a name in a log to the text of the shop's own procedure, or None when it is built in."""


def advise(
    text: str,
    name: str,
    at: datetime,
    find_procedure: FindProcedure,
    units: str | None = None,
    replays: Replays | None = None,
) -> tuple[dict[str, Any], str]:
    """Return the answer of formats for a log's JSON, and the tub's name.

    Parameters
    ----------
    text
        The log's JSON.
    name
        What to call it in messages, usually the file.
    at
        The moment of asking, with an offset.
    find_procedure
        Where the shop's own procedures come from.
    units
        `metric` or `us` adds `amounts` to a dose, and a sentence to its text; grams stay.
    replays
        Logs replayed before, to go on from; the answer is the same without.

    Raises
    ------
    ValueError
        One sentence: what is wrong with log, product or procedure, where, and what to do.
    """
    log, procedure, products = loaded(text, name, at, find_procedure)
    if replays is None:
        answer = as_dict(next_step(log, procedure, products, at))
    else:
        answer = as_dict(answered(replays.situation(log, procedure, products, at)))
    if units is not None:
        with_units(answer, products, units)
    return answer, log.tub.name


def with_units(answer: dict[str, Any], products: Products, units: str) -> None:
    """Add a dose's amount in other units, as the key `amounts` and as a sentence."""
    from dosing.units import amounts, as_dicts, told

    step = answer["step"]
    if step["kind"] != "dose":
        return
    found = amounts(products[step["product"]], step["amount_g"], units)
    step["amounts"] = as_dicts(found)
    step["text"] = f"{step['text']} {told(found)}".strip()


def in_units(
    answer: Mapping[str, Any], log: Mapping[str, Any], units: str | None
) -> dict[str, Any]:
    """Return an answer to a log with a dose's amount in other units too; the answer stays."""
    told = {**answer, "step": dict(answer["step"])}
    if units is not None:
        records = log.get("products")
        with_units(
            told, load_products(records, "products") if records else generic_products(), units
        )
    return told


def look_ahead(
    text: str, name: str, at: datetime, find_procedure: FindProcedure, runs: int
) -> dict[str, Any]:
    """Return what is likely to come for a log's JSON; the same log gives the same plan.

    Raises ValueError as `advise` does.
    """
    from random import Random

    from dosing import plan

    log, procedure, products = loaded(text, name, at, find_procedure)
    chance = Random(text)
    found = plan.as_dict(plan.plan(log, procedure, products, at, chance, runs))
    return {"tub": log.tub.name, **found, "cautions": list(USUAL_CAUTIONS)}


def loaded(
    text: str, name: str, at: datetime, find_procedure: FindProcedure
) -> tuple[Log, Procedure, Products]:
    """Return the log with its procedure and products."""
    log = load_log(text, name, at)
    where = f"{name}: products"
    products = load_products(log.products, where) if log.products else generic_products()
    return log, procedure_for(log.procedure, find_procedure), products


def procedure_for(name: str, find_procedure: FindProcedure) -> Procedure:
    """Return the built-in procedure of this name, or the shop's own."""
    own = find_procedure(name)
    return load_builtin(name) if own is None else _own_procedure(own, name)


@lru_cache(maxsize=16)
def _own_procedure(text: str, name: str) -> Procedure:
    """Return the checked procedure, kept for the next question."""
    return load_procedure(text, name)
