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


def parser(asked: str = "") -> argparse.ArgumentParser:
    """Return the parser with the verb asked for, or with every verb when it is none of them.

    The other verbs' modules cost a fifth of the time that `dipstep next` has.
    """
    command = argparse.ArgumentParser(
        prog="dipstep", description="From a photo of a dipped test strip to the next step."
    )
    verbs = command.add_subparsers(dest="verb", required=True, metavar="VERB")
    for verb in (asked,) if asked in VERBS else VERBS:
        import_module(f"api.cli.{verb}").add(verbs)
    return command


def main(argv: Sequence[str] | None = None) -> int:
    """Run one verb; 0 an answer, 1 input that cannot be used, 2 wrong usage."""
    words = sys.argv[1:] if argv is None else argv
    args = parser(words[0] if words else "").parse_args(words)
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
