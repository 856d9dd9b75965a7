"""How long a kept answer holds, and answers made anew when a wait has ended."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlalchemy.exc import SQLAlchemyError

from api import books
from api.books import Desk
from api.goods import kept_procedures
from api.settings import Settings
from api.store import Store, TubSummary

HOLDS_FOR = timedelta(minutes=1)
"""How long an answer is shown again before the engine is asked anew."""
EVERY_S = 30.0
"""Seconds between two looks for ended waits."""
OLD_AFTER = timedelta(hours=6)
"""Age from which the list's answer is asked anew though nothing was waited for."""

log = logging.getLogger("dipstep.service")


def fresh_answer(kept: TubSummary | None, now: datetime) -> dict[str, Any] | None:
    """Return the kept answer while it still holds: asked just now, and no wait has ended since.

    Every write keeps a new answer with it, so that a kept one always belongs to the log.
    """
    if kept is None or kept.answer is None or not timedelta(0) <= now - kept.asked_at < HOLDS_FOR:
        return None
    return None if wait_ended(kept, now) else kept.answer


def wait_ended(kept: TubSummary, now: datetime) -> bool:
    """Say whether a moment that the kept answer waits for has come since it was given."""
    due = kept.answer["step"]["not_before"] if kept.answer else None
    return due is not None and kept.asked_at < datetime.fromisoformat(due) <= now


def refresh_due(store: Store, desk: Desk, seconds: float) -> int:
    """Ask the engine anew for tubs whose wait has ended, for so long; return how many it was.

    The engine works on what was read before; what somebody enters meanwhile stays the newest.
    """
    until, done = time.monotonic() + seconds, 0
    with store.reading() as session:
        kept = session.scalars(select(TubSummary)).all()
    due = [one for one in kept if wait_ended(one, desk.now)]
    due += [one for one in kept if one not in due and desk.now - one.asked_at > OLD_AFTER]
    for seen in due:
        if time.monotonic() > until:
            break
        refresh_one(store, seen, desk)
        done += 1
    return done


def refresh_one(store: Store, seen: TubSummary, desk: Desk) -> None:
    """Ask the engine anew for one tub, and keep the answer unless something was entered."""
    answer, trouble = None, None
    try:
        with store.reading() as session:
            events = books.log_of(session, seen.tub_id)
        answer = books.checked_answer(events, desk)
    except ValueError as fault:
        trouble = str(fault)
    with store.writing() as session:
        now_kept = session.get(TubSummary, seen.tub_id)
        if now_kept is not None and now_kept.asked_at == seen.asked_at:
            books.keep_summary(session, seen.tub_id, desk, answer, trouble)


class Freshener:
    """Looks for ended waits now and then, beside the service, until it is closed."""

    def __init__(self, store: Store, settings: Settings, now: Callable[[], datetime]) -> None:
        self._store, self._settings, self._now = store, settings, now
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._go_on, name="fresh", daemon=True)
        self._thread.start()

    def _go_on(self) -> None:
        while not self._closed.wait(EVERY_S):
            desk = Desk(self._now(), "dipstep", kept_procedures(self._store, self._settings.home))
            try:
                refresh_due(self._store, desk, EVERY_S / 10)
            except SQLAlchemyError:  # the database is away for a while; the pages say so themselves
                log.warning("the list of tubs could not be made anew", exc_info=True)

    def close(self) -> None:
        """End it, and wait for what it is just doing."""
        self._closed.set()
        self._thread.join()
