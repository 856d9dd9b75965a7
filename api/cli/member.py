"""`dipstep member`: who may come in, and keys for programs."""

from __future__ import annotations

import argparse
import getpass
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from api.cli.common import UnusableError, complain, open_shop

if TYPE_CHECKING:
    from api.cli.common import Verbs
    from api.store import Store

EXAMPLE = "example: dipstep member add Robin --role keeper"


def add(verbs: Verbs) -> None:
    """Add the verb to the command."""
    verb = verbs.add_parser(
        "member",
        help="who may come in, and keys for programs",
        description="Members of the shop: technicians read and enter, QA also decides reviews, "
        "keepers also look after tables, cards and people. A password is asked for, or read from "
        "standard input when that is no terminal.",
        epilog=EXAMPLE,
    )
    actions = verb.add_subparsers(dest="action", required=True, metavar="ACTION")
    adding = actions.add_parser("add", help="add a member", epilog=EXAMPLE)
    adding.add_argument("name", metavar="NAME")
    adding.add_argument(
        "--role", choices=("technician", "qa", "keeper"), default="technician", help="technician"
    )
    actions.add_parser("list", help="list the members", epilog="example: dipstep member list")
    gone = actions.add_parser(
        "retire", help="let a member in no longer", epilog="example: dipstep member retire Robin"
    )
    gone.add_argument("name", metavar="NAME")
    key = actions.add_parser(
        "key",
        help="make a key for a program",
        epilog="example: dipstep member key Robin --label till",
    )
    key.add_argument("name", metavar="NAME")
    key.add_argument("--label", default="key", help="what the key is for")
    verb.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Do one action on the shop's members and return 0."""
    with open_shop(start=True) as store:
        ACTIONS[args.action](store, args)
    return 0


def add_one(store: Store, args: argparse.Namespace) -> None:
    """Add a member."""
    from api import people

    word = password()
    with store.writing() as session:
        people.add_member(session, args.name, args.role, word, datetime.now(UTC))
    complain(f"{args.name} may come in as {args.role}")


def list_all(store: Store, _: argparse.Namespace) -> None:
    """Print every member with the role."""
    from api import people

    with store.reading() as session:
        for one in people.members(session):
            print(f"{one.name}\t{one.role}\tsince {one.added_at:%Y-%m-%d}")


def retire_one(store: Store, args: argparse.Namespace) -> None:
    """Let a member in no longer."""
    from api import people

    with store.writing() as session:
        people.retire_member(session, args.name, datetime.now(UTC))
    complain(f"{args.name} may come in no longer; what was done stays under the name")


def make_key(store: Store, args: argparse.Namespace) -> None:
    """Print a new key for a program."""
    from api import people

    with store.writing() as session:
        _, secret = people.new_token(session, args.name, args.label, datetime.now(UTC))
    complain("keep this key safe, it is shown only now:")
    print(secret)


ACTIONS = {"add": add_one, "list": list_all, "retire": retire_one, "key": make_key}


def password() -> str:
    """Return a password, typed twice, or the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first = getpass.getpass("dipstep: password: ")
    if getpass.getpass("dipstep: the same again: ") != first:
        raise UnusableError("the two passwords differ; try again")
    return first
