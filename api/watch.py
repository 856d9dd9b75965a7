"""One line of JSON a request in the log, and its time in the metrics."""

from __future__ import annotations

import logging
import time
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.metrics import Metrics

log = logging.getLogger("dipstep.requests")
METHODS = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE"})
"""Counted by name; a stranger may invent others without end."""


class Watch:
    """Counts and logs every request by its route, never by what was in it."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self.app, self.metrics = app, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let the request through and note how it went."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        begun, status = time.perf_counter(), 500
        self.metrics.begin()

        async def noted(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, noted)
        finally:
            seconds = time.perf_counter() - begun
            route = getattr(scope.get("route"), "path", "other")
            method = scope["method"] if scope["method"] in METHODS else "other"
            self.metrics.count(method, route, status, seconds)
            log.info("answered", extra={"facts": facts_of(scope, route, status, seconds)})


def facts_of(scope: Scope, route: str, status: int, seconds: float) -> dict[str, Any]:
    """Return what the log says of a request: never its query, headers or body."""
    return {
        "method": scope["method"],
        "path": scope["path"],
        "route": route,
        "status": status,
        "ms": round(1000 * seconds, 1),
        "from": (scope.get("client") or ["unknown"])[0],
    }
