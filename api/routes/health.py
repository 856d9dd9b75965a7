"""GET /health: whether the service can serve, which version, which database."""

from __future__ import annotations

from importlib.metadata import version

from fastapi import APIRouter, Request

from api.schemas import HealthOut

router = APIRouter(tags=["health"])


@router.get("/health")
def get_health(request: Request) -> HealthOut:
    """Say that the service can serve, its version and its database."""
    return HealthOut(
        status="ok", version=version("dipstep"), database=request.app.state.store.describe()
    )
