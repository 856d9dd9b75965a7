"""`dipstep read`: read the strips in photos."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.cli.common import UnusableError, complain, read_bytes, seconds

if TYPE_CHECKING:
    from api.cli.common import Verbs
    from api.job import Job
    from api.measure import PhotoReading

EXAMPLE = (
    "example: dipstep read strip.jpg --table table.csv --card card-measured.txt "
    "--elapsed-s 15 --json"
)


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "read",
        help="read the strips in photos",
        description="Read every pad of the strip in each photo: value, 95 % band, verdict.",
        epilog=EXAMPLE,
    )
    verb.add_argument("photos", type=Path, nargs="+", metavar="PHOTO", help="JPEG, PNG or HEIC")
    verb.add_argument(
        "--table", type=Path, required=True, metavar="TABLE.csv", help="the calibration table"
    )
    verb.add_argument(
        "--card",
        type=Path,
        metavar="MEASURED",
        help="the card's measured colours (CGATS.17, CxF3 or CSV); without them bands are wider",
    )
    verb.add_argument(
        "--layout", type=Path, metavar="CARD.json", help="a card of your own (default: ours)"
    )
    verb.add_argument(
        "--elapsed-s", type=seconds, metavar="S", help="seconds from dipping to the photo"
    )
    verb.add_argument(
        "--fuse", action="store_true", help="all photos show one strip: make one reading of them"
    )
    verb.add_argument(
        "--explain", type=Path, metavar="DIR", help="write pictures of what was found into DIR"
    )
    verb.add_argument("--json", action="store_true", help="one JSON object a photo and line")
    verb.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print one answer a photo; 1 when not one photo could be read at all."""
    job = job_for(args.table, args.card, args.layout)
    explain = _explainer(args.explain, job)
    if args.fuse:
        answers = fused(args.photos, job, args.elapsed_s)
    else:
        answers = one_by_one(args.photos, job, args.elapsed_s, explain)
    tell = _as_json if args.json else for_people()
    could = False
    for answer, read in answers:
        could = could or read
        tell(answer)
    return 0 if could else 1


def job_for(table: Path, measured: Path | None, layout: Path | None) -> Job:
    """Load card and table; say in one sentence what cannot be used."""
    from api.job import prepare
    from api.named import Named

    def named(path: Path | None) -> Named | None:
        return None if path is None else Named(str(path), read_bytes(path))

    try:
        return prepare(Named(str(table), read_bytes(table)), named(measured), named(layout))
    except ValueError as fault:
        raise UnusableError(fault) from None


Answers = Iterator[tuple[dict[str, Any], bool]]
Explain = Callable[[Path, bytes, "PhotoReading"], None]


def one_by_one(
    photos: list[Path], job: Job, elapsed_s: float | None, explain: Explain | None
) -> Answers:
    """Yield each photo's answer, and whether the file was a photo at all."""
    from api.measure import measure
    from api.wire import reading_json, unread_json
    from reader.errors import PhotoError

    for path in photos:
        try:
            data = read_bytes(path)
            reading = measure(data, job.card, job.table, elapsed_s, job.curves)
        except UnusableError as fault:
            complain(fault)
            yield unread_json(str(path), "no_such_file", str(fault)), False
        except PhotoError as fault:
            complain(f"{path}: {fault}")
            yield unread_json(str(path), "not_an_image", str(fault)), False
        else:
            if explain:
                explain(path, data, reading)
            yield reading_json(str(path), reading), True


def fused(photos: list[Path], job: Job, elapsed_s: float | None) -> Answers:
    """Yield the one answer of several photos of one strip."""
    from api.fuse import fuse
    from api.measure import places
    from api.wire import reading_json
    from reader.errors import PhotoError
    from reader.read_strip import read_strip

    seens = []
    for path in photos:
        try:
            seens.append(read_strip(read_bytes(path), job.card, places(job.table)))
        except PhotoError as fault:
            raise UnusableError(f"{path}: {fault}; leave it out or take it again") from None
    reading = fuse(seens, job.table, elapsed_s, job.curves)
    answer = reading_json(" + ".join(str(path) for path in photos), reading)
    yield {**answer, "photos": [str(path) for path in photos]}, True


def _explainer(folder: Path | None, job: Job) -> Explain | None:
    """Return what writes the pictures of one photo, or None when none are asked for."""
    if folder is None:
        return None
    from api.explain import write_pictures

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise UnusableError(
            f"{folder}: cannot be made ({fault.strerror}); choose another"
        ) from None

    def explain(path: Path, data: bytes, reading: PhotoReading) -> None:
        for written in write_pictures(folder, path.stem, data, reading, job):
            complain(f"wrote {written}")

    return explain


def _as_json(answer: dict[str, Any]) -> None:
    print(json.dumps(answer, ensure_ascii=False, allow_nan=False), flush=True)


def for_people() -> Callable[[dict[str, Any]], None]:
    """Return what prints an answer as a table."""
    from api.reasons import all_reasons
    from api.tell import Style, tell_reading
    from api.wanted import wanted_ranges

    style, known, wanted = Style.of(sys.stdout), all_reasons(), wanted_ranges()

    def tell(answer: dict[str, Any]) -> None:
        print(tell_reading(answer, wanted, known, style), end="\n\n", flush=True)

    return tell
