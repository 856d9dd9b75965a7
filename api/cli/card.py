"""`dipstep card`: write the reference card to print, and its layout."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.common import UnusableError, complain, write_bytes

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep card --pdf card.pdf --layout card.json --sheet a4"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "card",
        help="write the reference card to print",
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
    verb.set_defaults(run=run, usage_error=verb.error)


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

        write_bytes(args.pdf, draw_sheet(card, args.sheet))
        complain(f"{args.pdf}: print at 100 % (no fit to page) and check the ruler on the card")
    if args.layout:
        write_bytes(args.layout, (layout_json(card).rstrip() + "\n").encode())
    return 0
