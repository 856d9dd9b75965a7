"""`dipstep plan`: look ahead, so that the van is packed once."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.cli.common import UnusableError, moment, read_text
from api.words import plain

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep plan garden.json --runs 20"
RUNS = 9
"""As `dosing.plan.RUNS`, which is not loaded for the other verbs."""
MOST_LINES = 40
"""Lines of the course shown to people; further ahead is guesswork."""
UNSAID = ("wait", "none")
WORDS = {"confirm": "do", "replace_water": "replace water", "ask": "decide"}


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
    lines = [
        f"{found['tub']}: {_how_long(found)}",
        f"{_from_to(found['visits'], 'visit')}; {_from_to(found['measurements'], 'dip')}.",
        f"From {found['runs']} tubs drawn from what the log tells; the limits in brackets hold "
        f"{100 * found['band_holds']:.0f} % of such tubs.",
        *(f"  {count} of {found['runs']} not finished: {why}"
          for why, count in found["stopped"].items()),
        *_within(found),
        *["", "Filling"] * bool(found["fill"]),
        *(f"  {one}" for one in found["fill"]),
        "",
        f"Bring (likely; what the brackets end with is enough for {_enough(found):.0f} of 100)",
        *_bring(found),
        "",
        "Likely course",
        *_course(found),
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
    days = found["days"]
    middle, low, high = (f"{days[key]:.1f}" for key in ("middle", "low", "high"))
    return f"likely done in {middle} days ({low} to {high})."


def _enough(found: Mapping[str, Any]) -> float:
    """Return of how many such tubs in a hundred the upper limits are not passed."""
    return 50.0 * (1.0 + float(found["band_holds"]))


def _bring(found: Mapping[str, Any]) -> Iterator[str]:
    """Say what to pack: the likely amount, and the limits of such tubs."""
    for one in found["products_g"].values():
        if one["high"] > 0.0:
            yield f"  {one['name']}: {one['middle']:.0f} g ({one['low']:.0f} to {one['high']:.0f})"
    if not any(one["high"] > 0.0 for one in found["products_g"].values()):
        yield "  no product that is foreseen"
    dips = found["measurements"]
    if dips["high"] > 0:
        yield f"  strips: {dips['middle']:.0f} dips ({dips['low']:.0f} to {dips['high']:.0f})"


def _course(found: Mapping[str, Any]) -> list[str]:
    """Return the steps of the tub in the middle, visit by visit; waits for mixing go unsaid."""
    at = datetime.fromisoformat(found["at"])
    lines: list[str] = []
    for visit, steps in groupby(found["steps"], key=itemgetter("visit")):
        some = list(steps)
        begins = at + timedelta(hours=some[0]["after_h"])
        lasts = some[-1]["after_h"] - some[0]["after_h"]
        about = f", about {lasts:.1f} h" if lasts >= 0.1 else ""
        lines += [f"  Visit {visit}: {begins:%a %d %b %H:%M}{about}", *_visit(some)]
    if len(lines) <= MOST_LINES:
        return lines
    return [*lines[:MOST_LINES], f"  and {len(lines) - MOST_LINES} lines more"]


def _visit(steps: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Return what is done in a visit, dips one after another as one line."""
    said = [step for step in steps if step["kind"] not in UNSAID or step["what"] == "aerate"]
    for kind, some in groupby(said, key=itemgetter("kind")):
        alike = [step["what"] for step in some]
        if kind == "measure":
            read = dict.fromkeys(name for what in alike for name in what.split(", "))
            dips = f" ({len(alike)} dips)" if len(alike) > 1 else ""
            yield f"    dip: {', '.join(plain(name) for name in read)}{dips}"
        elif kind == "wait":
            yield "    jets and air"
        else:
            yield f"    {WORDS.get(kind, kind)}: {', '.join(plain(what) for what in alike)}"


def _from_to(one: Mapping[str, float], unit: str) -> str:
    middle, low, high = (f"{one[key]:.0f}" for key in ("middle", "low", "high"))
    return f"{middle} {unit}{'' if middle == '1' else 's'} ({low} to {high})"


def _within(found: Mapping[str, Any]) -> list[str]:
    """Return the probabilities, from the last day that is hopeless to the first that adds none."""
    shares = list(found["done_within_days"].items()) if found["ends"] else []
    most = max((share for _, share in shares), default=0.0)
    first = next((place for place, (_, share) in enumerate(shares) if share == most), 0)
    hopeless = sum(share == 0.0 for _, share in shares)
    told_of = shares[max(hopeless - 1, 0) : first + 1]
    return [f"  done within {day} days: {100 * share:.0f} %" for day, share in told_of]
