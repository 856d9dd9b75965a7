"""Who stands at the door: a stranger's request is turned away before its body is parsed."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from api.deps import clock, store_of, who_asks
from api.errors import ProblemError, problem
from api.guard import SAFE_METHODS


class Door:
    """Asks who it is before anything of a body is read; the routes ask again what they may do.

    The framework parses a JSON body before it asks the routes' own dependencies.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a member through, and answer a stranger here."""
        if scope["type"] == "http" and guarded(scope):
            request = Request(scope)
            try:
                await run_in_threadpool(who_asks, request, store_of(request), clock(request))
            except ProblemError as fault:
                answer = problem(fault.status, fault.code, fault.detail, fault.headers)
                await answer(scope, receive, send)
                return
        await self.app(scope, receive, send)


def guarded(scope: Scope) -> bool:
    """Say whether a request brings something that only a member may bring."""
    return scope["method"] not in SAFE_METHODS and scope["path"].startswith("/api/")
