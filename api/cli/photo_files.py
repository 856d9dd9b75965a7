"""The photos a command is given: files and folders, their names as told and as file names."""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from api.cli.common import UnusableError, read_bytes, reason
from api.named import Named
from api.workers import Fault

SUFFIXES = frozenset({".jpg", ".jpeg", ".png", ".heic", ".heif", ".webp", ".tif", ".tiff"})
"""What is taken for a photo in a folder; a file that is named is looked at whatever its name."""


DRAWN = b"drawn by dipstep"
"""As `reader.inks.DRAWN`."""
LARGEST_BYTES = 100_000_000
"""As `reader.photo.MAX_BYTES`; the reader itself would take a second to load."""


def shown(path: Path | str) -> str:
    """Return a path as text that can always be written; what is no UTF-8 is told in hex."""
    return os.fsencode(path).decode("utf-8", "backslashreplace")


def in_order(asked: Sequence[Path]) -> list[Path]:
    """Return the files asked for, folders replaced by their photos in order of their names.

    A folder without photos, or one that cannot be looked into, stays, to be complained of.
    """
    return [path for one in asked for path in (_inside(one) or [one])]


def _inside(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    try:
        found = sorted(folder.iterdir())
    except OSError:
        return []
    return [
        path
        for path in found
        if path.suffix.lower() in SUFFIXES
        and not path.name.startswith(".")
        and path.is_file()
        and not _is_drawn(path)
    ]


def _is_drawn(path: Path) -> bool:
    """Say whether this is one of our own pictures, which `--explain` may have put there."""
    try:
        with path.open("rb") as file:
            return DRAWN in file.read(64)
    except OSError:
        return False


def load(path: Path) -> Named | Fault:
    """Return the photo's bytes under its name as told, or why there are none."""
    name = shown(path)
    try:
        if path.is_dir():
            list(path.iterdir())
            return Fault("no_such_file", f"{name}: the folder holds no photos; name another")
        if path.exists() and not path.is_file():
            return Fault(
                "no_such_file", f"{name}: is a pipe or a device; save the photo to a file first"
            )
        if path.is_file() and path.stat().st_size > LARGEST_BYTES:
            return Fault(
                "not_an_image",
                f"{name}: has {path.stat().st_size / 1e6:.0f} MB, more than "
                f"{LARGEST_BYTES / 1e6:.0f} MB; save it as JPEG",
            )
        return Named(name, read_bytes(path))
    except OSError as fault:
        return Fault("no_such_file", f"{name}: {reason(fault)}; check who may look into it")
    except UnusableError as fault:
        return Fault("no_such_file", shown(str(fault)))


def labels(paths: Sequence[Path]) -> list[str]:
    """Return a file name for each photo's pictures: its own, with as many folders as tell it apart.

    The same file given twice is numbered.
    """
    found = [_label(path, 1) for path in paths]
    for depth in (2, 3, 4):
        twice = _twice(found)
        found = [
            _label(path, depth) if name.casefold() in twice else name
            for path, name in zip(paths, found, strict=True)
        ]
    return list(_numbered(found))


def _label(path: Path, depth: int) -> str:
    parts = (path.stem,) if depth == 1 else path.absolute().parts[-depth:]
    return re.sub(r"[^\w-]+", "-", shown(Path("-".join(parts)))).strip("-") or "photo"


def _twice(names: Sequence[str]) -> set[str]:
    return {name for name, n in Counter(name.casefold() for name in names).items() if n > 1}


def _numbered(names: Sequence[str]) -> Iterator[str]:
    taken: set[str] = set()
    for name in names:
        own, number = name, 1
        while own.casefold() in taken:
            number += 1
            own = f"{name}-{number}"
        taken.add(own.casefold())
        yield own
