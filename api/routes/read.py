"""POST /api/read: a photo to its reading; keeps nothing."""

from __future__ import annotations

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse
from sqlalchemy.orm import Session

from api import control_books
from api.deps import PoolOf, SettingsOf, StoreOf, answer_of, who_asks
from api.errors import ProblemError
from api.forms import CARD_FILE, FILE, ReadForm, ReadFormOf, form_of_fields
from api.look import Look, Wish
from api.named import Named
from api.schemas import ReadingOut, problems
from api.settings import Settings
from api.shelf import Kind
from api.stock import UnknownNameError, fetch
from api.store import Store
from api.wire import unread_json
from api.workers import Answer, Pictures, ReadingPool

router = APIRouter(prefix="/api", tags=["reading"], dependencies=[Depends(who_asks)])

FORM = form_of_fields(
    ("photo", "table"),
    photo={**FILE, "description": "JPEG, PNG or HEIC"},
    table={**FILE, "description": "a table, or the name of a kept one"},
    card=CARD_FILE,
    elapsed_s={"type": "number", "minimum": 0, "maximum": 86400},
    dipped_at={
        "type": "string",
        "format": "date-time",
        "description": "when the strip was dipped, with its offset: the photo's own time then "
        "tells the rest; elapsed_s wins over it",
    },
)


@router.post(
    "/read",
    response_model=ReadingOut,
    responses=problems(400, 401, 413, 422, 503),
    openapi_extra=FORM,
)
def post_read(form: ReadFormOf, pool: PoolOf, store: StoreOf, settings: SettingsOf) -> JSONResponse:
    """Read the strip in a photo; nothing is kept."""
    reading = ask(form, pool, store, settings).reading
    with store.reading() as session:
        broken = control_books.broken_under(session, form.table)
    return JSONResponse(control_books.held_back(reading, broken))


def ask(
    form: ReadForm,
    pool: ReadingPool,
    store: Store,
    settings: Settings,
    pictures: Pictures = (),
) -> Answer:
    """Return the reading a form asks for; 422 with one sentence when something cannot be used."""
    with store.reading() as session:
        table = chosen(session, "table", form.table, settings)
        measured = chosen(session, "card", form.measured, settings) if form.measured else None
    wish = Wish(table, measured, None, form.elapsed_s, form.dipped_at, pictures)
    answer = answer_of(pool, Look(form.photo, wish))
    if isinstance(answer, Answer):
        return answer
    if answer.code == "reading_stopped":
        return Answer(unread_json(form.photo.name, answer.code, answer.message), {})
    raise ProblemError(422, answer.code, answer.message)


def chosen(session: Session, kind: Kind, choice: Named | str | None, settings: Settings) -> Named:
    """Return the file that was sent, or the kept one that was named."""
    if isinstance(choice, Named):
        return choice
    try:
        return fetch(session, kind, choice or "", settings)[0]
    except UnknownNameError as fault:
        raise ProblemError(422, "unknown_name", str(fault)) from None
