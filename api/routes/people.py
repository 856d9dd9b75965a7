"""/api/members and /api/tokens: who may come in, and keys for programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Depends

from api import people
from api.deps import Asker, Keeper, Now, Number, StoreOf, who_asks
from api.errors import ProblemError
from api.people import THE_SHOP, PeopleError
from api.schemas import MemberIn, MemberOut, TokenOut, problems

router = APIRouter(prefix="/api", tags=["people"], dependencies=[Depends(who_asks)])


@router.get("/members", responses=problems(401, 403))
def get_members(store: StoreOf, _: Keeper) -> list[MemberOut]:
    """List the members."""
    with store.reading() as session:
        return [
            MemberOut(name=one.name, role=one.role, added_at=one.added_at.isoformat())
            for one in people.members(session)
        ]


@router.post("/members", status_code=201, responses=problems(401, 403, 413, 422))
def post_member(member: MemberIn, store: StoreOf, now: Now, who: Keeper) -> MemberOut:
    """Add a member; the first one is a keeper, since somebody must be."""
    role = "keeper" if who == THE_SHOP else member.role
    try:
        with store.writing() as session:
            kept = people.add_member(session, member.name, role, member.password, now)
            return MemberOut(name=kept.name, role=kept.role, added_at=now.isoformat())
    except PeopleError as fault:
        raise ProblemError(422, "unusable_member", str(fault)) from None


@router.delete("/members/{name}", status_code=204, responses=problems(401, 403, 404, 409))
def delete_member(name: str, store: StoreOf, now: Now, who: Keeper) -> None:
    """Let a member in no longer; what they did stays under their name."""
    if name == who.name:
        raise ProblemError(409, "yourself", "you cannot retire yourself; ask another keeper")
    try:
        with store.writing() as session:
            people.retire_member(session, name, now)
    except PeopleError as fault:
        raise ProblemError(404, "no_such_member", str(fault)) from None


@router.get("/tokens", responses=problems(401, 403))
def get_tokens(store: StoreOf, _: Keeper) -> list[TokenOut]:
    """List the keys that are valid; their secrets are not kept."""
    with store.reading() as session:
        return [
            TokenOut(id=one.id, name=one.name, member=name, created_at=one.created_at.isoformat())
            for one, name in people.tokens(session)
        ]


@router.post("/tokens", status_code=201, responses=problems(401, 403, 413, 422))
def post_token(
    store: StoreOf, now: Now, who: Asker, label: Annotated[dict[str, Any], Body()]
) -> TokenOut:
    """Make a key for a program that acts as you; its secret is told only now."""
    name = str(label.get("name") or "key")
    try:
        with store.writing() as session:
            number, secret = people.new_token(session, who.name, name, now)
    except PeopleError as fault:
        raise ProblemError(422, "no_member", str(fault)) from None
    return TokenOut(
        id=number, name=name[:80], member=who.name, created_at=now.isoformat(), secret=secret
    )


@router.delete("/tokens/{token_id}", status_code=204, responses=problems(401, 403, 404, 422))
def delete_token(token_id: Number, store: StoreOf, now: Now, _: Keeper) -> None:
    """Make a key invalid at once."""
    with store.writing() as session:
        if not people.revoke_token(session, token_id, now):
            raise ProblemError(404, "no_such_token", f"there is no valid key {token_id}")
