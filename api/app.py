"""The service, built from settings; nothing is shared between two of them."""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from starlette.staticfiles import StaticFiles

from api.books import Desk
from api.door import Door
from api.errors import add_handlers
from api.fresh import Freshener
from api.goods import kept_procedures
from api.guard import Guard
from api.metrics import Metrics
from api.pages import (
    control as control_page,
    dip,
    first,
    goods as goods_page,
    handover,
    keys,
    login,
    review as review_page,
    shop,
    tubs as tubs_page,
    waiting,
)
from api.pages.trouble import trouble
from api.routes import chart, control, health, next_step, people, photos, read, review, shelf, tubs
from api.schemas import Problem
from api.settings import Settings
from api.squeeze import Squeeze
from api.store import open_store
from api.warm import check_a_table, warm_up
from api.watch import Watch
from api.workers import ReadingPool

ROUTERS = (
    *(
        health.router,
        read.router,
        chart.router,
        control.router,
        next_step.router,
        tubs.router,
        photos.router,
    ),
    *(review.router, shelf.tables, shelf.cards, shelf.products, shelf.procedures, people.router),
    *(login.router, first.router, tubs_page.router, dip.router, handover.router),
    *(review_page.router, control_page.router, goods_page.router, shop.router, keys.router),
    waiting.router,
)

Clock = Callable[[], datetime]
HERE = Path(__file__).parent
DESCRIPTION = "From a photo of a dipped test strip to the next step of a hot tub's start-up."

log = logging.getLogger("dipstep.service")


def utc_now() -> datetime:
    """Return this moment."""
    return datetime.now(UTC)


def create_app(settings: Settings, now: Clock = utc_now) -> FastAPI:
    """Return a new service on this shop folder; its readers start with it and end with it."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        app.state.pool = ReadingPool(
            settings.readers, settings.read_timeout_s, practises=settings.warm
        )
        if settings.warm:
            desk = Desk(now(), "dipstep", kept_procedures(app.state.store, settings.home))
            await warm_up(app, app.state.store, desk)
        known: set[Any] = set()
        freshener = Freshener(
            app.state.store,
            settings,
            now,
            app.state.metrics.busy,
            lambda: check_a_table(app.state.store, settings, now().date(), known),
        )
        yield
        freshener.close()
        app.state.pool.close()
        app.state.store.close()

    app = FastAPI(
        title="Dipstep",
        version=version("dipstep"),
        description=DESCRIPTION,
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
    )
    settings.home.mkdir(parents=True, exist_ok=True)
    app.state.settings, app.state.now = settings, now
    app.state.store = open_store(settings.database_url)
    app.state.metrics = Metrics()
    for router in ROUTERS:
        app.include_router(router)
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    add_handlers(app, trouble)
    app.add_middleware(Squeeze)
    app.add_middleware(Door)
    app.add_middleware(Guard, max_body_bytes=settings.max_upload_bytes, as_page=trouble)
    app.add_middleware(Watch, metrics=app.state.metrics)
    describe_problem(app)
    return app


def describe_problem(app: FastAPI) -> None:
    """Put the one error shape into the OpenAPI document."""
    plain = app.openapi

    def with_problem() -> dict[str, object]:
        document = plain()
        shapes = document.setdefault("components", {}).setdefault("schemas", {})
        shapes["Problem"] = Problem.model_json_schema()
        return document

    app.openapi = with_problem  # type: ignore[method-assign]
