"""The shop's products and procedures: what is on the van, and which steps a tub may follow."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from sqlalchemy.orm import Session

from api import books, goods, goods_books, shelf
from api.deps import Asker, DeskOf, Keeper, StoreOf, who_asks
from api.errors import ProblemError
from api.forms import FormOf, upload
from api.named import Named
from api.pages.render import page
from api.people import Who
from api.shelf import Kind
from api.words import plain
from dosing.procedure import BUILT_IN

router = APIRouter(prefix="/shop/goods", include_in_schema=False, dependencies=[Depends(who_asks)])

KINDS: Mapping[str, Kind] = {"products": "products", "procedure": "procedure"}
STRENGTHS = (
    ("available_chlorine", "available chlorine", 100.0, "%"),
    ("purity", "pure", 100.0, "%"),
    ("removes_ug_per_g", "takes out", 1.0, "ug phosphate per g"),
    ("removes_mg_caco3_per_g", "takes out", 1.0, "mg hardness per g"),
    ("removes_mg_cl2_per_g", "takes out", 1.0, "mg chlorine per g"),
)


@dataclass(frozen=True)
class Good:
    """One product as the page shows it."""

    id: str
    name: str
    use: str
    strength: str


@dataclass(frozen=True)
class Version:
    """One version on the shelf."""

    kind: str
    name: str
    version: int
    told: str
    added_at: str
    added_by: str
    offered: bool


@dataclass(frozen=True)
class GoodsPage:
    """What the page shows."""

    goods: tuple[Good, ...]
    own: bool
    """Whether these are the shop's own products, or the generic ones."""
    products: tuple[Version, ...]
    procedures: tuple[Version, ...]
    built_in: tuple[str, ...]
    keeper: bool
    trouble: str | None = None
    trouble_kind: str | None = None


@router.get("")
def get_goods(store: StoreOf, who: Asker) -> HTMLResponse:
    """Show products and procedures."""
    with store.reading() as session:
        return page("goods.html", shown(session, who))


def shown(
    session: Session, who: Who, trouble: str | None = None, kind: str | None = None
) -> GoodsPage:
    """Return what the page shows."""
    own = goods.on_the_van(session)
    return GoodsPage(
        goods=tuple(good(one) for one in own or goods.generic()),
        own=bool(own),
        products=versions(session, "products"),
        procedures=versions(session, "procedure"),
        built_in=BUILT_IN,
        keeper=who.may("keeper"),
        trouble=trouble,
        trouble_kind=kind,
    )


def good(record: Mapping[str, Any]) -> Good:
    """Return one product in words."""
    strength = [
        f"{record[field] * times:g} {unit} {words}" if unit == "%" else
        f"{words} {record[field] * times:g} {unit}"
        for field, words, times, unit in STRENGTHS
        if record.get(field) is not None
    ]  # fmt: skip
    use = goods.kind_in_words(record["kind"])
    return Good(record["id"], record.get("name") or record["id"], use, ", ".join(strength))


def versions(session: Session, kind: Kind) -> tuple[Version, ...]:
    """Return every version of a kind, newest first within a name."""
    offered = {one.id for one in shelf.offered(session, kind)}
    return tuple(
        Version(
            kind,
            one.name,
            one.version,
            told(session, kind, one.name, one.facts),
            one.added_at.isoformat(),
            one.added_by,
            one.id in offered,
        )
        for one in shelf.versions(session, kind)
    )


def told(session: Session, kind: Kind, name: str, facts: Mapping[str, Any]) -> str:
    """Return what a kept file holds, in a few words."""
    if kind == "products":
        count = len(facts["products"])
        return f"{count} product{'s' if count > 1 else ''}"
    tubs = len(books.followers(session, name))
    follow = f"; {tubs} tub{'s' if tubs != 1 else ''} on it" if tubs else ""
    sanitizers = ", ".join(plain(one) for one in facts["sanitizers"])
    return f"{len(facts['stages'])} stages, for {sanitizers}{follow}"


@router.post("/keep")
def post_keep(form: FormOf, store: StoreOf, desk: DeskOf, who: Keeper) -> Response:
    """Keep a list of products or a procedure as the next version of its name."""
    kind = kind_of(form)
    file, name = upload(form, "file"), upload(form, "name")
    try:
        if not isinstance(file, Named) or not isinstance(name, str):
            raise ValueError("give the file and a name for it")
        goods_books.put(store, kind, name[: shelf.NAME_LENGTH], file, desk)
    except ValueError as fault:
        with store.reading() as session:
            return page("goods.html", shown(session, who, str(fault), kind), 422)
    return RedirectResponse("/shop/goods", 303)


@router.post("/retire")
def post_retire(form: FormOf, store: StoreOf, desk: DeskOf, _: Keeper) -> Response:
    """Offer a list or procedure no longer; its versions stay."""
    with store.writing() as session:
        goods_books.retire(session, kind_of(form), str(upload(form, "name")), desk)
    return RedirectResponse("/shop/goods", 303)


def kind_of(form: Any) -> Kind:
    """Return the kind the form names."""
    kind = KINDS.get(str(upload(form, "kind")))
    if kind is None:
        raise ProblemError(422, "bad_kind", "kind: is neither products nor procedure")
    return kind


@router.get("/generic-products.toml")
def get_generic() -> Response:
    """Return the generic products' file, to start an own list from."""
    return toml("products.toml")


@router.get("/built-in/{name}.toml")
def get_built_in(name: str) -> Response:
    """Return a built-in procedure's file, to start an own one from."""
    if name not in BUILT_IN:
        raise ProblemError(404, "no_such_name", f"no procedure {name!r} is built in")
    return toml(f"procedures/{name}.toml")


def toml(path: str) -> Response:
    """Return one of the built-in files."""
    data = (files("dosing") / "data" / path).read_bytes()
    name = path.rsplit("/", 1)[-1]
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(data, media_type="application/toml", headers=headers)


@router.get("/{kind}/{name}")
def get_file(kind: str, name: str, store: StoreOf, version: int | None = None) -> Response:
    """Return a kept file as it was sent."""
    with store.reading() as session:
        found = KINDS.get(kind)
        kept = shelf.latest(session, found, name, version) if found else None
    if kept is None:
        raise ProblemError(404, "no_such_name", f"no {kind} {name!r} of this version is kept")
    return Response(kept.data, media_type="text/plain; charset=utf-8")
