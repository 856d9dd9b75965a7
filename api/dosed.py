"""Doses keep the product they were given from: a newer version counts from then on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import goods
from api.store import KeptFile, TubVersion
from dosing.products import DEFAULT_STRENGTH_ERROR_95

ACTS = (
    *("kind", "formula", "purity", "available_chlorine", "acts_over_h", "strength_error_95"),
    *("removes_ug_per_g", "removes_mg_caco3_per_g", "removes_mg_cl2_per_g"),
)
"""Fields of a product that say what a gram of it does."""

EVER = datetime.max.replace(tzinfo=UTC)
Record = Mapping[str, Any]


@dataclass(frozen=True)
class Edition:
    """A list of products as it stood from a moment on."""

    key: str
    since: datetime | None
    """None: from the beginning."""
    by_id: Mapping[str, Record]
    until: datetime = EVER
    """A tub's own list serves until something else is said of the tub."""


def as_dosed(session: Session, tub_id: str, log: Mapping[str, Any]) -> dict[str, Any]:
    """Return the log, its doses naming products as they were when dosed.

    A product that has changed since stands a second time among the log's products, marked
    `former`: what it did is known, and it is never advised.
    """
    doses = [one for one in log["events"] if one.get("type") == "dose"]
    if not doses:
        return dict(log)
    at_hand = list(log.get("products") or goods.generic())
    now = {str(one["id"]): one for one in at_hand}
    editions = [*own_editions(session, tub_id), *shelf_editions(session)]
    former: dict[str, Record] = {}
    events = []
    for event in log["events"]:
        then = then_of(event, editions) if event.get("type") == "dose" else None
        if then is None or _acts_alike(then[1], now.get(str(event["product"]))):
            events.append(event)
            continue
        edition, record = then
        name = f"{event['product']}@{edition.key}"
        former.setdefault(name, _as_former(record, name, edition.since))
        events.append({**event, "product": name})
    if not former:
        return dict(log)
    return {**log, "products": [*at_hand, *former.values()], "events": events}


def then_of(dose: Record, editions: Sequence[Edition]) -> tuple[Edition, Record] | None:
    """Return the product of a dose as it was then, and where it stood; None when it is unknown."""
    try:
        at, name = datetime.fromisoformat(str(dose["at"])), dose["product"]
        holding = [one for one in editions if name in one.by_id]
        told = [one for one in holding if one.since is None or one.since <= at < one.until]
    except (KeyError, TypeError, ValueError):  # the engine says what is wrong with the event
        return None
    if not holding:
        return None
    edition = told[0] if told else holding[-1]
    return edition, edition.by_id[name]


def own_editions(session: Session, tub_id: str) -> Iterator[Edition]:
    """Yield the lists of the tub's own, newest first; an edition without any says nothing."""
    query = select(TubVersion.id, TubVersion.at, TubVersion.data).where(TubVersion.tub_id == tub_id)
    until = EVER
    for number, at, data in session.execute(query.order_by(TubVersion.id.desc())):
        yield Edition(f"tub{number}", at, _by_id(data.get("products") or ()), until)
        until = at


def shelf_editions(session: Session) -> Iterator[Edition]:
    """Yield the shop's lists, newest first, and at last the built-in products."""
    query = select(KeptFile.id, KeptFile.added_at, KeptFile.facts).where(
        KeptFile.kind == "products"
    )
    for number, added_at, facts in session.execute(query.order_by(KeptFile.id.desc())):
        yield Edition(str(number), added_at, _by_id(facts["products"]))
    yield Edition("built-in", None, _by_id(goods.generic()))


def _by_id(records: Sequence[Record]) -> Mapping[str, Record]:
    return {str(one["id"]): one for one in records}


def _acts_alike(then: Record, now: Record | None) -> bool:
    """Say whether a gram of both does the same."""
    usual = {"strength_error_95": DEFAULT_STRENGTH_ERROR_95}
    return now is not None and all(
        then.get(key, usual.get(key)) == now.get(key, usual.get(key)) for key in ACTS
    )


def _as_former(record: Record, name: str, since: datetime | None) -> Record:
    told = "as built in" if since is None else f"as of {since:%d %b %Y}"
    label = f"{record.get('name') or record['id']}, {told}"
    return {**record, "id": name, "name": label, "former": True}
