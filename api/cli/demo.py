"""`dipstep demo`: read the sample photos of an invented strip, and say what to do with a tub."""

from __future__ import annotations

import argparse
import re
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.common import UnusableError, complain, read_text

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep demo"
OWN_LOGS = Path(__file__).parents[1] / "demo"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "demo",
        help="read the sample photos and a sample log",
        description="Read the sample photos of an invented strip, each pad with its value, 95 % "
        "band and verdict, then say the next step for an invented tub.",
        epilog=EXAMPLE,
    )
    verb.add_argument(
        "--samples", type=Path, metavar="DIR", help="default: sample_images of this checkout"
    )
    verb.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print every sample's reading, then the next step, and return 0."""
    from api.cli import read
    from api.cli.readings import one_by_one
    from api.look import Wish
    from api.settings import SAMPLES

    folder: Path = args.samples or SAMPLES
    photos = sorted([*folder.glob("*.jpg"), *folder.glob("*.png"), *folder.glob("*.heic")])
    if not photos:
        raise UnusableError(
            f"{folder}: holds no photos; run this in a checkout, or name --samples DIR"
        )
    wish = Wish(read.named(folder / "table.csv"), read.named(folder / "card-measured.txt"))
    tell = None
    for told in one_by_one(photos, wish):
        tell = tell or read.for_people()
        tell({**told.answer, "photo": Path(told.answer["photo"]).name})
    tell_next(sorted((folder / "logs").glob("*.json")) or sorted(OWN_LOGS.glob("*.json")))
    return 0


def tell_next(logs: list[Path]) -> None:
    """Print the next step of the first sample log that asks for a dose, else of the first."""
    from api.advise import advise
    from api.procedures import beside
    from api.tell import Style, tell_next as told

    answers = []
    for path in logs:
        text = read_text(path)
        try:
            answer, tub = advise(text, path.name, shortly_after(text), beside(path.parent))
        except ValueError as fault:
            raise UnusableError(fault) from None
        answers.append((answer["step"]["kind"] != "dose", path, answer, tub))
    _, path, answer, tub = min(answers, key=lambda one: one[:2])
    complain(f"the log is {path}")
    print(told(answer, tub, Style.of(sys.stdout)))


def shortly_after(text: str) -> datetime:
    """Return a moment ten minutes after a sample log's last event."""
    times = re.findall(r'"at":\s*"([^"]+)"', text)
    last = max((datetime.fromisoformat(one) for one in times), default=datetime.now(UTC))
    return last + timedelta(minutes=10)
