"""Reading processes: a photo that crashes or hangs the decoder costs one of them, no more.

Each worker is a process of its own that reads one photo at a time. It is started before it is
needed, ended when it takes too long, and started anew when it has died.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import multiprocessing
import os
import sys
import threading
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any, Literal, Protocol

from api.kept_memory import keep_memory
from api.named import Named

Pictures = tuple[Literal["seen", "flat", "pads"], ...]
"""Which to draw: the photo with what was found, the flattened card, each pad on its chart."""

MEMORY_BYTES = 4 * 1024**3
"""Address space of one worker; a decoder that wants more is broken off."""
LOADED_AFTER_S = 60.0
"""How long a worker may take to load everything; a busy machine takes its time."""
BUSY_AFTER_S = 60.0
"""How long a photo waits for a free worker before the caller hears that all are busy."""


@dataclass(frozen=True)
class Answer:
    """A reading as JSON of the formats, and the pictures that were asked for."""

    reading: dict[str, Any]
    pictures: dict[str, bytes]


@dataclass(frozen=True)
class Fault:
    """Why there is no reading: a code and one sentence."""

    code: str
    message: str


Method = Literal["spawn", "fork"]


class AllBusyError(Exception):
    """No worker became free in time."""


class Task(Protocol):
    """Work on photos that knows itself how it is done; it travels to a worker whole."""

    @property
    def photo(self) -> Named:
        """Return the photo to name when the work breaks off."""

    def answer(self) -> Answer | Fault:
        """Do the work; runs in a worker."""


def _serve(pipe: Connection, practises: bool) -> None:
    """Say that all is loaded, then do what comes until the other end is gone."""
    import resource

    import cv2

    cv2.setNumThreads(1)
    _quiet_decoders()
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    _load(practises)
    keep_memory()
    gc.freeze()  # what is loaded stays: the collector need not look at it again
    with contextlib.suppress(EOFError, KeyboardInterrupt, BrokenPipeError):
        pipe.send(None)
        while True:
            task: Task = pipe.recv()
            try:
                answer: Answer | Fault = task.answer()
            except MemoryError:
                answer = Fault("reading_stopped", "the photo needs too much memory; send a JPEG")
            pipe.send(answer)


def _load(practises: bool) -> None:
    """Load what every reading needs before the first photo comes; at best, read something."""
    for name in ("api.measure", "api.wire", "api.job"):
        importlib.import_module(name)
    importlib.import_module("reader.lab").colour_science()
    if practises:
        importlib.import_module("api.practice").practise()


def _quiet_decoders() -> None:
    """Keep what decoders write about damaged files off the error stream; our own goes on."""
    with contextlib.suppress(OSError, ValueError):
        ours = os.dup(2)
        sys.stderr = os.fdopen(ours, "w", buffering=1)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)


class _Worker:
    """One reading process and the pipe to it."""

    def __init__(self, method: Method = "spawn", practises: bool = False) -> None:
        self.practises = practises
        self.greeting = threading.Lock()
        self.start(method)

    def start(self, method: Method = "spawn") -> None:
        """Start a new process; it loads its libraries while we go on."""
        context = multiprocessing.get_context(method)
        self.pipe, there = context.Pipe()
        # Process is missing from what typeshed says every context has.
        process = context.Process  # type: ignore[attr-defined]
        self.process = process(target=_serve, args=(there, self.practises), daemon=True)
        self.process.start()
        there.close()
        self.loaded = False

    def wait_loaded(self, timeout_s: float) -> bool:
        """Wait until everything is loaded, and say whether it is."""
        with self.greeting, contextlib.suppress(EOFError, OSError):
            if not self.loaded and self.pipe.poll(timeout_s):
                self.pipe.recv()
                self.loaded = True
        return self.loaded

    def ask(self, task: Task, timeout_s: float) -> Answer | Fault:
        """Return the worker's answer; when it dies or takes too long, start another."""
        with contextlib.suppress(EOFError, OSError):
            if self.wait_loaded(max(timeout_s, LOADED_AFTER_S)):
                self.pipe.send(task)
                if self.pipe.poll(timeout_s):
                    answer: Answer | Fault = self.pipe.recv()
                    return answer
        self.stop()
        self.start()
        return Fault(
            "reading_stopped",
            f"{task.photo.name}: reading took too long or broke off; "
            "take the photo again, or send it as a plain JPEG",
        )

    def stop(self) -> None:
        """End the process."""
        self.pipe.close()
        self.process.kill()
        self.process.join()


class ReadingPool:
    """So many photos at once, no more.

    `method` is how the first workers start: "fork" is quick, but safe only in a process that has
    neither threads nor heavy libraries yet. Those that replace them are always spawned.
    With `practises` each worker reads a drawn card once, so that its first photo is a quick one.
    """

    def __init__(
        self, size: int, timeout_s: float, method: Method = "spawn", practises: bool = False
    ) -> None:
        self._timeout_s = timeout_s
        self._workers = [_Worker(method, practises) for _ in range(size)]
        self._turns = threading.Lock()
        self._idle = deque(self._workers)
        self._waiting: deque[Future[_Worker]] = deque()
        if practises:
            threading.Thread(target=self._greet, name="greet", daemon=True).start()

    def loaded(self) -> int:
        """Return how many workers have loaded everything, as far as they were heard."""
        return sum(worker.loaded for worker in self._workers)

    def _greet(self) -> None:
        """Hear from every worker that it has loaded everything."""
        for worker in self._workers:
            worker.wait_loaded(LOADED_AFTER_S)

    def read(self, task: Task) -> Answer | Fault:
        """Do one task; raise `AllBusyError` when no worker becomes free in time."""
        with self._worker() as worker:
            return worker.ask(task, self._timeout_s)

    @contextmanager
    def _worker(self) -> Iterator[_Worker]:
        worker = self._taken()
        try:
            yield worker
        finally:
            self._give(worker)

    def _taken(self) -> _Worker:
        """Return a free worker, handed out in the order of asking: nobody jumps the queue."""
        with self._turns:
            if self._idle:
                return self._idle.popleft()
            mine: Future[_Worker] = Future()
            self._waiting.append(mine)
        try:
            return mine.result(BUSY_AFTER_S)
        except TimeoutError:
            with self._turns:
                if not mine.done():
                    self._waiting.remove(mine)
                    raise AllBusyError from None
            return mine.result()

    def _give(self, worker: _Worker) -> None:
        """Hand a worker to whoever has waited longest."""
        with self._turns:
            if self._waiting:
                self._waiting.popleft().set_result(worker)
            else:
                self._idle.append(worker)

    def close(self) -> None:
        """End all workers."""
        for worker in self._workers:
            worker.stop()
