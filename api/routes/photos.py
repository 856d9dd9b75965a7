"""/api/tubs/{id}/photos: a photo comes in, is kept, read, entered and answered."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query
from fastapi.responses import JSONResponse, Response
from pydantic import AwareDatetime
from sqlalchemy import select
from sqlalchemy.orm import Session, aliased, defer

from api import books, photo_files, shelf
from api.deps import Asker, DeskOf, Number, PoolOf, SettingsOf, StoreOf, answer_of, busy, who_asks
from api.errors import ProblemError
from api.forms import BodyOf, FormOf, ReadFormOf, moment_of, upload
from api.intake import Sent, take_in
from api.look import Look, Wish
from api.named import Named
from api.routes.read import FORM
from api.routes.tubs import Key, unusable
from api.schemas import PhotoKept, PhotoOut, problems
from api.settings import Settings
from api.store import KeptFile, Photo, Reading, Store
from api.workers import AllBusyError, Answer, Pictures, ReadingPool

router = APIRouter(
    prefix="/api/tubs/{tub_id}/photos", tags=["photos"], dependencies=[Depends(who_asks)]
)
Water = Literal["tub", "fill"]
DRAWN = problems(401, 404, 422, 503)
ERRORS = problems(400, 401, 403, 404, 413, 422, 503)
TOLD_AGAIN: dict[int | str, dict[str, Any]] = {
    200: {"model": PhotoOut, "description": "This photo or key came before; the same answer."}
}


def sent_by_form(tub_id: str, form: FormOf, wish: ReadFormOf, idempotency_key: Key = None) -> Sent:
    """Return the photo that a multipart form brings."""
    taken_at = moment_of(upload(form, "taken_at"), "taken_at")
    return Sent(
        tub_id,
        wish.photo,
        wish.table,
        wish.measured,
        wish.elapsed_s,
        taken_at,
        idempotency_key,
        water_of(upload(form, "sample")),
        wish.dipped_at,
    )


def water_of(text: Named | str | None) -> Water:
    """Return which water was dipped; the tub's when the form does not say."""
    if text is None or text == "tub":
        return "tub"
    if text == "fill":
        return "fill"
    raise ProblemError(422, "bad_sample", "sample: is neither 'tub' nor 'fill'; send one of them")


@router.post(
    "",
    status_code=201,
    response_model=PhotoOut,
    responses={**ERRORS, **TOLD_AGAIN},
    openapi_extra=FORM,
)
def post_photo(
    sent: Annotated[Sent, Depends(sent_by_form)],
    store: StoreOf,
    pool: PoolOf,
    settings: SettingsOf,
    desk: DeskOf,
) -> JSONResponse:
    """Keep and read a photo; what is accepted enters the log, the rest waits for review."""
    return kept(sent, store, pool, settings, desk)


@router.put(
    "/{key}",
    status_code=201,
    response_model=PhotoOut,
    responses={**ERRORS, **TOLD_AGAIN},
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"application/octet-stream": {"schema": {"type": "string"}}},
        }
    },
)
def put_photo(
    tub_id: str,
    key: str,
    body: BodyOf,
    store: StoreOf,
    pool: PoolOf,
    settings: SettingsOf,
    desk: DeskOf,
    table: Annotated[str, Query(description="name of a kept table")],
    card: Annotated[str | None, Query(description="name of a kept card")] = None,
    elapsed_s: Annotated[float | None, Query(ge=0, le=86_400)] = None,
    taken_at: AwareDatetime | None = None,
    dipped_at: AwareDatetime | None = None,
    name: Annotated[str, Query(max_length=255)] = "photo",
    sample: Water = "tub",
) -> JSONResponse:
    """Keep and read a photo sent as the bare file under the sender's own key, such as a UUID."""
    if not 1 <= len(key) <= 120:
        raise ProblemError(422, "bad_key", "the key must have 1 to 120 letters; send a UUID")
    if not body:
        raise ProblemError(422, "no_photo", "the body is empty; send the photo's bytes")
    photo = Named(name, body)
    sent = Sent(tub_id, photo, table, card or None, elapsed_s, taken_at, key, sample, dipped_at)
    return kept(sent, store, pool, settings, desk)


def kept(
    sent: Sent, store: Store, pool: ReadingPool, settings: Settings, desk: books.Desk
) -> JSONResponse:
    """Take the photo in: 201 when it is new, 200 with the same answer when it came before."""
    try:
        with unusable():
            answer, new = take_in(sent, store, pool, settings, desk)
    except AllBusyError:
        raise busy() from None
    return JSONResponse(answer, 201 if new else 200)


@router.get("", responses=problems(401, 404))
def get_photos(tub_id: str, store: StoreOf, _: Asker) -> list[PhotoKept]:
    """List the tub's photos, newest first, each with its newest reading."""
    with store.reading() as session, unusable():
        books.tub_data(session, tub_id)
        return [told(*row) for row in photos_of(session, tub_id)]


