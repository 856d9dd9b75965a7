"""From a log's text to the answer of `dipstep next`: the joint of logs, procedures and engine."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from dosing.answer import as_dict
from dosing.log import load_log
from dosing.next_step import next_step
from dosing.procedure import Procedure, load_builtin, load_procedure
from dosing.products import generic_products, load_products

FindProcedure = Callable[[str], str | None]
"""From a name in a log to the text of the shop's own procedure, or None when it is built in."""


def advise(
    text: str, name: str, at: datetime, find_procedure: FindProcedure
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

    Raises
    ------
    ValueError
        One sentence: what is wrong with log, product or procedure, where, and what to do.
    """
    log = load_log(text, name, at)
    procedure = procedure_for(log.procedure, find_procedure)
    products = (
        load_products(log.products, f"{name}: products") if log.products else generic_products()
    )
    return as_dict(next_step(log, procedure, products, at)), log.tub.name


def procedure_for(name: str, find_procedure: FindProcedure) -> Procedure:
    """Return the built-in procedure of this name, or the shop's own."""
    own = find_procedure(name)
    return load_builtin(name) if own is None else load_procedure(own, name)
