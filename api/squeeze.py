"""Pages and their parts go out squeezed, for phones far from the workshop's network."""

from __future__ import annotations

from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Receive, Scope, Send

FROM_BYTES = 1000
LEVEL = 5


class Squeeze:
    """Squeezes what people look at; photos and pictures under /api are as small as they get."""

    def __init__(self, app: ASGIApp) -> None:
        self._plain = app
        self._squeezed = GZipMiddleware(app, minimum_size=FROM_BYTES, compresslevel=LEVEL)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, squeezed where it helps and the browser takes it."""
        is_page = scope["type"] == "http" and not scope["path"].startswith("/api/")
        await (self._squeezed if is_page else self._plain)(scope, receive, send)
