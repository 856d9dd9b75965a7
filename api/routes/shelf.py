"""/api/tables, /api/cards, /api/products, /api/procedures: kept files, by name and version."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from fastapi.responses import JSONResponse, Response

from api import goods_books, shelf
from api.deps import Asker, DeskOf, Keeper, StoreOf, who_asks
from api.errors import ProblemError
from api.forms import FILE, FormOf, form_of_fields, upload
from api.named import Named
from api.routes.tubs import unusable
from api.schemas import ShelfOut, problems
from api.shelf import Kind
from api.store import KeptFile

FORM = form_of_fields(
    ("file", "name"), file=FILE, name={"type": "string", "maxLength": shelf.NAME_LENGTH}
)
Version = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
GONE = problems(401, 404, 422)
KEPT_BEFORE: dict[int | str, dict[str, Any]] = {
    200: {"model": ShelfOut, "description": "This very file is the newest version already."}
}


def router_for(kind: Kind, path: str) -> APIRouter:
    """Return the calls for one kind of kept file."""
    router = APIRouter(prefix=f"/api/{path}", tags=[path], dependencies=[Depends(who_asks)])

    @router.get("", responses=problems(401), name=f"list_{path}")
    def get_all(store: StoreOf, _: Asker) -> list[ShelfOut]:
        """List every version kept, newest first within a name."""
        with store.reading() as session:
            offered = {one.name for one in shelf.offered(session, kind)}
            return [told(one, one.name not in offered) for one in shelf.versions(session, kind)]

    @router.post(
        "",
        status_code=201,
        response_model=ShelfOut,
        responses={**problems(400, 401, 403, 413, 422), **KEPT_BEFORE},
        openapi_extra=FORM,
        name=f"keep_{path}",
    )
    def post_one(form: FormOf, store: StoreOf, desk: DeskOf, _: Keeper) -> JSONResponse:
        """Keep a file as the next version of its name; the versions before stay."""
        file, name = upload(form, "file"), upload(form, "name")
        if not isinstance(file, Named):
            raise ProblemError(422, "no_file", "file: nothing was sent; attach the file")
        if not isinstance(name, str) or len(name) > shelf.NAME_LENGTH:
            raise ProblemError(
                422, "no_name", f"name: give one of 1 to {shelf.NAME_LENGTH} letters"
            )
        with unusable():
            kept, new = goods_books.put(store, kind, name, file, desk)
            return JSONResponse(told(kept, False).model_dump(), 201 if new else 200)

    @router.get("/{name}", response_class=Response, responses=GONE, name=f"file_of_{path}")
    def get_one(name: str, store: StoreOf, _: Asker, version: Version = None) -> Response:
        """Return the file as it was sent: the newest version, or the one asked for."""
        with store.reading() as session:
            kept = shelf.latest(session, kind, name, version)
        if kept is None:
            raise ProblemError(404, "no_such_name", f"no {kind} {name!r} of this version is kept")
        return Response(kept.data, media_type="text/plain; charset=utf-8")

    @router.delete("/{name}", status_code=204, responses=GONE, name=f"retire_{path}")
    def delete_one(name: str, store: StoreOf, desk: DeskOf, _: Keeper) -> None:
        """Offer a name no longer; its versions and what was read with them stay."""
        with store.writing() as session:
            if not goods_books.retire(session, kind, name, desk):
                raise ProblemError(404, "no_such_name", f"no {kind} {name!r} is kept")

    return router


def told(kept: KeptFile, retired: bool) -> ShelfOut:
    """Return what is known of one version."""
    return ShelfOut(
        name=kept.name,
        version=kept.version,
        sha256=kept.sha256,
        facts=kept.facts,
        added_at=kept.added_at.isoformat(),
        added_by=kept.added_by,
        retired=retired,
    )


tables, cards = router_for("table", "tables"), router_for("card", "cards")
products, procedures = router_for("products", "products"), router_for("procedure", "procedures")
