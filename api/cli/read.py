"""`dipstep read`: read the strips in photos."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.cli.common import (
    UnusableError,
    complain,
    moment,
    place,
    printable,
    read_bytes,
    reason,
    seconds,
    write_bytes,
)

if TYPE_CHECKING:
    from api.cli.common import Verbs
    from api.cli.readings import Told
    from api.look import Wish
    from api.named import Named

EXAMPLE = (
    "example: dipstep read strip.jpg --table table.csv --card card-measured.txt "
    "--elapsed-s 15 --json"
)
AGAIN = "dipstep read --again readings.jsonl --table newer.csv"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "read",
        help="read the strips in photos",
        description="Read every pad of the strip in each photo: value, 95 % band, verdict.",
        epilog=f"{EXAMPLE}; with a newer table: {AGAIN}",
    )
    verb.add_argument(
        "photos", type=place, nargs="*", metavar="PHOTO", help="JPEG, PNG or HEIC; or a folder"
    )
    verb.add_argument(
        "--table", type=place, required=True, metavar="TABLE.csv", help="the calibration table"
    )
    verb.add_argument(
        "--card",
        type=place,
        metavar="MEASURED",
        help="the card's measured colours (CGATS.17, CxF3 or CSV); without them bands are wider",
    )
    verb.add_argument(
        "--layout", type=place, metavar="CARD.json", help="a card of your own (default: ours)"
    )
    when = verb.add_mutually_exclusive_group()
    when.add_argument(
        "--elapsed-s", type=seconds, metavar="S", help="seconds from dipping to the photo"
    )
    when.add_argument(
        "--dipped-at",
        type=moment,
        metavar="TIME",
        help="when the strip was dipped, with its offset; the photo's own time tells the rest",
    )
    verb.add_argument(
        "--fuse", action="store_true", help="all photos show one strip: make one reading of them"
    )
    verb.add_argument(
        "--explain", type=place, metavar="DIR", help="write pictures of what was found into DIR"
    )
    verb.add_argument(
        "--jobs", type=workers, metavar="N", help="photos read at once (default: one a core)"
    )
    verb.add_argument(
        "--again",
        type=place,
        metavar="READINGS",
        help="read the photos of these readings again (lines of --json), each beside its former "
        "self; what was not named anew stays as it was",
    )
    verb.add_argument("--json", action="store_true", help="one JSON object a photo and line")
    verb.set_defaults(run=run, wrong=verb.error)


def workers(text: str) -> int:
    """Parse how many photos are read at once, for argparse."""
    count = int(text) if text.isascii() and text.isdigit() else 0
    if not 1 <= count <= 64:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of workers, 1 to 64")
    return count


def run(args: argparse.Namespace) -> int:
    """Print one answer a photo; 1 when not one photo could be read at all."""
    _check_usage(args)
    wish = wish_for(args)
    if args.explain:
        _make(args.explain)
    every = _every(args, wish)
    tell: Callable[[dict[str, Any]], None] | None = _as_json if args.json else None
    could = False
    for told in every:
        could = could or told.read
        # The workers have started by now: what the table for people needs may be loaded.
        tell = tell or (beside() if args.again else for_people())
        tell(told.answer)
        for name, picture in told.pictures.items():
            write_bytes(args.explain / name, picture)
            complain(f"wrote {args.explain / name}")
    return 0 if could else 1


def _check_usage(args: argparse.Namespace) -> None:
    """End with a word on usage where what was asked does not go together."""
    if args.again is None:
        if not args.photos:
            args.wrong("name a photo, or readings to make again (--again READINGS)")
        return
    told = args.elapsed_s is not None or args.dipped_at is not None
    if args.photos or args.fuse or told:
        args.wrong(
            "--again takes photos and times from the readings; name neither photos nor times, "
            "nor --fuse"
        )


def _every(args: argparse.Namespace, wish: Wish) -> Iterator[Told]:
    """Return every answer that was asked for."""
    if args.again is not None:
        from api.cli.read_again import again

        return again(args.again, wish, args.jobs)
    from api.cli.readings import fused, one_by_one

    return fused(args.photos, wish) if args.fuse else one_by_one(args.photos, wish, args.jobs)


def wish_for(args: argparse.Namespace) -> Wish:
    """Return what every reading needs; say in one sentence which file cannot be opened."""
    from api.look import Wish

    return Wish(
        named(args.table),
        named(args.card) if args.card else None,
        named(args.layout) if args.layout else None,
        args.elapsed_s,
        args.dipped_at,
        ("seen", "flat", "pads") if args.explain else (),
    )


def named(path: Path) -> Named:
    """Return a file under its name; say in one sentence why it cannot be opened."""
    from api.named import Named

    return Named(str(path), read_bytes(path))


def _as_json(answer: dict[str, Any]) -> None:
    print(json.dumps(answer, ensure_ascii=False, allow_nan=False), flush=True)


def for_people() -> Callable[[dict[str, Any]], None]:
    """Return what prints an answer as a table."""
    from api.reasons import all_reasons
    from api.tell import Style, tell_reading
    from api.wanted import wanted_ranges

    style, known, wanted = Style.of(sys.stdout), all_reasons(), wanted_ranges()

    def tell(answer: dict[str, Any]) -> None:
        told = {**answer, "photo": printable(answer["photo"])}
        print(tell_reading(told, wanted, known, style), end="\n\n", flush=True)

    return tell


def beside() -> Callable[[dict[str, Any]], None]:
    """Return what prints an answer beside the one before."""
    from api.cli.read_again import side_by_side
    from api.words import VERDICT_WORDS

    def tell(answer: dict[str, Any]) -> None:
        text = side_by_side(answer, lambda status: VERDICT_WORDS.get(status, status))
        print(text, end="\n\n", flush=True)

    return tell


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        trial = folder / ".dipstep-trial"
        trial.touch()
        trial.unlink()
    except OSError as fault:
        raise UnusableError(
            f"{folder}: cannot be written into ({reason(fault)}); choose another folder"
        ) from None
