"""`dipstep plan`: look ahead, so that the van is packed once."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.cli.common import UnusableError, moment, read_text

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep plan garden.json --runs 20"
MOST_STEPS = 30
"""Steps shown to people; further ahead is guesswork."""


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "plan",
        help="look ahead: steps, products to bring, days",
        description="Walk what the water may bring, several times over: the steps likely to "
        "come, the products to bring, visits and days until done. It foretells; `dipstep next` "
        "decides.",
        epilog=EXAMPLE,
    )
    verb.add_argument("log", type=Path, metavar="LOG.json", help="the tub's log")
    verb.add_argument(
        "--at", type=moment, metavar="TIME", help="ISO 8601 with offset; now if not given"
    )
    verb.add_argument(
        "--runs", type=walks, default=8, metavar="N", help="ways walked, 1 to 200; default 8"
    )
    verb.add_argument("--json", action="store_true", help="one JSON object on standard output")
    verb.set_defaults(run=run)


def walks(text: str) -> int:
    """Parse how many ways to walk, for argparse."""
    if not text.isdigit() or not 1 <= int(text) <= 200:
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 1 to 200")
    return int(text)


def run(args: argparse.Namespace) -> int:
    """Print the plan and return 0."""
    from api.advise import look_ahead
    from api.procedures import beside

    text = read_text(args.log)
    at = args.at or datetime.now(UTC).astimezone()
    try:
        found = look_ahead(text, str(args.log), at, beside(args.log.parent), args.runs)
    except ValueError as fault:
        raise UnusableError(fault) from None
    print(json.dumps(found, ensure_ascii=False, allow_nan=False) if args.json else told(found))
    return 0


def told(found: Mapping[str, Any]) -> str:
    """Return the plan as lines for people."""
    days, visits, dips = found["days"], found["visits"], found["measurements"]
    lines = [
        f"{found['tub']}: likely {days['middle']:.1f} days ({days['low']:.1f} to "
        f"{days['high']:.1f}), {visits['middle']:.0f} visits, {dips['middle']:.0f} measurements",
        *(f"  done within {day} days: {100 * share:.0f} %" for day, share in
          found["done_within_days"].items()),
        *[""] * bool(found["fill"]),
        *found["fill"],
        "",
        "Bring",
        *(f"  {name}: {one['middle']:.0f} g ({one['low']:.0f} to {one['high']:.0f})"
          for name, one in found["products_g"].items()),
        *["  nothing that is foreseen"] * (not found["products_g"]),
        "",
        "Likely steps",
        *(f"  after {one['after_h']:.1f} h  {one['kind']}: {one['what']}"
          for one in found["steps"][:MOST_STEPS]),
        *[f"  and {len(found['steps']) - MOST_STEPS} more"] * (len(found["steps"]) > MOST_STEPS),
        "",
        "Cautions",
        *(f"  ! {one}" for one in found["cautions"]),
    ]  # fmt: skip
    return "\n".join(lines)
