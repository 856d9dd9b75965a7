"""`dipstep table`: check, build and compare calibration tables; mix waters of known value."""

from __future__ import annotations

import argparse
import json
import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.cli.common import UnusableError, read_bytes, write_bytes

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep table check table.csv --json"


def add(verbs: Verbs) -> None:
    """Add the verb with its own verbs to the command."""
    verb = verbs.add_parser(
        "table",
        help="make and check calibration tables",
        description="Make a calibration table from waters of known value, and say whether one "
        "can be trusted.",
        epilog=EXAMPLE,
    )
    kinds = verb.add_subparsers(dest="kind", required=True, metavar="WHAT")
    _add_check(kinds)


def _add_check(kinds: Verbs) -> None:
    check = kinds.add_parser(
        "check",
        help="say whether a table can be trusted",
        description="Say whether a table can be trusted: faults by row, steps between blocks in "
        "CIEDE2000, blocks out of order, the share of the chart where two values look alike, "
        "what left-out blocks would have been read as, and the bands to expect.",
        epilog=EXAMPLE,
    )
    check.add_argument("table", type=Path, metavar="TABLE.csv", help="the calibration table")
    check.add_argument(
        "--picture", type=Path, metavar="DIR", help="write each pad's path in CIELAB into DIR"
    )
    check.add_argument(
        "--on", type=day, metavar="DATE", help="the day on which the lot must not have expired"
    )
    check.add_argument("--json", action="store_true", help="one JSON object on standard output")
    check.set_defaults(run=run_check)


def day(text: str) -> date:
    """Parse a date, for argparse."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date such as 2026-03-31") from None


def run_check(args: argparse.Namespace) -> int:
    """Print what is known of the table; exit 1 where it cannot be used at all."""
    from api.table_tell import tell_check, tell_faults
    from calibration.check import as_dict, check_table, faults_dict
    from calibration.rows import decode, first_sentence
    from calibration.table import read_table

    name = str(args.table)
    try:
        table, faults = read_table(decode(read_bytes(args.table), name), name)
    except ValueError as fault:
        raise UnusableError(fault) from None
    if table is None:
        broken = {"table": name, "verdict": "unusable", "faults": faults_dict(faults, name)}
        _print({**broken, "pads": []} if args.json else tell_faults(faults, name))
        raise UnusableError(first_sentence(faults, name))
    found = check_table(table, args.on or date.today())
    _print(as_dict(found) if args.json else tell_check(found))
    if args.picture:
        _draw_pads(found, args.picture)
    return 0


def _print(answer: dict[str, Any] | str) -> None:
    if isinstance(answer, str):
        print(answer)
    else:
        print(json.dumps(answer, ensure_ascii=False, allow_nan=False))


def _draw_pads(found: Any, folder: Path) -> None:
    from calibration.picture import draw_path

    folder = _folder(folder)
    for pad in found.pads:
        path = folder / f"pad-{pad.curve.chart.pad}.svg"
        write_bytes(path, draw_path(pad.curve).encode())
        print(f"wrote {path}", file=sys.stderr)


def _folder(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise UnusableError(
            f"{folder}: cannot be made ({fault.strerror}); choose another"
        ) from None
    return folder
