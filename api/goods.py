"""The shop's own products and procedures: checked, kept by version, and used by the tubs."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import shelf
from api.advise import FindProcedure
from api.named import Named
from api.procedures import SUFFIX, shop_procedures
from api.store import KeptFile, Store
from api.words import plain
from dosing.products import KINDS, Product, generic_products, load_products

Records = list[dict[str, Any]]

IN_ERROR = re.compile(r"\[(\d+)\]")
FIELDS = tuple(field.name for field in fields(Product) if field.name != "former")
JSON = re.compile(r'\s*(\{|\[\s*[\]{\d"])')
"""How a file begins that is JSON and no TOML."""
NAME = re.compile(r"[\w][\w .-]*")


def products_of_file(file: Named) -> Records:
    """Return the product records of a TOML or JSON file.

    Raises ValueError with the line of the first fault, what is wrong and what to do.
    """
    text = file.text()
    records = _records(text, file.name)
    if not records:
        raise ValueError(f"{file.name}: holds no product; write one [[product]] for each")
    try:
        load_products(records, "product")
    except ValueError as fault:
        place = IN_ERROR.search(str(fault))
        line = _line_of(text, int(place[1])) if place else None
        where = file.name if line is None else f"{file.name}, line {line}"
        raise ValueError(f"{where}: {fault}") from None
    return [{key: one[key] for key in FIELDS if one.get(key) is not None} for one in records]


def _records(text: str, name: str) -> Records:
    """Return the records as written, unchecked."""
    if JSON.match(text):
        try:
            told = json.loads(text)
        except json.JSONDecodeError as fault:
            where = f"{name}, line {fault.lineno}"
            raise ValueError(f"{where}: {fault.msg}; correct the JSON there") from None
        except RecursionError:
            raise ValueError(f"{name}: is nested too deep; write a plain list") from None
        found = told.get("products") if isinstance(told, dict) else told
    else:
        try:
            found = tomllib.loads(text).get("product")
        except tomllib.TOMLDecodeError as fault:
            raise ValueError(f"{name}: {fault}; correct the TOML there") from None
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise ValueError(f"{name}: is no list of products; write one [[product]] for each")
    return found


def _line_of(text: str, place: int) -> int | None:
    """Return the line where a record begins."""
    start = r"^[ \t]*\[\[\s*product\s*\]\]" if not JSON.match(text) else r'"id"'
    begun = [found.start() for found in re.finditer(start, text, re.MULTILINE)]
    return text.count("\n", 0, begun[place]) + 1 if place < len(begun) else None


def procedure_facts(file: Named) -> dict[str, Any]:
    """Return what a procedure says of itself; ValueError with the line of the first fault."""
    from dosing.procedure import load_procedure

    found = load_procedure(file.text(), file.name)
    return {
        "title": found.name,
        "sanitizers": list(found.sanitizers),
        "stages": [stage.id for stage in found.stages],
    }


def checked_name(kind: str, name: str) -> str:
    """Return the name a procedure is kept under: a file's, so that a log can name it."""
    name = name.strip()
    if kind != "procedure":
        return name
    if not NAME.fullmatch(name):
        raise ValueError(f"name: {name!r} is no file's name; use letters, digits, - and _")
    return name if name.endswith(SUFFIX) else name + SUFFIX


def check_beside(session: Session, name: str, records: Records) -> None:
    """Refuse an id that another list or an earlier version uses for another thing."""
    mine = {one["id"]: one for one in records}
    for kept in shelf.offered(session, "products"):
        for one in kept.facts["products"]:
            if kept.name != name and one["id"] in mine:
                raise ValueError(
                    f"product {one['id']!r}: stands in the list {kept.name!r} too; "
                    "keep it in one of them"
                )
    for one in (*known_before(session), *generic()):
        same = mine.get(one["id"])
        if same and _nature(same) != _nature(one):
            raise ValueError(
                f"product {one['id']!r}: was a {one['kind']} of {one.get('formula', 'no formula')} "
                "before, and doses of it stand in the logs; give the other product its own id"
            )


def _nature(record: Mapping[str, Any]) -> tuple[Any, Any]:
    return record["kind"], record.get("formula")


def known_before(session: Session) -> Iterable[dict[str, Any]]:
    """Return the records of every version ever kept, newest first within a name."""
    for kept in shelf.versions(session, "products"):
        yield from kept.facts["products"]


def generic() -> Records:
    """Return the built-in products as records."""
    return [
        {key: value for key, value in asdict(one).items() if key in FIELDS and value is not None}
        for one in generic_products().values()
    ]


def on_the_van(session: Session) -> Records:
    """Return the shop's own products now in use; empty where the generic ones serve."""
    lists = shelf.offered(session, "products")
    return [dict(one) for kept in lists for one in kept.facts["products"]]


def at_hand(session: Session, events: Iterable[Mapping[str, Any]]) -> Records:
    """Return the shop's own products, and after them what was dosed before and has left the list.

    Empty where the shop keeps no list: then the generic ones serve.
    """
    own = on_the_van(session)
    if not own:
        return _gone(session, events)
    return [*own, *_dosed_before(session, own, events)]


def _gone(session: Session, events: Iterable[Mapping[str, Any]]) -> Records:
    """Return the generic products with those dosed from retired lists, if there are any."""
    built_in = generic()
    former = _dosed_before(session, built_in, events)
    return [*built_in, *former] if former else []


def _dosed_before(session: Session, known: Records, events: Iterable[Mapping[str, Any]]) -> Records:
    dosed = {one.get("product") for one in events if one.get("type") == "dose"}
    missing = dosed - {one["id"] for one in known}
    if not missing:
        return []
    former: dict[str, dict[str, Any]] = {}
    for one in (*known_before(session), *generic()):
        if one["id"] in missing:
            former.setdefault(one["id"], {**one, "former": True})
    return list(former.values())


def kept_procedures(store: Store, home: Path) -> FindProcedure:
    """Return a finder of the shop's procedures: those kept in the books, then its folder's."""
    in_folder = shop_procedures(home)

    def find(name: str) -> str | None:
        if not name.endswith(SUFFIX):
            return in_folder(name)
        with store.reading() as session:
            kept = shelf.latest(session, "procedure", name)
        return in_folder(name) if kept is None else shelf.named(kept).text()

    return find


def procedure_names(session: Session, home: Path) -> list[str]:
    """Return the shop's own procedures that can be chosen."""
    kept = [one.name for one in shelf.offered(session, "procedure")]
    gone = set(session.scalars(select(KeptFile.name).where(KeptFile.kind == "procedure")))
    files = [path.name for path in (home / "procedures").glob(f"*{SUFFIX}")]
    return sorted({*kept, *(one for one in files if one not in gone)})


def kind_in_words(kind: str) -> str:
    """Return what a kind of product is bought for."""
    moved = KINDS[kind]
    if moved.analyte is None:
        return "never dosed"
    return f"{plain(moved.analyte)} {'up' if moved.sign > 0 else 'down'}"