def photos_of(session: Session, tub_id: str, most: int | None = None) -> list[Any]:
    """Return (photo, reading, table, card) rows of a tub, newest first, without files."""
    query, card = rows_of_tub(tub_id)
    heavy = (defer(Photo.answer), defer(KeptFile.data), defer(card.data))
    newest = query.order_by(Photo.taken_at.desc(), Photo.id.desc()).limit(most)
    return list(session.execute(newest.options(*heavy)))


def rows_of_tub(tub_id: str) -> tuple[Any, Any]:
    """Return the query for the (photo, reading, table, card) rows of a tub, and its card."""
    card, newer = aliased(KeptFile), aliased(Reading)
    later = select(newer.id).where(newer.photo_id == Photo.id, newer.id > Reading.id).exists()
    query = (
        select(Photo, Reading, KeptFile, card)
        .join(Reading, Reading.photo_id == Photo.id)
        .join(KeptFile, Reading.table_id == KeptFile.id)
        .outerjoin(card, Reading.card_id == card.id)
        .where(Photo.tub_id == tub_id, ~later)
    )
    return query, card


def told(photo: Photo, reading: Reading, table: KeptFile, card: KeptFile | None) -> PhotoKept:
    """Return one row of the list."""
    return PhotoKept(
        photo=photo.sha256,
        name=photo.name,
        taken_at=photo.taken_at.isoformat(),
        sent_at=photo.sent_at.isoformat(),
        sent_by=photo.sent_by,
        elapsed_s=photo.elapsed_s,
        status=reading.data["status"],
        table=f"{table.name}, version {table.version}",
        card=None if card is None else f"{card.name}, version {card.version}",
        reading=reading.data,
    )


@router.get("/{sha256}/image", response_class=Response, responses=problems(401, 404))
def get_image(tub_id: str, sha256: str, store: StoreOf, settings: SettingsOf, _: Asker) -> Response:
    """Return the photo as it was kept."""
    row_of(store, tub_id, sha256)
    data = photo_files.load(settings.home, sha256)
    headers = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(data, media_type=photo_files.media_type(data), headers=headers)


@router.get("/{sha256}/seen", response_class=Response, responses=DRAWN)
def get_seen(
    tub_id: str, sha256: str, store: StoreOf, settings: SettingsOf, pool: PoolOf, _: Asker
) -> Response:
    """Return the photo with what was found drawn over it."""
    pictures = drawn(tub_id, sha256, ("seen",), store, settings, pool)
    return picture(pictures.get("seen.jpg"), "image/jpeg")


@router.get("/{sha256}/flat", response_class=Response, responses=DRAWN)
def get_flat(
    tub_id: str, sha256: str, store: StoreOf, settings: SettingsOf, pool: PoolOf, _: Asker
) -> Response:
    """Return the flattened card as corrected, with what was found."""
    pictures = drawn(tub_id, sha256, ("flat",), store, settings, pool)
    return picture(pictures.get("flat.jpg"), "image/jpeg")


@router.get("/{sha256}/pads/{pad}/{what}", response_class=Response, responses=DRAWN)
def get_pad(
    tub_id: str,
    sha256: str,
    pad: Number,
    what: Literal["path", "value"],
    store: StoreOf,
    settings: SettingsOf,
    pool: PoolOf,
    _: Asker,
) -> Response:
    """Return one pad's colour on its chart's path, or what it says about the value."""
    pictures = drawn(tub_id, sha256, ("pads",), store, settings, pool)
    start, end = f"pad{pad}-", f"-{what}.svg"
    found = [one for name, one in pictures.items() if name.startswith(start) and name.endswith(end)]
    return picture(found[0] if found else None, "image/svg+xml")


def picture(data: bytes | None, kind: str) -> Response:
    """Return a picture, or 404 where nothing was found to draw."""
    if data is None:
        raise ProblemError(404, "no_picture", "nothing was found in this photo that can be drawn")
    return Response(data, media_type=kind, headers={"Cache-Control": "private, max-age=86400"})


def row_of(store: Store, tub_id: str, sha256: str) -> Any:
    """Return the (photo, reading, table, card) row of a photo; 404 when there is none."""
    query, _ = rows_of_tub(tub_id)
    newest = query.where(Photo.sha256 == sha256).order_by(Photo.id.desc()).limit(1)
    with store.reading() as session:
        row = session.execute(newest).first()
    if row is None:
        raise ProblemError(404, "no_such_photo", f"this tub has no photo {sha256!r}")
    return row


def drawn(
    tub_id: str,
    sha256: str,
    kinds: Pictures,
    store: Store,
    settings: Settings,
    pool: ReadingPool,
) -> dict[str, bytes]:
    """Read a kept photo again with the versions it was read with, and return the pictures."""
    photo, _, table, card = row_of(store, tub_id, sha256)
    data = photo_files.load(settings.home, sha256)
    measured = None if card is None else shelf.named(card)
    wish = Wish(shelf.named(table), measured, elapsed_s=photo.elapsed_s, pictures=kinds)
    answer = answer_of(pool, Look(Named(photo.name, data), wish))
    return answer.pictures if isinstance(answer, Answer) else {}
