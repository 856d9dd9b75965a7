"""What the verbs share: one sentence for what cannot be used, files, moments."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING
from unicodedata import category

if TYPE_CHECKING:
    from api.store import Store

    Verbs = argparse._SubParsersAction[argparse.ArgumentParser]


class UnusableError(Exception):
    """Input that cannot be used; the message is the one sentence for the person."""


MOST_BYTES = 200_000_000
"""No file that we are given is larger; what has no end (a device) would fill the memory."""


def complain(message: object) -> None:
    """Say one sentence on standard error, on one line whatever a file's name holds."""
    print(f"dipstep: {printable(message)}", file=sys.stderr)


def printable(message: object) -> str:
    """Return a text in which what moves a terminal's cursor or colours stands as a code."""

    def told(letter: str) -> str:
        is_code = category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp")
        return letter.encode("unicode_escape").decode() if is_code else letter

    return "".join(map(told, str(message)))


def place(text: str) -> Path:
    """Parse a path, for argparse; an empty one is most often a variable that was never set."""
    if not text:
        raise argparse.ArgumentTypeError("the name is empty; name a file or folder")
    return Path(text)


@contextmanager
def open_shop(start: bool = False) -> Iterator[Store]:
    """Open the shop's books for one command; `start` begins a shop where none is kept yet."""
    from api.settings import Settings
    from api.store import open_store

    try:
        settings = Settings.from_environ(os.environ)
        if start:
            settings.home.mkdir(parents=True, exist_ok=True)
        elif not settings.home.is_dir():
            raise ValueError(f"{settings.home}: no shop is kept there; set DIPSTEP_HOME")
        store = open_store(settings.database_url)
        try:
            yield store
        finally:
            store.close()
    except OSError as fault:
        raise UnusableError(
            f"{fault.filename}: cannot be used ({reason(fault)}); set DIPSTEP_HOME"
        ) from None
    except ValueError as fault:
        raise UnusableError(fault) from None


def read_bytes(path: Path) -> bytes:
    """Return the file's bytes; say in one sentence why not."""
    if path.is_dir():
        raise UnusableError(f"{path}: is a folder; name a file in it")
    try:
        with path.open("rb") as file:
            data = file.read() if _is_small(path) else file.read(MOST_BYTES + 1)
    except OSError as fault:
        raise UnusableError(f"{path}: {reason(fault)}; check the path") from None
    except ValueError:
        raise UnusableError(f"{str(path)!r}: is no possible file name; check the path") from None
    if len(data) > MOST_BYTES:
        raise UnusableError(
            f"{path}: holds more than {MOST_BYTES / 1e6:.0f} MB; check that it is the right file"
        )
    return data


def _is_small(path: Path) -> bool:
    """Say whether the file has an end, and one that is near."""
    return path.is_file() and path.stat().st_size <= MOST_BYTES


def read_text(path: Path) -> str:
    """Return the file's text; UTF-8, with or without a byte order mark."""
    try:
        return read_bytes(path).decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise UnusableError(
            f"{path}: byte {fault.start} is not UTF-8 text; save the file as UTF-8"
        ) from None


def write_bytes(path: Path, data: bytes) -> None:
    """Write the whole file or nothing; say in one sentence why not."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as fault:
        part.unlink(missing_ok=True) if part.parent.is_dir() else None
        raise UnusableError(
            f"{path}: cannot be written ({reason(fault)}); choose another place"
        ) from None


def reason(fault: OSError) -> str:
    """Return the system's own words, in small letters."""
    return (fault.strerror or str(fault)).lower()


def moment(text: str) -> datetime:
    """Parse ISO 8601 with an offset, for argparse."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        when = None
    if when is None or when.tzinfo is None:
        raise argparse.ArgumentTypeError(
            f"{text!r} is not a time with an offset, such as 2025-06-01T09:00:00+02:00"
        )
    return when


def seconds(text: str) -> float:
    """Parse a span of time in seconds, for argparse."""
    try:
        span = float(text)
    except ValueError:
        span = -1.0
    if not 0.0 <= span <= 86_400.0:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of seconds, such as 15")
    return span
