"""Products and procedures enter the books: no tub that follows them is left stranded."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy import update
from sqlalchemy.orm import Session

from api import books, goods, shelf
from api.books import Desk
from api.due import OUTDATED
from api.named import Named
from api.store import KeptFile, Store, TubSummary

RESTS_ON = ("products", "procedure")
"""Kinds that a tub's next step rests on."""


def put(
    store: Store, kind: shelf.Kind, name: str, file: Named, desk: Desk
) -> tuple[KeptFile, bool]:
    """Keep a file as the next version of its name, and say whether it is new.

    Raises ValueError when it cannot be used, or when a tub that follows it could not go on. All
    followers are asked before the books' one pen is taken; who began to follow since is asked
    under it.
    """
    asked: set[str] = set()
    if kind == "procedure":
        shelf.check(kind, file)
        with store.reading() as session:
            check_followers(session, goods.checked_name(kind, name), file, desk, asked)
    with store.writing() as session:
        kept, new = shelf.put(session, kind, name, file, desk.now, desk.by)
        if kind == "procedure" and new:
            check_followers(session, kept.name, file, desk, asked)
        if kind in RESTS_ON and new:
            outdate(session)
    return kept, new


def retire(session: Session, kind: shelf.Kind, name: str, desk: Desk) -> bool:
    """Offer a name no longer; say whether there was such a name.

    Tubs that follow a retired procedure go on with it; no other tub can choose it.
    """
    gone = shelf.retire(session, kind, name, desk.now, desk.by)
    if gone and kind == "products":
        outdate(session)
    return gone


def check_followers(session: Session, name: str, file: Named, desk: Desk, asked: set[str]) -> None:
    """Refuse a newer procedure that a tub which follows it cannot go on with.

    `asked` are the tubs that were asked before, and are so afterwards.
    """
    text = file.text()
    newest = replace(desk, find_procedure=lambda _: text)
    for tub_id in books.followers(session, name):
        if tub_id in asked:
            continue
        log = books.log_of(session, tub_id)
        try:
            books.checked_answer(log, newest)
        except ValueError as fault:
            raise ValueError(
                f"{log['tub']['name']} follows {name} and could not go on with this version "
                f"({fault}); correct it, or keep it under another name"
            ) from None
        asked.add(tub_id)


def outdate(session: Session) -> None:
    """Have every kept answer asked anew: what it rests on has changed."""
    session.execute(update(TubSummary).values(asked_at=OUTDATED))
