"""POST /api/chart: a printed chart beside the card, its colours and a table; keeps nothing."""

from __future__ import annotations

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse

from api.chart import ChartError, load_grid
from api.deps import PoolOf, SettingsOf, StoreOf, answer_of, who_asks
from api.errors import ProblemError
from api.forms import CARD_FILE, FILE, FormOf, form_of_fields, photo_in, upload
from api.named import Named
from api.routes import waters
from api.routes.read import chosen
from api.schemas import ChartOut, problems
from api.shop_tasks import ChartTask
from api.workers import Fault

router = APIRouter(prefix="/api", tags=["chart"], dependencies=[Depends(who_asks)])
router.include_router(waters.router)

FORM = form_of_fields(
    ("photo", "grid"),
    photo={**FILE, "description": "the chart beside the card"},
    grid={"type": "string", "description": "the marked blocks, as JSON"},
    card=CARD_FILE,
)


@router.post(
    "/chart",
    response_model=ChartOut,
    responses=problems(400, 401, 413, 422, 503),
    openapi_extra=FORM,
)
def post_chart(form: FormOf, pool: PoolOf, store: StoreOf, settings: SettingsOf) -> JSONResponse:
    """Return the marked blocks' corrected colours, and the table they make."""
    photo, grid, card = photo_in(form), upload(form, "grid"), upload(form, "card")
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
