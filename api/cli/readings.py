"""Readings of files for the commands, with what each was made with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from api.cli.common import UnusableError, complain
from api.cli.crew import answers, crew_size
from api.cli.photo_files import in_order, labels, load, shown
from api.look import UNUSABLE, FusedLook, Look, Wish
from api.named import Named
from api.wire import unread_json
from api.workers import Answer, Fault, Task


@dataclass(frozen=True)
class Told:
    """One answer, whether the file was a photo at all, and the pictures by file name."""

    answer: dict[str, Any]
    read: bool
    pictures: Mapping[str, bytes] = field(default_factory=dict)


def one_by_one(asked: Sequence[Path], wish: Wish, jobs: int | None = None) -> Iterator[Told]:
    """Yield each photo's answer, in the order asked.

    Raises UnusableError when table or card cannot be used.
    """
    paths = in_order(asked)
    hashes: dict[Path, str] = {}

    def looks() -> Iterator[Task | Fault]:
        for path in paths:
            photo = load(path)
            if isinstance(photo, Named):
                hashes[path] = photo.sha256
            yield photo if isinstance(photo, Fault) else Look(photo, wish)

    said = answers(looks(), crew_size(jobs, len(paths)))
    for path, label, one in zip(paths, labels(paths), said, strict=True):
        yield told_of(shown(path), label, one, made_with(wish, hashes.get(path)))


def fused(asked: Sequence[Path], wish: Wish) -> Iterator[Told]:
    """Yield the one answer of several photos of one strip; the same photo counts once.

    Raises UnusableError when table or card cannot be used.
    """
    photos = tuple(_distinct(in_order(asked)))
    if not photos:
        names = ", ".join(shown(path) for path in asked)
        raise UnusableError(f"{names}: not one photo to fuse; name photos of one strip")
    (said,) = answers([FusedLook(photos, wish)], 1)
    hashes = {photo.name: photo.sha256 for photo in photos}
    told = told_of(" + ".join(photo.name for photo in photos), "fused", said, {})
    for left_out in told.answer.get("left_out", ()):
        complain(f"{left_out}; the others are fused without it")
    used = [hashes[name] for name in told.answer.get("photos", hashes)]
    yield Told({**told.answer, **made_with(wish, used)}, told.read, told.pictures)


def _distinct(paths: Sequence[Path]) -> Iterator[Named]:
    """Yield the photos that can be opened, each once, and tell of the others."""
    known: dict[str, str] = {}
    for path in paths:
        photo = load(path)
        if isinstance(photo, Fault):
            complain(f"{photo.message}; the others are fused without it")
        elif photo.sha256 in known:
            complain(f"{photo.name}: is the same photo as {known[photo.sha256]}; it counts once")
        else:
            known[photo.sha256] = photo.name
            yield photo


def told_of(name: str, label: str, said: Answer | Fault, more: Mapping[str, Any]) -> Told:
    """Return one answer as it is printed; raise UnusableError for what is no photo's fault."""
    if isinstance(said, Answer):
        pictures = {f"{label}-{kind}": data for kind, data in said.pictures.items()}
        return Told({**said.reading, **more}, True, pictures)
    if said.code == UNUSABLE:
        raise UnusableError(said.message)
    complain(said.message)
    return Told({**unread_json(name, said.code, said.message), **more}, False)


@cache
def software() -> str:
    """Return our version; looking it up takes milliseconds."""
    return version("dipstep")


def made_with(wish: Wish, photo: object) -> dict[str, Any]:
    """Return what a reading was made with, so that it can be made again."""

    def version_of(file: Named | None) -> dict[str, str] | None:
        return None if file is None else {"file": file.name, "sha256": file.sha256}

    return {
        "made_with": {
            "software": software(),
            "photo": photo,
            "table": version_of(wish.table),
            "card": version_of(wish.measured),
            "layout": version_of(wish.layout),
            "elapsed_s": wish.elapsed_s,
            "dipped_at": wish.dipped_at.isoformat() if wish.dipped_at else None,
        }
    }
