"""POST /api/chart: a printed chart beside the card, its colours and a table; keeps nothing."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse

from api.chart import ChartError, load_grid
from api.deps import PoolOf, SettingsOf, StoreOf, answer_of, who_asks
from api.errors import ProblemError
from api.forms import FormOf, upload
from api.named import Named
from api.routes import waters
from api.routes.read import FILE, chosen
from api.schemas import ChartOut, problems
from api.shop_tasks import ChartTask
from api.workers import Fault

router = APIRouter(prefix="/api", tags=["chart"], dependencies=[Depends(who_asks)])
router.include_router(waters.router)

FORM: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["photo", "grid"],
                    "properties": {
                        "photo": {**FILE, "description": "the chart beside the card"},
                        "grid": {"type": "string", "description": "the marked blocks, as JSON"},
                        "card": {**FILE, "description": "measured colours, or a kept card's name"},
                    },
                }
            }
        },
    }
}


@router.post(
    "/chart",
    response_model=ChartOut,
    responses=problems(400, 401, 413, 422, 503),
    openapi_extra=FORM,
)
def post_chart(form: FormOf, pool: PoolOf, store: StoreOf, settings: SettingsOf) -> JSONResponse:
    """Return the marked blocks' corrected colours, and the table they make."""
    photo, grid, card = (upload(form, one) for one in ("photo", "grid", "card"))
    if not isinstance(photo, Named):
        raise ProblemError(422, "no_photo", "photo: no file was sent; attach the photo as a file")
    with store.reading() as session:
        measured = chosen(session, "card", card, settings) if card else None
    try:
        text = grid.text() if isinstance(grid, Named) else grid or ""
        answer = answer_of(pool, ChartTask(photo, load_grid(text), measured))
    except ChartError as fault:
        raise ProblemError(422, "unusable_grid", str(fault)) from None
    if isinstance(answer, Fault):
        raise ProblemError(422, answer.code, answer.message)
    return JSONResponse(answer.reading)
