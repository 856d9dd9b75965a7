"""Keys for programs: made, shown once, taken back."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from api import people
from api.deps import Asker, Keeper, Now, StoreOf, who_asks
from api.errors import ProblemError
from api.forms import FormOf, upload
from api.pages.render import page
from api.people import THE_SHOP, PeopleError, Who
from api.store import Store

router = APIRouter(prefix="/shop/keys", include_in_schema=False, dependencies=[Depends(who_asks)])


@dataclass(frozen=True)
class Key:
    """One key that is valid."""

    id: int
    name: str
    member: str
    created_at: str


@dataclass(frozen=True)
class KeysPage:
    """The keys that are valid, and the secret of one just made."""

    keys: tuple[Key, ...]
    who: Who
    keeper: bool
    alone: bool
    secret: str | None = None
    trouble: str | None = None


def shown(
    store: Store, who: Who, secret: str | None = None, trouble: str | None = None
) -> KeysPage:
    """Return what the page shows: a keeper sees every key, others see their own."""
    keeper = who.may("keeper")
    with store.reading() as session:
        keys = tuple(
            Key(one.id, one.name, member, one.created_at.isoformat())
            for one, member in people.tokens(session)
            if keeper or member == who.name
        )
    return KeysPage(keys, who, keeper, who == THE_SHOP, secret, trouble)


@router.get("")
def get_keys(store: StoreOf, who: Asker) -> HTMLResponse:
    """Show the keys that are valid."""
    return page("keys.html", shown(store, who))


@router.post("")
def post_key(form: FormOf, store: StoreOf, now: Now, who: Asker) -> HTMLResponse:
    """Make a key for a program that acts as the member; its secret is shown only now."""
    name = upload(form, "name")
    try:
        with store.writing() as session:
            label = name if isinstance(name, str) else "key"
            _, secret = people.new_token(session, who.name, label, now)
    except PeopleError as fault:
        return page("keys.html", shown(store, who, trouble=str(fault)), 422)
    return page("keys.html", shown(store, who, secret))


@router.post("/revoke")
def post_revoke(form: FormOf, store: StoreOf, now: Now, _: Keeper) -> Response:
    """Make a key invalid at once."""
    number = str(upload(form, "id") or "")
    with store.writing() as session:
        if not (number.isdecimal() and len(number) < 10) or not people.revoke_token(
            session, int(number), now
        ):
            raise ProblemError(404, "no_such_token", f"there is no valid key {number!r}")
    return RedirectResponse("/shop/keys", 303)
