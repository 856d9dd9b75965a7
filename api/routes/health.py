"""GET /health and /metrics: whether the service can serve, and how it does."""

from __future__ import annotations

from importlib.metadata import version

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse
from sqlalchemy import func, select

from api.deps import Asker, PoolOf, StoreOf
from api.schemas import HealthOut, problems
from api.store import Decision, Photo, Review, Tub

router = APIRouter(tags=["health"])


@router.get("/health")
def get_health(store: StoreOf, pool: PoolOf) -> HealthOut:
    """Say that the service can serve: version, database, and how many readers stand ready."""
    return HealthOut(
        status="ok",
        version=version("dipstep"),
        database=store.describe(),
        readers_ready=pool.loaded(),
    )


@router.get("/metrics", response_class=PlainTextResponse, responses=problems(401))
def get_metrics(request: Request, store: StoreOf, _: Asker) -> PlainTextResponse:
    """Return counts and times in the text format that Prometheus reads."""
    with store.reading() as session:
        reviews = session.scalar(select(func.count(Review.id))) or 0
        decided = session.scalar(select(func.count(Decision.id))) or 0
        gauges: dict[str, float] = {
            "tubs": session.scalar(select(func.count(Tub.id))) or 0,
            "photos": session.scalar(select(func.count(Photo.id))) or 0,
            "reviews_waiting": reviews - decided,
        }
    return PlainTextResponse(request.app.state.metrics.text(gauges))
