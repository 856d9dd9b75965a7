"""`dipstep next`: say what to do next with a tub."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.common import UnusableError, moment, read_text

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep next garden.json --at 2025-06-01T09:00:00+02:00 --json"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "next",
        help="say what to do next with a tub",
        description="Say the one thing to do now: measure, dose, wait, confirm, replace water "
        "or ask a person; with the gates, what to expect, why, and the cautions.",
        epilog=EXAMPLE,
    )
    verb.add_argument("log", type=Path, metavar="LOG.json", help="the tub's log")
    verb.add_argument(
        "--at", type=moment, metavar="TIME", help="ISO 8601 with offset; now if not given"
    )
    verb.add_argument(
        "--units",
        choices=("metric", "us"),
        help="a dose in other units besides: millilitres, or ounces, cups and spoons too",
    )
    verb.add_argument("--json", action="store_true", help="one JSON object on standard output")
    verb.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the answer and return 0."""
    from api.advise import advise
    from api.procedures import beside

    text = read_text(args.log)
    at = args.at or datetime.now(UTC).astimezone()
    try:
        answer, tub = advise(text, str(args.log), at, beside(args.log.parent), args.units)
    except ValueError as fault:
        raise UnusableError(fault) from None
    if args.json:
        print(json.dumps(answer, ensure_ascii=False, allow_nan=False))
        return 0
    from api.tell import Style, tell_next

    print(tell_next(answer, tub, Style.of(sys.stdout)))
    return 0
