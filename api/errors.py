"""Every error of the service in one shape: RFC 9457, `application/problem+json`."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from http import HTTPStatus
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse, Response
from sqlalchemy.exc import DataError, IntegrityError, OperationalError
from starlette.exceptions import HTTPException

log = logging.getLogger("dipstep.service")

AsPage = Callable[[int, str], Response]
"""From status and sentence to the page a person sees."""
MEDIA_TYPE = "application/problem+json"


class ProblemError(Exception):
    """A request that cannot be answered: status, code, and one sentence with the cure."""

    def __init__(
        self, status: int, code: str, detail: str, headers: dict[str, str] | None = None
    ) -> None:
        super().__init__(detail)
        self.status, self.code, self.detail, self.headers = status, code, detail, headers


def problem(
    status: int, code: str, detail: str, headers: dict[str, str] | None = None
) -> JSONResponse:
    """Return the one error shape."""
    body = {
        "type": f"urn:dipstep:problem:{code}",
        "title": HTTPStatus(status).phrase,
        "status": status,
        "detail": detail,
        "code": code,
    }
    return JSONResponse(body, status, headers, MEDIA_TYPE)


def in_plain_words(faults: Sequence[Any]) -> str:
    """Return the first fault of a refused request as one sentence."""
    place = ".".join(str(part) for part in faults[0]["loc"]) or "the request"
    return f"{place}: {str(faults[0]['msg']).lower()}; see /openapi.json for what belongs there"


def wants_page(request: Request) -> bool:
    """Say whether a person's browser asks for a page."""
    path = request.url.path
    asks = "text/html" in request.headers.get("accept", "")
    return asks and not path.startswith("/api/") and request.method in ("GET", "POST")


STATUS_CODES = {
    404: ("not_found", "there is nothing at {path}; see /openapi.json for what there is"),
    405: ("method_not_allowed", "{path} does not take {method}; see /openapi.json"),
    413: ("too_large", "the upload is larger than this service takes; send a smaller file"),
}


def add_handlers(app: FastAPI, as_page: AsPage) -> None:
    """Turn everything that can go wrong into the one shape; for a person's browser, into a page."""

    def answer(
        request: Request,
        status: int,
        code: str,
        detail: str,
        headers: dict[str, str] | None = None,
    ) -> Response:
        if wants_page(request):
            return as_page(status, detail)
        return problem(status, code, detail, headers)

    @app.exception_handler(ProblemError)
    def told(request: Request, fault: ProblemError) -> Response:
        if fault.status == 401 and wants_page(request):
            onward = quote(request.url.path, safe="/")
            return RedirectResponse(f"/login?next={onward}", 303)
        return answer(request, fault.status, fault.code, fault.detail, fault.headers)

    @app.exception_handler(RequestValidationError)
    def malformed(request: Request, refused: RequestValidationError) -> Response:
        return answer(request, 422, "malformed_request", in_plain_words(refused.errors()))

    @app.exception_handler(HTTPException)
    def refused(request: Request, fault: HTTPException) -> Response:
        code, text = STATUS_CODES.get(fault.status_code, ("refused", str(fault.detail).lower()))
        detail = text.format(path=request.url.path, method=request.method)
        return answer(request, fault.status_code, code, detail, dict(fault.headers or {}))

    add_book_handlers(app, answer)

    @app.exception_handler(Exception)
    def our_fault(request: Request, fault: Exception) -> Response:
        log.error("%s %s failed", request.method, request.url.path, exc_info=fault)
        detail = "this is a fault of Dipstep; nothing was kept, try again"
        return answer(request, 500, "our_fault", detail)


def add_book_handlers(app: FastAPI, answer: Callable[..., Response]) -> None:
    """Tell what the database refuses: what cannot be kept, what was written meanwhile, no books."""

    @app.exception_handler(DataError)
    @app.exception_handler(OverflowError)
    def no_room(request: Request, __: Exception) -> Response:
        detail = "a number or text that was sent is none that can be kept; shorten or correct it"
        return answer(request, 422, "cannot_be_kept", detail)

    @app.exception_handler(IntegrityError)
    def meanwhile(request: Request, __: IntegrityError) -> Response:
        detail = "somebody else has just written the same; look at what stands there, and try again"
        return answer(request, 409, "written_meanwhile", detail)

    @app.exception_handler(OperationalError)
    def away(request: Request, fault: OperationalError) -> Response:
        log.error("%s %s: the database is away", request.method, request.url.path, exc_info=fault)
        detail = "the books are busy or away; nothing was kept, try again in a minute"
        return answer(request, 503, "books_away", detail, {"Retry-After": "30"})
