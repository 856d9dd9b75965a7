"""Looks at photos as a worker takes them: one photo, or several of one strip."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from api.named import Named
from api.workers import Answer, Fault, Pictures

if TYPE_CHECKING:
    from api.job import Job

UNUSABLE = "unusable_table_or_card"
"""Code of the fault that is no photo's: nothing can be read with this table or card."""


@dataclass(frozen=True)
class Wish:
    """Everything a reading needs beside the photo, as bytes and plain values."""

    table: Named
    measured: Named | None = None
    layout: Named | None = None
    elapsed_s: float | None = None
    dipped_at: datetime | None = None
    """When the strip was dipped, with its offset; `elapsed_s` wins where both are given."""
    pictures: Pictures = ()

    def job(self) -> Job:
        """Return card, table and curves, kept for the next photo; ValueError when unusable."""
        return _prepared(self.table, self.measured, self.layout)


@dataclass(frozen=True)
class Look:
    """One photo to read."""

    photo: Named
    wish: Wish

    def answer(self) -> Answer | Fault:
        """Read the photo in this process."""
        from api.measure import measure
        from api.wire import reading_json
        from reader.errors import PhotoError

        wish, data = self.wish, self.photo.data
        try:
            job = wish.job()
        except ValueError as fault:
            return Fault(UNUSABLE, str(fault))
        try:
            reading = measure(data, job.card, job.table, wish.elapsed_s, job.curves, wish.dipped_at)
        except PhotoError as fault:
            return Fault("not_an_image", f"{self.photo.name}: {fault}")
        pictures = {}
        if wish.pictures:
            from api.explain import pictures_of

            pictures = pictures_of(data, reading, job, wish.pictures)
        return Answer(reading_json(self.photo.name, reading), pictures)


@dataclass(frozen=True)
class FusedLook:
    """Several photos of one strip to make one reading of."""

    photos: tuple[Named, ...]
    wish: Wish
    photo: Named = field(init=False)
    """What is named when the reading breaks off."""

    def __post_init__(self) -> None:
        names = " + ".join(photo.name for photo in self.photos)
        object.__setattr__(self, "photo", Named(names, b""))

    def answer(self) -> Answer | Fault:
        """Read all photos in this process; those that are none are named and left out."""
        from api.fuse import fuse
        from api.measure import places
        from api.wire import reading_json
        from reader.errors import PhotoError
        from reader.read_strip import read_strip

        try:
            job = self.wish.job()
        except ValueError as fault:
            return Fault(UNUSABLE, str(fault))
        seens, used, left_out = [], [], []
        for photo in self.photos:
            try:
                seens.append(read_strip(photo.data, job.card, places(job.table)))
                used.append(photo)
            except PhotoError as fault:
                left_out.append(f"{photo.name}: {fault}")
        if not seens:
            return Fault("not_an_image", "; ".join(left_out))
        wish = self.wish
        fused = fuse(seens, job.table, wish.elapsed_s, job.curves, wish.dipped_at)
        pictures = {}
        if wish.pictures:
            from api.explain import pictures_of

            pictures = pictures_of(used[fused.first].data, fused.reading, job, wish.pictures)
        names = [photo.name for photo in used]
        told = reading_json(" + ".join(names), fused.reading)
        return Answer({**told, "photos": names, "left_out": left_out}, pictures)


@lru_cache(maxsize=32)
def _prepared(table: Named, measured: Named | None, layout: Named | None) -> Job:
    from api.job import prepare

    return prepare(table, measured, layout)
