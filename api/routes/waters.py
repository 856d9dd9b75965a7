"""/api/waters: strips in waters of known value, photo by photo, to a table; keeps nothing."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from api import waters
from api.deps import Now, PoolOf, SettingsOf, StoreOf, answer_of, who_asks
from api.errors import ProblemError
from api.forms import CARD_FILE, FILE, FormOf, form_of_fields, photo_in, upload
from api.named import Named
from api.routes.read import chosen
from api.same_photo import first_twice
from api.schemas import problems
from api.shop_tasks import StripTask
from api.table_units import check_units
from api.workers import Fault

router = APIRouter(prefix="/waters", dependencies=[Depends(who_asks)])

MOST_PHOTOS = 400
Number = Annotated[float, Field(ge=-1000.0, le=1e6, allow_inf_nan=False)]
Lab = tuple[Number, Number, Number]

FORM = form_of_fields(
    ("photo", "strip"),
    photo={**FILE, "description": "one strip of the water on the card"},
    strip={"type": "string", "description": "the strip's pads, as CSV"},
    card=CARD_FILE,
)


class PadIn(BaseModel):
    """A pad's colour as `POST /api/waters/photo` gave it."""

    pad: int = Field(ge=1, le=100)
    lab: Lab


class DipIn(BaseModel):
    """One photo with what is known of its water."""

    photo: str = Field(min_length=1, max_length=255)
    sha256: str = Field("", max_length=64)
    values: dict[str, Number] = Field(max_length=20)
    pads: list[PadIn] = Field(max_length=100)


class WatersIn(BaseModel):
    """All photos of a series."""

    strip: str = Field(max_length=20_000, description="the strip's pads, as CSV")
    lot: str | None = Field(None, max_length=60)
    expires: date | None = None
    against: str | None = Field(None, max_length=120, description="a kept table to compare with")
    dips: list[DipIn] = Field(min_length=1, max_length=MOST_PHOTOS)


@router.post("/photo", responses=problems(400, 401, 413, 422, 503), openapi_extra=FORM)
def post_photo(form: FormOf, pool: PoolOf, store: StoreOf, settings: SettingsOf) -> JSONResponse:
    """Return the colours of the pads in one photo, or why a pad has none."""
    photo, strip, card = photo_in(form), upload(form, "strip"), upload(form, "card")
    if strip is None:
        raise ProblemError(422, "no_strip_file", "strip: nothing was sent; attach the strip's pads")
    with store.reading() as session:
        measured = chosen(session, "card", card, settings) if card else None
    pads = strip if isinstance(strip, Named) else Named("strip", strip.encode())
    answer = answer_of(pool, StripTask(photo, pads, measured))
    if isinstance(answer, Fault):
        raise ProblemError(422, answer.code, answer.message)
    return JSONResponse({**answer.reading, "pads": waters.shown(answer.reading["pads"])})


@router.post("", responses=problems(400, 401, 413, 422))
def post_waters(series: WatersIn, store: StoreOf, settings: SettingsOf, now: Now) -> JSONResponse:
    """Return the table that the photos make, or whether a new lot passes the old table."""
    from calibration.table import load_strip, load_table

    try:
        dips = [_dipped(dip) for dip in series.dips]
        _refuse_twice(series.dips)
        if series.against is not None:
            with store.reading() as session:
                old = chosen(session, "table", series.against, settings)
            return JSONResponse(waters.compare(load_table(old.text(), old.name), dips))
        plans = load_strip(series.strip, "strip")
        check_units(plans, "strip")
        plans = tuple(waters.of_lot(plans, series.lot)) if series.lot else plans
        return JSONResponse(waters.build(plans, dips, series.expires, now.date()))
    except ValueError as fault:
        raise ProblemError(422, "no_table_can_be_made", str(fault)) from None


def _dipped(dip: DipIn) -> waters.Dipped:
    return waters.Dipped(dip.photo, dip.values, {pad.pad: pad.lab for pad in dip.pads})


def _refuse_twice(dips: list[DipIn]) -> None:
    """Raise ValueError for one photo given twice."""
    twice = first_twice((dip.photo, dip.sha256 or dip.photo) for dip in dips)
    if twice is not None:
        raise ValueError(f"{twice[1]} is the same photo as {twice[0]}; photograph another strip")
