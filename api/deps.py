"""What the routes are given: settings, clock, books, readers, and who asks."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Depends, Path, Request

from api import people
from api.books import Desk
from api.errors import ProblemError
from api.goods import kept_procedures
from api.people import Who
from api.settings import Settings
from api.store import Store
from api.workers import AllBusyError, Answer, Fault, ReadingPool, Task

Number = Annotated[int, Path(ge=0, le=2**31 - 1)]
"""A number in an address; no database counts further."""
COOKIE = "dipstep_login"
INSIDE = "dipstep.inside"
"""Key of a request's scope under which the service itself says who asks; none from outside has it.
"""


def settings_of(request: Request) -> Settings:
    """Return the settings this service was built with."""
    settings: Settings = request.app.state.settings
    return settings


def clock(request: Request) -> datetime:
    """Return this moment, or the moment a test has set."""
    now: datetime = request.app.state.now()
    return now


def pool_of(request: Request) -> ReadingPool:
    """Return the reading processes."""
    pool: ReadingPool = request.app.state.pool
    return pool


def store_of(request: Request) -> Store:
    """Return the shop's books."""
    store: Store = request.app.state.store
    return store


Now = Annotated[datetime, Depends(clock)]
SettingsOf = Annotated[Settings, Depends(settings_of)]
StoreOf = Annotated[Store, Depends(store_of)]
PoolOf = Annotated[ReadingPool, Depends(pool_of)]


def who_asks(request: Request, store: StoreOf, now: Now) -> Who:
    """Return who asks; on this machine itself nobody need log in until a member exists."""
    inside: Who | None = request.scope.get(INSIDE)
    if inside is not None:
        return inside
    bearer = request.headers.get("authorization", "")
    token = bearer[7:].strip() if bearer[:7].lower() == "bearer " else None
    with store.reading() as session:
        who = people.who_is(session, request.cookies.get(COOKIE), token, now)
    if who is not None:
        return who
    if request.app.state.settings.alone and own_name(request) and store.members() == 0:
        return people.THE_SHOP
    raise ProblemError(
        401,
        "not_logged_in",
        "log in at /login, or send a valid token",
        {"WWW-Authenticate": "Bearer"},
    )


def own_name(request: Request) -> bool:
    """Say whether we were called by a name that no other site can have made point here."""
    host = (urlsplit(f"//{request.headers.get('host', '')}").hostname or "").strip("[]")
    return "." not in host or host.replace(".", "").isdigit()


def allowed(role: str) -> Callable[[Who], Who]:
    """Return the dependency that lets in whoever may do what the role may."""

    def check(who: Annotated[Who, Depends(who_asks)]) -> Who:
        if not who.may(role):
            raise ProblemError(403, "not_allowed", f"this is for the role {role}; ask a keeper")
        return who

    return check


def desk_of(
    who: Annotated[Who, Depends(who_asks)], now: Now, store: StoreOf, settings: SettingsOf
) -> Desk:
    """Return who writes, when, and where procedures are found."""
    return Desk(now, who.name, kept_procedures(store, settings.home))


Asker = Annotated[Who, Depends(who_asks)]
Reviewer = Annotated[Who, Depends(allowed("qa"))]
Keeper = Annotated[Who, Depends(allowed("keeper"))]
DeskOf = Annotated[Desk, Depends(desk_of)]


def answer_of(pool: ReadingPool, task: Task) -> Answer | Fault:
    """Do a task in a worker; 503 when all are busy for too long."""
    try:
        return pool.read(task)
    except AllBusyError:
        raise busy() from None


def busy() -> ProblemError:
    """Return the problem of too many photos at once."""
    return ProblemError(
        503, "busy", "all readers are busy; try again in a minute", {"Retry-After": "30"}
    )
