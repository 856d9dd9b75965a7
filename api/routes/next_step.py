"""POST /api/next: from a log to the next step; keeps nothing."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse
from pydantic import AwareDatetime

from api.advise import advise
from api.deps import DeskOf, who_asks
from api.errors import ProblemError
from api.forms import BodyOf
from api.named import Named
from api.schemas import NextOut, problems

router = APIRouter(prefix="/api", tags=["next step"], dependencies=[Depends(who_asks)])

LOG: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "type": "object",
                    "required": ["tub", "procedure", "events"],
                    "properties": {
                        "tub": {"type": "object"},
                        "procedure": {"type": "string"},
                        "products": {"type": "array", "items": {"type": "object"}},
                        "events": {"type": "array", "items": {"type": "object"}},
                    },
                }
            }
        },
    }
}


@router.post(
    "/next",
    response_model=NextOut,
    responses=problems(401, 413, 422),
    openapi_extra=LOG,
)
def post_next(
    body: BodyOf,
    desk: DeskOf,
    at: AwareDatetime | None = None,
    units: Literal["metric", "us"] | None = None,
) -> JSONResponse:
    """Say what to do next at the given moment, by default now; a dose in `units` too."""
    try:
        text = Named("the log", body).text()
        answer, _ = advise(text, "the log", at or desk.now, desk.find_procedure, units)
    except ValueError as fault:
        raise ProblemError(422, "unusable_log", str(fault)) from None
    return JSONResponse(answer)
