"""`dipstep backup`: everything the shop keeps, into one folder."""

from __future__ import annotations

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.common import UnusableError, complain, reason

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: dipstep backup /media/stick/shop-2026-06-01"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "backup",
        help="copy everything the shop keeps into one folder",
        description="Copy everything the shop keeps, photos and books, into one new folder. "
        "The service may go on meanwhile.",
        epilog=EXAMPLE,
    )
    verb.add_argument("folder", type=Path, metavar="FOLDER", help="a new folder")
    verb.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the backup and return 0."""
    from api.backup import back_up
    from api.settings import Settings

    try:
        settings = Settings.from_environ(os.environ)
        manifest = back_up(settings, args.folder.absolute(), datetime.now(UTC))
    except OSError as fault:
        raise UnusableError(
            f"{args.folder}: cannot be written ({reason(fault)}); choose another place"
        ) from None
    except ValueError as fault:
        raise UnusableError(fault) from None
    complain(f"{args.folder}: {len(manifest['files'])} files kept and checked by their hashes")
    return 0
