"""`dipstep card`: write the reference card to print; measure a new one; watch one for fading."""

from __future__ import annotations

import argparse
import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from api.cli.common import UnusableError, complain, open_shop, read_bytes, write_bytes

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep card --pdf card.pdf --layout card.json --sheet a4"


def add(verbs: Verbs) -> None:
    """Add the verb with its own verbs to the command."""
    verb = verbs.add_parser(
        "card",
        help="write the reference card to print; measure a new one",
        description="Write the reference card as a PDF at true scale, and its layout as JSON. "
        "Print at 100 % and check the ruler on the card.",
        epilog=EXAMPLE,
    )
    verb.add_argument("--pdf", type=Path, metavar="FILE", help="the card to print")
    verb.add_argument("--layout", type=Path, metavar="FILE", help="its layout, for programs")
    verb.add_argument(
        "--sheet",
        choices=("card", "a4", "letter"),
        default="card",
        help="the card alone (default), or sheets of cards with crop marks",
    )
    verb.add_argument(
        "--serial", metavar="TEXT", help="printed on the card; several on a sheet are counted"
    )
    verb.set_defaults(run=run, usage_error=verb.error)
    kinds = verb.add_subparsers(dest="kind", metavar="WHAT")
    _add_measure(kinds)
    _add_watch(kinds)


def _add_measure(kinds: Verbs) -> None:
    measure = kinds.add_parser(
        "measure",
        help="measure a new card by photos beside one already measured",
        description="Measure a new card's own colours by three photos or more, in several lights. "
        "Lay it to the right of a measured card, or below it, both the same way up; or beside a "
        "published 24-patch chart. Turn both together by half a turn between the photos.",
        epilog="example: dipstep card measure a.jpg b.jpg c.jpg d.jpg --beside old.txt "
        "--serial 2026-2 --out new.txt",
    )
    measure.add_argument("photos", type=Path, nargs="+", metavar="PHOTO", help="of both")
    beside = measure.add_mutually_exclusive_group(required=True)
    beside.add_argument(
        "--beside", type=Path, metavar="MEASURED", help="the measured card's colours"
    )
    beside.add_argument(
        "--chart", action="store_true", help="a published 24-patch chart lies beside the new card"
    )
    measure.add_argument("--layout", type=Path, metavar="CARD.json", help="a card of your own")
    measure.add_argument("--serial", metavar="TEXT", help="what is written on the new card")
    measure.add_argument(
        "--out", type=Path, required=True, metavar="FILE", help="CGATS.17, to be written"
    )
    measure.add_argument("--json", action="store_true", help="one JSON object on standard output")
    measure.set_defaults(run=run_measure)


def _add_watch(kinds: Verbs) -> None:
    watch = kinds.add_parser(
        "watch",
        help="say whether a card in use is fading",
        description="Say of each measured card that the shop keeps whether its colours still fit, "
        "from all readings made with it in fair light. It tells a fifth of magenta and yellow gone "
        "after some thirty photos, a tenth seldom: the control water, dipped each morning, sees "
        "it sooner.",
        epilog="example: dipstep card watch",
    )
    watch.add_argument("name", nargs="?", metavar="CARD", help="one card; all if not given")
    watch.add_argument("--json", action="store_true", help="one JSON object on standard output")
    watch.set_defaults(run=run_watch)


def run(args: argparse.Namespace) -> int:
    """Write the files and return 0."""
    from reader.card import layout_json, standard_card

    if not args.pdf and not args.layout:
        args.usage_error("name at least one file to write: --pdf card.pdf or --layout card.json")
    if args.pdf and args.layout and args.pdf.absolute() == args.layout.absolute():
        raise UnusableError(f"{args.pdf}: cannot be both PDF and layout; name two files")
    card = standard_card()
    if args.pdf:
        from reader.card_sheet import draw_sheet

        try:
            sheet = draw_sheet(card, args.sheet, args.serial)
        except ValueError as fault:
            raise UnusableError(fault) from None
        write_bytes(args.pdf, sheet)
        complain(f"{args.pdf}: print at 100 % (no fit to page) and check the ruler on the card")
    if args.layout:
        write_bytes(args.layout, (layout_json(card).rstrip() + "\n").encode())
    return 0


def run_measure(args: argparse.Namespace) -> int:
    """Write the new card's colours; say what could not be used and how sure they are."""
    from api.card_measure import measure_card, written
    from api.job import measured_card
    from api.named import Named
    from reader.card import load_card, standard_card

    def named(path: Path) -> Named:
        return Named(str(path), read_bytes(path))

    try:
        card = standard_card()
        if args.layout:
            card = load_card(named(args.layout).text(), str(args.layout))
        known = measured_card(card, named(args.beside)) if args.beside else None
        found = measure_card([named(path) for path in args.photos], known, card)
    except ValueError as fault:
        raise UnusableError(fault) from None
    write_bytes(args.out, written(found, args.serial, date.today()).encode())
    told = {
        "out": str(args.out),
        "patches": len(found.card.labs),
        "photos": found.photos,
        "uncertainty_de": round(found.uncertainty, 2),
        "notes": list(found.notes),
    }
    if args.json:
        print(json.dumps(told, ensure_ascii=False, allow_nan=False))
        return 0
    print(
        f"wrote {args.out}: {told['patches']} patches from {found.photos} photos, "
        f"each within about {found.uncertainty:.1f} (CIELAB, one deviation)"
    )
    for note in found.notes:
        print(f"- {note}")
    return 0


def run_watch(args: argparse.Namespace) -> int:
    """Print of each kept card whether it fades."""
    from api.card_books import card_lines

    with open_shop() as store, store.reading() as session:
        lines = card_lines(session)
    if args.name is not None:
        known = ", ".join(one.name for one in lines) or "none"
        lines = tuple(one for one in lines if one.name == args.name)
        if not lines:
            raise UnusableError(f"{args.name}: no card of that name is kept; there are: {known}")
    if args.json:
        print(json.dumps({"cards": [_watched(one) for one in lines]}, ensure_ascii=False))
        return 0
    if not lines:
        print("no measured card is kept yet; add one in the shop's page")
    for one in lines:
        print(f"{one.title}: {one.watch.sentence} ({len(one.fits)} photos)")
    return 0


def _watched(one: Any) -> dict[str, Any]:
    return {
        "name": one.name,
        "version": one.version,
        "serial": one.serial,
        "measured_on": one.measured_on,
        "photos": len(one.fits),
        "state": one.watch.state,
        "rise_de00": round(one.watch.rise_de00, 3),
        "chance": one.watch.chance,
        "sentence": one.watch.sentence,
    }
