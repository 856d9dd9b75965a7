"""/api/review: what waits for a recheck, and decisions about it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from api import review
from api.deps import Asker, DeskOf, Number, Reviewer, StoreOf, who_asks
from api.errors import ProblemError
from api.review import DecidedError, NoSuchReviewError, Ruling, Waiting
from api.routes.tubs import unusable
from api.schemas import DecisionOut, ReviewOut, RulingIn, problems
from api.store import Decision

router = APIRouter(prefix="/api/review", tags=["review"], dependencies=[Depends(who_asks)])


@router.get("", responses=problems(401))
def get_review(
    store: StoreOf,
    _: Asker,
    decided: bool = False,
    limit: Annotated[int, Query(ge=1, le=1000)] = 500,
) -> list[ReviewOut]:
    """List what waits for a decision, worst first; or, with `decided`, what was decided."""
    with store.reading() as session:
        return [told(one) for one in review.queue(session, decided, limit)]


@router.post("/{review_id}", status_code=201, responses=problems(401, 403, 404, 409, 413, 422))
def post_decision(
    review_id: Number, ruling: RulingIn, store: StoreOf, desk: DeskOf, _: Reviewer
) -> DecisionOut:
    """Decide: accept the value, correct it by another method, or ask for another dip."""
    given = {"low", "high"} <= ruling.model_fields_set
    wish = Ruling(**ruling.model_dump(), given_band=given)
    try:
        with store.writing() as session, unusable():
            return decision_out(review.decide(session, review_id, wish, desk))
    except NoSuchReviewError:
        raise ProblemError(
            404, "no_such_review", f"there is no review {review_id}; see /api/review"
        ) from None
    except DecidedError as fault:
        raise ProblemError(409, "decided", str(fault)) from None


def told(one: Waiting) -> ReviewOut:
    """Return one item of the queue."""
    return ReviewOut(
        id=one.review.id,
        tub=one.review.tub_id,
        photo=one.photo.sha256,
        pad=one.review.pad,
        analyte=one.review.analyte,
        reading=one.review.data,
        table=f"{one.table.name}, version {one.table.version}",
        taken_at=one.review.taken_at.isoformat(),
        opened_at=one.review.opened_at.isoformat(),
        decision=None if one.decision is None else decision_out(one.decision).model_dump(),
    )


def decision_out(decision: Decision) -> DecisionOut:
    """Return a decision with who and when."""
    fields: dict[str, Any] = {
        name: getattr(decision, name) for name in ("decision", "value", "source", "note", "by")
    }
    return DecisionOut(
        id=decision.id,
        review=decision.review_id,
        at=decision.at.isoformat(),
        entered=decision.event_id,
        **fields,
    )
