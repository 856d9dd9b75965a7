"""Logs replayed before, kept so that a later question goes on where they ended."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import replace
from datetime import datetime

from dosing.history import REMEMBERS
from dosing.log import Log
from dosing.procedure import Procedure
from dosing.products import Products
from dosing.situation import Situation

MOST_EVENTS = 120_000
"""Events in all the logs that are kept in memory: some 90 MB, 600 tubs of 200 events."""


class Replays:
    """The newest replayed logs. Answers are the same with and without; only the time differs."""

    def __init__(self, most_events: int = MOST_EVENTS) -> None:
        self._most = most_events
        self._events = 0
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, Situation] = OrderedDict()

    def situation(
        self, log: Log, procedure: Procedure, products: Products, at: datetime
    ) -> Situation:
        """Return the tub at the moment of asking, as if its log had been replayed from the start.

        Raises `LogError` as the replay does; nothing is kept then.
        """
        key = _key(log)
        with self._lock:
            kept = self._kept.get(key)
            if kept is not None:
                self._kept.move_to_end(key)
        if kept is None or not goes_on(kept, log, procedure):
            kept = Situation(log, procedure, products, at)
            self._keep(key, kept)
        elif len(kept.log.events) < len(log.events):
            kept = kept.grown(log, at)
            self._keep(key, kept)
        # A log that is another object is copied with all that is known of it: what the engine
        # notes on its way stays out of the kept one, which others may be asking meanwhile.
        return kept.grown(replace(log), at)

    def _keep(self, key: Hashable, now: Situation) -> None:
        with self._lock:
            before = self._kept.pop(key, None)
            self._kept[key] = now
            self._events += _size(now) - (_size(before) if before else 0)
            while self._events > self._most and len(self._kept) > 1:
                self._events -= _size(self._kept.popitem(last=False)[1])

    def is_full(self) -> bool:
        """Say whether another log would push one out."""
        return self._events > 0.9 * self._most

    def __len__(self) -> int:
        return len(self._kept)


def _size(now: Situation) -> int:
    """Return what a kept log weighs, in events; an empty one is not for nothing."""
    return len(now.log.events) + 10


def _key(log: Log) -> Hashable:
    """Return what a tub's log keeps from its first event on."""
    return repr(log.tub), log.procedure, repr(log.products), repr(log.events[:1])


def goes_on(kept: Situation, log: Log, procedure: Procedure) -> bool:
    """Say whether a log is a kept one, or that one with later events at its end.

    A log so long that the belief forgets its beginning is replayed when something is added.
    """
    before, count = kept.log, len(kept.log.events)
    if not (before.tub == log.tub and before.cautions == log.cautions and count):
        return False
    if kept.procedure is not procedure and kept.procedure != procedure:
        return False
    if before.products != log.products or count > len(log.events):
        return False
    if count < len(log.events) and len(log.events) > REMEMBERS:
        return False
    return all(
        old == new and old.place == new.place
        for old, new in zip(before.events, log.events, strict=False)
    )
