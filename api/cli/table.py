"""`dipstep table`: check, build and compare calibration tables; mix waters of known value."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
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
    _add_build(kinds)
    _add_compare(kinds)
    _add_recipe(kinds)


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


def _add_build(kinds: Verbs) -> None:
    build = kinds.add_parser(
        "build",
        help="make a table from photos of strips in known waters",
        description="Make a calibration table from photos of strips dipped in waters of known "
        "value, at least four strips a value. A strip unlike its fellows is named and set aside.",
        epilog="example: dipstep table build runs.csv --strip strip.csv --out table.csv",
    )
    build.add_argument("runs", type=Path, metavar="RUNS.csv", help="header photo,analyte,value")
    build.add_argument(
        "--strip", type=Path, required=True, metavar="STRIP.csv", help="the strip's pads"
    )
    _add_card(build)
    build.add_argument("--out", type=Path, required=True, metavar="TABLE.csv", help="to be written")
    build.add_argument("--expires", type=day, metavar="DATE", help="the lot's own date")
    build.add_argument("--json", action="store_true", help="one JSON object on standard output")
    build.set_defaults(run=run_build)


def _add_compare(kinds: Verbs) -> None:
    compare = kinds.add_parser(
        "compare",
        help="say whether a new lot reads as the old table says",
        description="Compare two tables, or a few strips of a new lot in known waters with the "
        "old table: three strips or more, best in waters of different values. The test: each "
        "pad's mean shift along the old path, in steps, over its standard error (Student's t, all "
        "pads together 3 false alarms in 100); a pad fails too when its colours lie beside the "
        "path, or its strips contradict one another, by a chance under 1 in 10,000.",
        epilog="example: dipstep table compare old.csv --runs new-lot.csv",
    )
    compare.add_argument("table", type=Path, metavar="OLD.csv", help="the table in use")
    other = compare.add_mutually_exclusive_group(required=True)
    other.add_argument("new", type=Path, nargs="?", metavar="NEW.csv", help="the new lot's table")
    other.add_argument(
        "--runs", type=Path, metavar="RUNS.csv", help="photos of the new lot: photo,analyte,value"
    )
    _add_card(compare)
    compare.add_argument("--json", action="store_true", help="one JSON object on standard output")
    compare.set_defaults(run=run_compare)


def _add_recipe(kinds: Verbs) -> None:
    recipe = kinds.add_parser(
        "recipe",
        help="tell how to mix waters of known value",
        description="Tell how to mix a series of waters of known value from household-pure salts: "
        "what to weigh, how to dilute, how sure each value is, with the cautions.",
        epilog="example: dipstep table recipe calcium_hardness --volume-ml 500",
    )
    recipe.add_argument("analyte", metavar="ANALYTE", help="for example total_alkalinity or ph")
    recipe.add_argument(
        "--values",
        type=numbers,
        metavar="V,V,...",
        help="values wanted; a usual series if not given",
    )
    recipe.add_argument(
        "--volume-ml", type=float, default=500.0, metavar="ML", help="of each water (500)"
    )
    recipe.add_argument("--from", dest="formula", metavar="FORMULA", help="what to make it from")
    recipe.add_argument(
        "--purity", type=float, metavar="X", help="mass fraction; bleach: its available chlorine"
    )
    recipe.add_argument(
        "--scale-error-g", type=float, default=0.01, metavar="G", help="of your scale (0.01)"
    )
    recipe.add_argument("--json", action="store_true", help="one JSON object on standard output")
    recipe.set_defaults(run=run_recipe)


def numbers(text: str) -> list[float]:
    """Parse numbers parted by commas, for argparse."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} are not numbers such as 0,50,100") from None


def _add_card(verb: argparse.ArgumentParser) -> None:
    verb.add_argument(
        "--card",
        type=Path,
        metavar="MEASURED",
        help="the card's measured colours (CGATS.17, CxF3 or CSV)",
    )
    verb.add_argument(
        "--layout", type=Path, metavar="CARD.json", help="a card of your own (default: ours)"
    )


