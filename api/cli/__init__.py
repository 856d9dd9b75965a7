"""The command `dipstep`: one verb a module, loaded only as far as the verb needs."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module

VERBS = ("card", "read", "next", "table", "serve", "demo")


def parser() -> argparse.ArgumentParser:
    """Return the parser with every verb added."""
    command = argparse.ArgumentParser(
        prog="dipstep", description="From a photo of a dipped test strip to the next step."
    )
    verbs = command.add_subparsers(dest="verb", required=True, metavar="VERB")
    for verb in VERBS:
        import_module(f"api.cli.{verb}").add(verbs)
    return command


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb; 0 an answer, 1 input that cannot be used, 2 wrong usage."""
    args = parser().parse_args(argv)
    status: int = args.run(args)
    return status


if __name__ == "__main__":
    sys.exit(main())
