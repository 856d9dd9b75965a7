"""`dipstep restore`: bring a backup into an empty shop folder."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from api.cli.common import UnusableError, complain, reason

if TYPE_CHECKING:
    from api.cli.common import Verbs

EXAMPLE = "example: DIPSTEP_HOME=/srv/shop dipstep restore /media/stick/shop-2026-06-01"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "restore",
        help="bring a backup into an empty shop folder",
        description="Check a backup whole, then bring it into an empty shop folder (DIPSTEP_HOME) "
        "and an empty database.",
        epilog=EXAMPLE,
    )
    verb.add_argument("folder", type=Path, metavar="FOLDER", help="what `dipstep backup` wrote")
    verb.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Restore and return 0."""
    from api.backup import restore
    from api.settings import Settings

    try:
        settings = Settings.from_environ(os.environ)
        manifest = restore(settings, args.folder.absolute())
    except OSError as fault:
        raise UnusableError(
            f"the shop folder cannot be written ({reason(fault)}); set DIPSTEP_HOME"
        ) from None
    except ValueError as fault:
        raise UnusableError(fault) from None
    complain(f"{settings.home}: {len(manifest['files'])} files of {manifest['made_at']} restored")
    return 0