def day(text: str) -> date:
    """Parse a date, for argparse."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a date such as 2026-03-31") from None


def run_check(args: argparse.Namespace) -> int:
    """Print what is known of the table; exit 1 where it cannot be used at all."""
    from api.table_tell import tell_check, tell_faults
    from api.table_units import unit_faults
    from calibration.check import as_dict, check_table, faults_dict
    from calibration.rows import decode, first_sentence
    from calibration.table import plans_of, read_table

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
    units = tuple(unit_faults(plans_of(table)))
    if units:
        worse = "doubtful" if found.verdict == "good" else found.verdict
        found = replace(found, faults=(*found.faults, *units), verdict=worse)
    _print(as_dict(found) if args.json else tell_check(found))
    if args.picture:
        _draw_pads(found, args.picture)
    return 0


def run_build(args: argparse.Namespace) -> int:
    """Write the table; print what was set aside and what the table is worth."""
    from api.table_tell import tell_built
    from api.table_units import check_units
    from calibration.check import as_dict, check_table
    from calibration.rows import decode
    from calibration.standards import table_from_standards
    from calibration.table import load_strip, load_table, table_text

    name = str(args.runs)
    try:
        plans = load_strip(decode(read_bytes(args.strip), str(args.strip)), str(args.strip))
        check_units(plans, str(args.strip))
        measured = _measured(args.runs, plans, args)
        built = table_from_standards(plans, measured.pads, name, args.expires)
        written = table_text(built.table)
        found = check_table(load_table(written, str(args.out)))
    except ValueError as fault:
        raise UnusableError(fault) from None
    write_bytes(args.out, written.encode())
    odd = built.told_aside
    notes = [*measured.doubts, *measured.unused, *built.notes]
    if args.json:
        _print({"out": str(args.out), "set_aside": odd, "notes": notes, "check": as_dict(found)})
    else:
        print(tell_built(str(args.out), odd, notes, found))
    return 0


def run_compare(args: argparse.Namespace) -> int:
    """Print whether the new lot passes."""
    from api.table_tell import tell_comparison
    from calibration.lots import Strip, as_dict, compare_strips, compare_tables
    from calibration.rows import decode
    from calibration.table import load_table, plans_of

    def table(path: Path) -> Any:
        return load_table(decode(read_bytes(path), str(path)), str(path))

    notes: tuple[str, ...] = ()
    try:
        old = table(args.table)
        if args.runs:
            measured = _measured(args.runs, plans_of(old), args)
            notes = (*measured.doubts, *measured.unused)
            strips = [Strip(p.pad, p.value, p.lab, p.photo) for p in measured.pads]
            found = compare_strips(old, strips)
        else:
            found = compare_tables(old, table(args.new))
    except ValueError as fault:
        raise UnusableError(fault) from None
    if args.json:
        _print({**as_dict(found), "notes": list(notes)})
    else:
        print(tell_comparison(found, notes))
    return 0


def run_recipe(args: argparse.Namespace) -> int:
    """Print how to mix the series, always with the cautions."""
    from api.table_tell import tell_recipe
    from dosing.recipe import Means, as_dict, mix

    try:
        means = Means(scale_error_g=args.scale_error_g)
        recipe = mix(args.analyte, args.values, args.volume_ml, args.formula, args.purity, means)
    except ValueError as fault:
        raise UnusableError(fault) from None
    _print(as_dict(recipe) if args.json else tell_recipe(recipe))
    return 0


def _measured(runs: Path, plans: Any, args: argparse.Namespace) -> Any:
    """Return the colours of the pads of known value in all photos of the list."""
    from api.job import measured_card
    from api.named import Named
    from api.table_build import measure_runs
    from calibration.rows import decode
    from calibration.runs import load_runs
    from reader.card import load_card, standard_card

    def named(path: Path) -> Named:
        return Named(str(path), read_bytes(path))

    known = load_runs(decode(read_bytes(runs), str(runs)), str(runs))
    card = standard_card()
    if args.layout:
        card = load_card(named(args.layout).text(), str(args.layout))
    if args.card:
        card = measured_card(card, named(args.card))
    return measure_runs(known, plans, lambda p: read_bytes(runs.parent / p), card, str(runs))


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
