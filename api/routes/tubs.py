"""/api/tubs: tubs, their logs and events, their next step."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Depends, Header, Response
from fastapi.responses import JSONResponse
from pydantic import AwareDatetime
from sqlalchemy.orm import Session

from api import books
from api.advise import advise, in_units
from api.books import Desk, NoSuchTubError, Origin
from api.deps import Asker, DeskOf, StoreOf, who_asks
from api.due import whole_list
from api.errors import ProblemError
from api.schemas import EventEntered, LogOut, NextOut, TubOut, problems
from api.store import Store, TubEvent

router = APIRouter(prefix="/api/tubs", tags=["tubs"], dependencies=[Depends(who_asks)])

Record = Annotated[dict[str, Any], Body()]
Key = Annotated[str | None, Header(alias="Idempotency-Key", max_length=120)]


@router.get("", response_model=list[TubOut], responses=problems(401))
def get_tubs(store: StoreOf, _: Asker) -> Response:
    """List the tubs, each with the last answer of the engine."""
    with store.reading() as session:
        return Response(f"[{', '.join(whole_list(session))}]", media_type="application/json")


@router.post("", status_code=201, responses=problems(401, 403, 413, 422))
def post_tub(record: Record, store: StoreOf, desk: DeskOf, response: Response) -> TubOut:
    """Keep a new tub: the log's `tub` object plus `procedure`, and products if it has its own."""
    with store.writing() as session, unusable():
        tub_id = books.add_tub(session, record, desk)
        data = books.tub_data(session, tub_id)
    response.headers["Location"] = f"/api/tubs/{tub_id}"
    return TubOut(id=tub_id, **data)


@router.get("/{tub_id}", responses=problems(401, 404))
def get_tub(tub_id: str, store: StoreOf, _: Asker) -> TubOut:
    """Say what is known of the tub."""
    with store.reading() as session, unusable():
        return TubOut(id=tub_id, **books.tub_data(session, tub_id))


@router.patch("/{tub_id}", responses=problems(401, 403, 404, 413, 422))
def patch_tub(tub_id: str, changes: Record, store: StoreOf, desk: DeskOf) -> TubOut:
    """Change what is said of the tub; what was said before is kept."""
    with store.writing() as session, unusable():
        books.change_tub(session, tub_id, changes, desk)
        return TubOut(id=tub_id, **books.tub_data(session, tub_id))


@router.get("/{tub_id}/log", response_model=LogOut, responses=problems(401, 404))
def get_log(tub_id: str, store: StoreOf, _: Asker) -> JSONResponse:
    """Return the whole log as `dipstep next` takes it."""
    with store.reading() as session, unusable():
        return JSONResponse(books.log_of(session, tub_id))


@router.get("/{tub_id}/events", responses=problems(401, 404))
def get_events(tub_id: str, store: StoreOf, _: Asker) -> list[EventEntered]:
    """List the events that stand, with their ids, who entered them and when."""
    with store.reading() as session, unusable():
        books.tub_data(session, tub_id)
        return [entered(event) for event in books.events_in(session, tub_id)]


@router.post(
    "/{tub_id}/events",
    status_code=201,
    responses={**problems(401, 403, 404, 413, 422), 200: {"model": EventEntered}},
)
def post_event(
    tub_id: str,
    event: Record,
    store: StoreOf,
    desk: DeskOf,
    response: Response,
    idempotency_key: Key = None,
    replaces: str | None = None,
) -> EventEntered:
    """Enter one event by hand; the same `Idempotency-Key` again enters nothing twice.

    `replaces` names an event that was entered wrongly: it leaves the log and stays in the books.
    """
    books.replay(store, tub_id, desk)
    with store.writing() as session, unusable():
        books.take_turn(session, tub_id)
        known = books.by_key(session, tub_id, idempotency_key)
        if known is not None:
            response.status_code = 200
            return entered(known)
        check_replaced(session, tub_id, replaces)
        origin = Origin("hand", replaces=replaces, key=idempotency_key)
        kept = books.enter(session, tub_id, [event], desk, origin)[0]
        response.headers["Location"] = f"/api/tubs/{tub_id}/events/{kept.id}"
        return entered(kept)


@router.delete("/{tub_id}/events/{event_id}", status_code=204, responses=problems(401, 404))
def delete_event(
    tub_id: str, event_id: str, store: StoreOf, desk: DeskOf, why: str = "entered by mistake"
) -> None:
    """Take an event out of the log; it stays in the books with who took it out and why."""
    with store.writing() as session, unusable():
        if not books.withdraw(session, tub_id, event_id, why, desk):
            raise no_event(event_id)


@router.get("/{tub_id}/next", response_model=NextOut, responses=problems(401, 404, 422))
def get_next(
    tub_id: str,
    store: StoreOf,
    desk: DeskOf,
    at: AwareDatetime | None = None,
    units: Literal["metric", "us"] | None = None,
) -> JSONResponse:
    """Say what to do next with the tub, now or at the given moment; a dose in `units` too."""
    return JSONResponse(next_of(tub_id, store, desk, at, units))


def next_of(
    tub_id: str, store: Store, desk: Desk, at: Any = None, units: str | None = None
) -> dict[str, Any]:
    """Return the engine's answer for a kept tub; events after `at` are left out."""
    with store.reading() as session, unusable():
        log = books.log_of(session, tub_id)
        if at is not None:
            standing = books.events_in(session, tub_id)
            log["events"] = [event.data for event in standing if event.at <= at]
            return advise(json.dumps(log), "the log", at, desk.find_procedure, units)[0]
        return in_units(books.checked_answer(log, desk), log, units)


def entered(event: TubEvent) -> EventEntered:
    """Return an event with its id, and who entered it when."""
    return EventEntered(
        id=event.id,
        event=event.data,
        origin=event.origin,
        replaces=event.replaces,
        entered_at=event.entered_at.isoformat(),
        entered_by=event.entered_by,
    )


def check_replaced(session: Session, tub_id: str, replaces: str | None) -> None:
    """Refuse to replace an event that does not stand in this log."""
    standing = {event.id for event in books.events_in(session, tub_id)} if replaces else set()
    if replaces and replaces not in standing:
        raise no_event(replaces)


def no_event(event_id: str) -> ProblemError:
    """Return the problem of an event that is not there."""
    return ProblemError(404, "no_such_event", f"no event {event_id!r} stands in this tub's log")


@contextmanager
def unusable() -> Iterator[None]:
    """Turn what the books refuse into a problem with one sentence."""
    try:
        yield
    except NoSuchTubError as fault:
        raise ProblemError(
            404, "no_such_tub", f"there is no tub {str(fault)!r}; see /api/tubs"
        ) from None
    except ValueError as fault:
        raise ProblemError(422, getattr(fault, "code", "unusable"), str(fault)) from None
