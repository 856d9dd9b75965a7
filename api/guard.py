"""What stands before every request: size limit, headers, and who may send a form from where.

Pure ASGI, so that uploads stream through and nothing is parsed or written before it is allowed.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.errors import AsPage, problem, wants_page

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


MOST_JSON_BYTES = 8 * 1024 * 1024
"""Largest JSON body: a log of 30,000 events; photos come as files and may be larger."""


STRANGERS_MAY = frozenset({"/login", "/logout"})
MOST_STRANGERS_BYTES = 64 * 1024
"""Largest body of what anybody may send: name and password."""


class TooLargeError(Exception):
    """The body grew beyond the limit while it came in."""


class Guard:
    """Limits the body, refuses forms from other sites, and adds the security headers."""

    def __init__(self, app: ASGIApp, max_body_bytes: int, as_page: AsPage) -> None:
        self.app, self.most, self.as_page = app, max_body_bytes, as_page

    def _refusal(self, scope: Scope, status: int, code: str, detail: str) -> ASGIApp:
        """Return the answer to a request that goes no further: a page for a person's browser."""
        if wants_page(Request(scope)):
            return self.as_page(status, detail)
        return problem(status, code, detail, {"Connection": "close"} if status == 413 else None)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let one request through, or answer it here."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        self_headers = Headers(scope=scope)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        if scope["method"] not in SAFE_METHODS and from_elsewhere(self_headers):
            detail = "this request comes from another site; open Dipstep itself"
            answer = self._refusal(scope, 403, "other_site", detail)
            await answer(scope, receive, send_with_headers)
        else:
            await self._limited(scope, receive, send_with_headers)

    def _most(self, path: str, headers: Headers) -> int:
        """Return how many bytes a body of this type may have."""
        if path in STRANGERS_MAY:
            return min(self.most, MOST_STRANGERS_BYTES)
        is_json = "json" in headers.get("content-type", "")
        return min(self.most, MOST_JSON_BYTES) if is_json else self.most

    async def _limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and answer 413 as soon as the body is too large."""
        headers = Headers(scope=scope)
        declared, most = headers.get("content-length", ""), self._most(scope["path"], headers)
        seen, answered = 0, False

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > most:
                raise TooLargeError
            return message

        async def noted(message: Message) -> None:
            nonlocal answered
            answered = True
            await send(message)

        try:
            if declared.isdigit() and int(declared) > most:
                raise TooLargeError
            await self.app(scope, counted, noted)
        except TooLargeError:
            if answered:
                raise
            shown = f"{most / 1024 / 1024:.0f} MiB" if most >= 2**20 else f"{most // 1024} KiB"
            detail = f"the upload is larger than {shown}, the most this service takes; send less"
            await self._refusal(scope, 413, "too_large", detail)(scope, receive, send)


def from_elsewhere(headers: Headers) -> bool:
    """Say whether a browser sent this from a page of another site."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is None:
        return False
    return urlsplit(origin).netloc != headers.get("host")
