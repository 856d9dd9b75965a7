"""/api/control: the control water by strip lot and analyte."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from pydantic import AwareDatetime, BaseModel, Field

from api import control_books
from api.control_books import ControlLine
from api.deps import Asker, DeskOf, Reviewer, StoreOf
from api.routes.tubs import unusable
from api.schemas import problems

router = APIRouter(prefix="/api/control", tags=["control water"])


class DipIn(BaseModel):
    """The values of one dip into the control water."""

    lot: str = Field(min_length=1, max_length=250, examples=["Reedmere 7, lot 7"])
    values: dict[str, float] = Field(min_length=1)
    at: AwareDatetime | None = None
    name: str = Field("", max_length=255)


class ChoiceIn(BaseModel):
    """One lot's analyte."""

    lot: str = Field(min_length=1, max_length=250)
    analyte: str = Field(min_length=1, max_length=40)


class SignIn(ChoiceIn):
    """A person's word that the control is right again."""

    why: str = Field(min_length=1, max_length=2000)


class ControlOut(BaseModel):
    """What the control of one lot's analyte says now."""

    lot: str
    analyte: str
    state: str
    sentence: str
    broken: list[str]
    since: str | None
    limits: dict[str, float] | None
    readings: list[dict[str, Any]]


@router.get("", responses=problems(401))
def get_control(store: StoreOf, _: Asker) -> list[ControlOut]:
    """List the controls with their readings and state."""
    with store.reading() as session:
        return [told(one) for one in control_books.lines(session)]


@router.post("/dips", status_code=201, responses=problems(401, 403, 413, 422))
def post_dip(dip: DipIn, store: StoreOf, desk: DeskOf, _: Asker) -> list[ControlOut]:
    """Enter one dip, and say what its controls say now."""
    with store.writing() as session, unusable():
        at = dip.at or desk.now
        control_books.enter(session, dip.lot, dip.values, at, dip.name, desk)
        session.flush()
        return [told(control_books.line(session, dip.lot, name)) for name in dip.values]


@router.post("/limits", status_code=201, responses=problems(401, 403, 413, 422))
def post_limits(choice: ChoiceIn, store: StoreOf, desk: DeskOf, _: Reviewer) -> ControlOut:
    """Set the limits from the dips so far; later dips are judged by them."""
    with store.writing() as session, unusable():
        control_books.set_limits(session, choice.lot, choice.analyte, desk)
        session.flush()
        return told(control_books.line(session, choice.lot, choice.analyte))


@router.post("/signatures", status_code=201, responses=problems(401, 403, 413, 422))
def post_signature(word: SignIn, store: StoreOf, desk: DeskOf, _: Reviewer) -> ControlOut:
    """Sign a broken control off: what went before no longer counts."""
    with store.writing() as session, unusable():
        control_books.sign_off(session, word.lot, word.analyte, word.why, desk)
        session.flush()
        return told(control_books.line(session, word.lot, word.analyte))


def told(one: ControlLine) -> ControlOut:
    """Return one control."""
    state, limits = one.state, one.limits
    return ControlOut(
        lot=one.lot,
        analyte=one.analyte,
        state=state.state,
        sentence=state.sentence,
        broken=list(state.broken),
        since=state.since.isoformat() if state.since else None,
        limits={"mean": limits.mean, "sd": limits.sd, "n": limits.n} if limits else None,
        readings=[{"at": r.at.isoformat(), "value": r.value, "name": r.name} for r in one.readings],
    )
