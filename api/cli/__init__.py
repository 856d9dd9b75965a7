"""The command `dipstep`: one verb a module, loaded only as far as the verb needs."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module

from api.cli.common import UnusableError, complain, reason

VERBS = (
    *("card", "read", "next", "plan", "table", "demo"),
    *("serve", "member", "backup", "restore"),
)

CANNOT = 1
"""Exit status: the input cannot be used."""


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
    try:
        status: int = args.run(args)
        sys.stdout.flush()
    except UnusableError as fault:
        complain(fault)
        return CANNOT
    except BrokenPipeError:
        return _nobody_listens()
    except OSError as fault:
        if fault.filename is not None:
            complain(f"{fault.filename}: {reason(fault)}; check the path and who may use it")
            return CANNOT
        _nobody_listens()
        complain(f"the answer cannot be written ({reason(fault)}); make room or print elsewhere")
        return CANNOT
    except KeyboardInterrupt:
        complain("stopped by the keyboard; nothing was kept")
        return 130
    return status


def _nobody_listens() -> int:
    """Let Python end quietly when standard output cannot take what is left."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return CANNOT


if __name__ == "__main__":
    sys.exit(main())
