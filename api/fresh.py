"""How long a kept answer holds, and answers made anew when a wait has ended."""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.exc import SQLAlchemyError

from api import books, due
from api.books import Desk
from api.goods import kept_procedures
from api.settings import Settings
from api.store import Store, TubSummary

HOLDS_FOR = timedelta(minutes=1)
"""How long an answer is shown again before the engine is asked anew."""
EVERY_S = 5.0
"""Most seconds between two looks for ended waits."""
WORK_S = 0.1
"""Seconds of work after which, and of rest for which, it looks whether anybody asks."""
PATIENCE_S = 10.0
"""How long it stands back at most."""
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
    return kept.due_at is not None and kept.asked_at < kept.due_at <= now


def refresh_due(store: Store, desk: Desk, seconds: float, old: bool = True) -> int:
    """Ask the engine anew for tubs whose wait has ended, for so long; return how many it was.

    With `old` the answers of long ago are asked anew, too. The engine works on what was read
    before; what somebody enters meanwhile stays the newest.
    """
    until, done = time.monotonic() + seconds, 0
    older_than = desk.now - OLD_AFTER if old else None
    with store.reading() as session:
        seen = due.to_ask(session, desk.now, older_than)
    for tub_id, asked_at in seen:
        if time.monotonic() > until:
            break
        refresh_one(store, tub_id, asked_at, desk)
        done += 1
    return done


def refresh_one(store: Store, tub_id: str, asked_at: datetime, desk: Desk) -> None:
    """Ask the engine anew for one tub, and keep the answer unless something was entered."""
    answer, trouble = None, None
    try:
        with store.reading() as session:
            events = books.log_of(session, tub_id)
        answer = books.checked_answer(events, desk)
    except ValueError as fault:
        trouble = str(fault)
    with store.writing() as session:
        books.take_turn(session, tub_id)
        now_kept = session.get(TubSummary, tub_id)
        if now_kept is not None and now_kept.asked_at == asked_at:
            books.keep_summary(session, tub_id, desk, answer, trouble)


def replay_one(store: Store, desk: Desk, known: set[str]) -> bool:
    """Replay the log of one more tub, so that its page finds it done; say whether any was left.

    The tub asked for last comes first. `known` are those replayed before.
    """
    with store.reading() as session:
        tub_id = due.asked_last(session, known)
        if tub_id is None or books.REPLAYS.is_full():
            return False
        log_of_tub = books.log_of(session, tub_id)
    known.add(tub_id)
    with contextlib.suppress(ValueError):  # its page says what is wrong
        books.checked_answer(log_of_tub, desk)
    return True


class Freshener:
    """Makes answers anew when their wait has ended, beside the service, until it is closed.

    It stands back while a request is being answered: what it does is for later.
    """

    def __init__(
        self,
        store: Store,
        settings: Settings,
        now: Callable[[], datetime],
        busy: Callable[[], bool] = lambda: False,
        chore: Callable[[], bool] = lambda: False,
    ) -> None:
        """`chore` does one more thing for a quiet moment, and says whether any was left."""
        self._store, self._settings, self._now = store, settings, now
        self._busy, self._chore = busy, chore
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._go_on, name="fresh", daemon=True)
        self._thread.start()

    def _go_on(self) -> None:
        pause, known = 1.0, set[str]()
        while not self._closed.wait(pause):
            try:
                self._stand_back()
                begun = time.monotonic()
                done = refresh_due(self._store, self._desk(), WORK_S)
                done = done or self._chore() or replay_one(self._store, self._desk(), known)
                pause = time.monotonic() - begun + WORK_S if done else self._until_next()
            except SQLAlchemyError:  # the database is away for a while; the pages say so themselves
                log.warning("the list of tubs could not be made anew", exc_info=True)
                pause = EVERY_S

    def _desk(self) -> Desk:
        return Desk(self._now(), "dipstep", kept_procedures(self._store, self._settings.home))

    def _stand_back(self) -> None:
        """Wait for a moment in which nobody asks, but not for ever."""
        until = time.monotonic() + PATIENCE_S
        while self._busy() and time.monotonic() < until and not self._closed.wait(WORK_S):
            pass

    def _until_next(self) -> float:
        """Return the seconds until a wait ends, or until the next look."""
        with self._store.reading() as session:
            ends = due.next_end(session)
        left = EVERY_S if ends is None else (ends - self._now()).total_seconds()
        return min(max(left, WORK_S), EVERY_S)

    def close(self) -> None:
        """End it, and wait for what it is just doing."""
        self._closed.set()
        self._thread.join()
