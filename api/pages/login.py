"""The page to log in, and the way out."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from api import people
from api.deps import COOKIE, Now, StoreOf
from api.forms import FormOf, upload
from api.pages.render import page
from api.people import TooManyTriesError

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class LoginPage:
    """What the page shows."""

    trouble: str | None = None
    onward: str = "/"


@router.get("/login")
def get_login(next: str = "/") -> HTMLResponse:
    """Show the form."""
    return page("login.html", LoginPage(onward=safe(next)))


@router.post("/login")
def post_login(request: Request, form: FormOf, store: StoreOf, now: Now) -> Response:
    """Let a member in, or say that name or password is wrong."""
    name, password, onward = (str(upload(form, one) or "") for one in ("name", "password", "next"))
    address = request.client.host if request.client else "unknown"
    try:
        token = people.log_in(store, name, password, address, now)
    except TooManyTriesError as fault:
        return page("login.html", LoginPage(str(fault), safe(onward)), 429)
    if token is None:
        wrong = "Name or password is wrong; check both and try again."
        return page("login.html", LoginPage(wrong, safe(onward)), 401)
    answer = RedirectResponse(safe(onward), 303)
    answer.set_cookie(
        COOKIE,
        token,
        max_age=int(people.LOGIN_LASTS.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
    )
    return answer


@router.post("/logout")
def post_logout(request: Request, store: StoreOf, now: Now) -> Response:
    """End the login."""
    with store.writing() as session:
        people.log_out(session, request.cookies.get(COOKIE, ""), now)
    answer = RedirectResponse("/login", 303)
    answer.delete_cookie(COOKIE)
    return answer


def safe(path: str) -> str:
    """Return the path within this service; another site's address becomes the first page."""
    inside = path.startswith("/") and not path.startswith(("//", "/\\"))
    return path if inside and "\n" not in path and "\r" not in path else "/"
