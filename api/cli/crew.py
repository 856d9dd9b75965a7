"""Workers for the command: photos side by side, answers in the order asked."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from multiprocessing import get_all_start_methods

from api.workers import Answer, Fault, Method, ReadingPool, Task

QUICKEST: Method = "fork" if "fork" in get_all_start_methods() else "spawn"
"""The command has neither threads nor heavy libraries when its workers start."""
TIMEOUT_S = 60.0
"""Seconds after which a reading is broken off."""
AHEAD = 2
"""So many photos a worker are loaded before they are needed."""


def crew_size(jobs: int | None, photos: int) -> int:
    """Return how many workers to start: as many as asked for or as there are cores."""
    return max(1, min(jobs or os.cpu_count() or 1, photos))


def answers(tasks: Iterable[Task | Fault], size: int) -> Iterator[Answer | Fault]:
    """Yield what is said to each task, in order; a fault among the tasks is its own answer.

    Each worker is a process: one that dies or hangs costs its photo and is replaced.
    """
    pool = ReadingPool(size, TIMEOUT_S, QUICKEST)
    hands = ThreadPoolExecutor(size)
    waiting: deque[Future[Answer | Fault]] = deque()
    try:
        for task in tasks:
            waiting.append(hands.submit(_done, pool, task))
            if len(waiting) > AHEAD * size:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        hands.shutdown(wait=False, cancel_futures=True)
        pool.close()


def _done(pool: ReadingPool, task: Task | Fault) -> Answer | Fault:
    return task if isinstance(task, Fault) else pool.read(task)
