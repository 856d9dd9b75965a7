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
RUNS = 9
"""As `dosing.plan.RUNS`, which is not loaded for the other verbs."""
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
        "--runs",
        type=walks,
        default=RUNS,
        metavar="N",
        help=f"tubs drawn, 1 to 200; default {RUNS}; from 19 on the limits hold 9 tubs in 10",
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
    visits, dips = found["visits"], found["measurements"]
    lines = [
        f"{found['tub']}: {_how_long(found)}",
        f"{_from_to(visits, 'visits', 0)}; {_from_to(dips, 'measurements', 0)}.",
        f"From {found['runs']} tubs drawn from what the log tells; the limits in brackets hold "
        f"{100 * found['band_holds']:.0f} % of such tubs.",
        *(f"  {count} of {found['runs']} not finished: {why}"
          for why, count in found["stopped"].items()),
        *_within(found),
        *["", "Filling"] * bool(found["fill"]),
        *(f"  {one}" for one in found["fill"]),
        "",
        "Bring",
        *(f"  {one['name']}: {one['middle']:.0f} g ({one['low']:.0f} to {one['high']:.0f})"
          for one in found["products_g"].values()),
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


def _how_long(found: Mapping[str, Any]) -> str:
    if not found["ends"]:
        return "upkeep has no end; this looks 21 days or 120 steps ahead."
    if found["days"] is None:
        return "not one of the tubs drawn was finished within 21 days and 120 steps."
    return f"likely done in {_from_to(found['days'], 'days', 1)}."


def _from_to(one: Mapping[str, float], unit: str, places: int) -> str:
    middle, low, high = (f"{one[key]:.{places}f}" for key in ("middle", "low", "high"))
    return f"{middle} {unit} ({low} to {high})"


def _within(found: Mapping[str, Any]) -> list[str]:
    """Return the probabilities, from the last day that is hopeless to the first that adds none."""
    shares = list(found["done_within_days"].items()) if found["ends"] else []
    most = max((share for _, share in shares), default=0.0)
    first = next((place for place, (_, share) in enumerate(shares) if share == most), 0)
    return [f"  done within {day} days: {100 * share:.0f} %" for day, share in shares[: first + 1]]
