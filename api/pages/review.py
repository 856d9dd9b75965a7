"""The queue of readings a person must look at, and how often people disagreed with the tool."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query
from fastapi.responses import HTMLResponse

from api import review
from api.bands import BandBar, band_bar
from api.deps import Asker, StoreOf, who_asks
from api.due import names
from api.experience import MOST, Experience, experience
from api.pages.render import page
from api.reasons import all_reasons
from api.review import Waiting
from api.store import KeptFile
from api.swatch import hex_of
from api.wanted import wanted_ranges
from api.words import limit, number, sentences

router = APIRouter(prefix="/review", include_in_schema=False, dependencies=[Depends(who_asks)])

SHOWN = 40
TRAIL = 100
"""Decisions on one page of the trail."""
RULED = {"accept": "accepted", "correct": "corrected", "dip_again": "dip again"}
"""Decisions in the words of the trail."""


@dataclass(frozen=True)
class Swatch:
    """One block of the chart in its own colour."""

    colour: str
    text: str


@dataclass(frozen=True)
class Item:
    """One reading to decide."""

    id: int
    tub_id: str
    tub: str
    sha256: str
    pad: int
    analyte: str
    reading: Mapping[str, Any]
    colour: str | None
    blocks: tuple[Swatch, ...]
    bar: BandBar | None
    reasons: tuple[str, ...]
    table: str
    taken_at: str
    can_accept: bool
    siblings: int
    """How many readings of the same photo wait."""


@dataclass(frozen=True)
class ReviewPage:
    """The queue."""

    items: tuple[Item, ...]
    more: int
    may_decide: bool


@dataclass(frozen=True)
class Ruled:
    """One decision in the trail."""

    tub_id: str
    tub: str
    sha256: str
    analyte: str
    read: str
    ruled: str
    value: str
    note: str
    by: str
    at: str


@dataclass(frozen=True)
class RecordPage:
    """What was decided, and what it says of the tool."""

    ruled: tuple[Ruled, ...]
    by_lot: tuple[Experience, ...]
    by_person: tuple[Experience, ...]
    by_light: tuple[Experience, ...]
    most: int = MOST
    """Photos that are counted, the newest."""
    older: int | None = None
    """Decision before which the next page of the trail begins."""


@router.get("")
def get_review(store: StoreOf, who: Asker) -> HTMLResponse:
    """Show what waits, worst first."""
    with store.reading() as session:
        waiting = review.queue(session)
        shown = waiting[:SHOWN]
        of_photo = Counter(one.photo.id for one in shown)
        tubs = names(session, [one.review.tub_id for one in shown])
        items = tuple(item_of(one, tubs, of_photo[one.photo.id]) for one in shown)
    more = max(0, len(waiting) - SHOWN)
    return page("review.html", ReviewPage(items, more, who.may("qa")))


@router.get("/record")
def get_record(
    store: StoreOf, before: Annotated[int | None, Query(ge=0, le=2**31 - 1)] = None
) -> HTMLResponse:
    """Show the trail of decisions, a page at a time, and how often people disagreed."""
    with store.reading() as session:
        decided = review.queue(session, decided=True, limit=TRAIL, before=before)
        tubs = names(session, [one.review.tub_id for one in decided])
        ruled = tuple(ruled_of(one, tubs) for one in decided)
        last = decided[-1].decision if len(decided) == TRAIL else None
        older = None if last is None else last.id
        lot, person, light = experience(session) if before is None else ((), (), ())
    return page("record.html", RecordPage(ruled, lot, person, light, older=older))


def item_of(one: Waiting, tubs: Mapping[str, str], siblings: int) -> Item:
    """Return one reading with what a person needs to decide."""
    pad = one.review.data
    shown = pad["value"] is not None and pad.get("scale")
    return Item(
        id=one.review.id,
        tub_id=one.review.tub_id,
        tub=tubs[one.review.tub_id],
        sha256=one.photo.sha256,
        pad=one.review.pad,
        analyte=one.review.analyte,
        reading=pad,
        colour=hex_of(pad["lab"]) if pad.get("lab") else None,
        blocks=blocks_of(one.table, one.review.pad),
        bar=band_bar(pad, wanted_ranges().get(one.review.analyte)) if shown else None,
        reasons=tuple(sentences(pad["reasons"], all_reasons())),
        table=f"{one.table.name}, version {one.table.version}",
        taken_at=one.review.taken_at.isoformat(),
        can_accept=pad["value"] is not None,
        siblings=siblings,
    )


def ruled_of(one: Waiting, tubs: Mapping[str, str]) -> Ruled:
    """Return one decision as a line of the trail."""
    pad, decision = one.review.data, one.decision
    if decision is None:
        raise ValueError(f"review {one.review.id} is not decided yet")
    return Ruled(
        tub_id=one.review.tub_id,
        tub=tubs[one.review.tub_id],
        sha256=one.photo.sha256,
        analyte=one.review.analyte,
        read="-" if pad["value"] is None else number(pad["value"]),
        ruled=RULED[decision.decision],
        value="" if decision.value is None else number(decision.value),
        note=decision.note,
        by=decision.by,
        at=decision.at.isoformat(),
    )


def blocks_of(table: KeptFile, pad: int) -> tuple[Swatch, ...]:
    """Return the chart's blocks of one pad in their own colours."""
    return chart_swatches(table.data, table.file_name).get(pad, ())


@lru_cache(maxsize=64)
def chart_swatches(data: bytes, name: str) -> Mapping[int, tuple[Swatch, ...]]:
    """Return the blocks of every pad of a table."""
    from calibration.table import load_table

    return {
        chart.pad: tuple(
            Swatch(hex_of(block.lab.tolist()), limit(block.value)) for block in chart.blocks
        )
        for chart in load_table(data.decode("utf-8-sig"), name).charts
    }
