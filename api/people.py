"""Members of the shop: passwords, logins, tokens for programs; attempts are limited."""

from __future__ import annotations

import hashlib
import secrets
import threading
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from ipaddress import ip_address, ip_network

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from api.store import ApiToken, Attempt, Login, Member, Store

ROLES = ("technician", "qa", "keeper")
"""Each may do what the ones before may: read and enter; decide reviews; keep tables and people."""
LOGIN_LASTS = timedelta(days=14)
WINDOW = timedelta(minutes=15)
TRIES_BY_NAME, TRIES_BY_ADDRESS = 5, 30
"""Failed logins within the window after which nobody is let in under this name or address."""
SHORTEST_PASSWORD = 10
HASHER = PasswordHasher()
AT_ONCE = threading.BoundedSemaphore(2)
"""Each check takes 64 MiB; two at once are enough for a shop."""
IN_LINE = threading.BoundedSemaphore(8)
"""More wait for a check at no time, so that the others' requests find a thread."""


class PeopleError(ValueError):
    """A member that cannot be added or let in; the message says why and what to do."""


class TooManyTriesError(PeopleError):
    """Too many failed logins."""


@dataclass(frozen=True)
class Who:
    """Who asks."""

    name: str
    role: str

    def may(self, role: str) -> bool:
        """Say whether this person may do what the role may."""
        return ROLES.index(self.role) >= ROLES.index(role)


THE_SHOP = Who("the shop", "keeper")
"""Who asks on this machine itself while there are no members."""


def add_member(session: Session, name: str, role: str, password: str, now: datetime) -> Member:
    """Keep a new member; raise `PeopleError` when name, role or password cannot be."""
    name = name.strip()
    if not 1 <= len(name) <= 80 or any(ord(one) < 32 for one in name):
        raise PeopleError("the name must have 1 to 80 letters; choose another")
    if role not in ROLES:
        raise PeopleError(f"role {role!r} is unknown; known are {', '.join(ROLES)}")
    if len(password) < SHORTEST_PASSWORD:
        raise PeopleError(f"the password must have at least {SHORTEST_PASSWORD} letters")
    if session.scalars(select(Member).where(Member.name == name)).first():
        raise PeopleError(f"there is a member {name!r} already, or was; choose another name")
    hashed = HASHER.hash(password)
    member = Member(name=name, role=role, password_hash=hashed, added_at=now, retired_at=None)
    session.add(member)
    session.flush()
    return member


def retire_member(session: Session, name: str, now: datetime) -> None:
    """Let a member in no longer; what they did stays under their name."""
    member = _member(session, name)
    if member is None:
        raise PeopleError(f"there is no member {name!r}; see `dipstep member list`")
    member.retired_at = now
    for login in session.scalars(select(Login).where(Login.member_id == member.id)):
        login.ended_at = login.ended_at or now
    for token in session.scalars(select(ApiToken).where(ApiToken.member_id == member.id)):
        token.revoked_at = token.revoked_at or now


def members(session: Session) -> list[Member]:
    """Return the members who may come in, by name."""
    query = select(Member).where(Member.retired_at.is_(None)).order_by(Member.name)
    return list(session.scalars(query))


@dataclass(frozen=True)
class Try:
    """A login that was begun: it counts as failed until the password has been found right."""

    member_id: int | None
    password_hash: str
    counted: tuple[int, ...]
    """Rows under which it counts."""


def log_in(store: Store, name: str, password: str, address: str, now: datetime) -> str | None:
    """Return a new login's token, or None for a wrong name or password.

    It is counted before the password is looked at, so that many tries at once are not let off;
    the slow look itself keeps nobody from writing. Raises `TooManyTriesError` when there were too
    many failures lately, or too many are trying just now.
    """
    with store.writing() as session:
        begun = begin_login(session, name, address, now)
    if not is_right(begun, password):
        return None
    with store.writing() as session:
        return end_login(session, begun, now)


def begin_login(session: Session, name: str, address: str, now: datetime) -> Try:
    """Count a try by name and by address; raise `TooManyTriesError` when there were too many."""
    session.execute(delete(Attempt).where(Attempt.at <= now - WINDOW))
    keys = {
        f"name {name.strip()[:80]}": TRIES_BY_NAME,
        f"from {network_of(address)}": TRIES_BY_ADDRESS,
    }
    for key, most in keys.items():
        if failures(session, key, now) >= most:
            minutes = WINDOW.seconds // 60
            raise TooManyTriesError(f"too many failed logins; wait {minutes} minutes, try again")
    counted = [Attempt(key=key, at=now) for key in keys]
    session.add_all(counted)
    session.flush()
    member = _member(session, name)
    numbers = tuple(one.id for one in counted)
    if member is None:
        return Try(None, _nobody(), numbers)
    return Try(member.id, member.password_hash, numbers)


def end_login(session: Session, begun: Try, now: datetime) -> str | None:
    """Return the new login's token and forget the try; None for who was retired meanwhile."""
    member = session.get(Member, begun.member_id)
    if member is None or member.retired_at is not None:
        return None
    session.execute(delete(Attempt).where(Attempt.id.in_(begun.counted)))
    token = secrets.token_urlsafe(32)
    session.add(
        Login(
            token_sha256=_hash(token),
            member_id=member.id,
            created_at=now,
            expires_at=now + LOGIN_LASTS,
            ended_at=None,
        )
    )
    return token


def network_of(address: str) -> str:
    """Return whose address it is: whoever has one of IPv6 has all of its /64."""
    try:
        found = ip_address(address)
    except ValueError:
        return address[:80]
    return str(ip_network(f"{found}/64", strict=False)) if found.version == 6 else str(found)


def failures(session: Session, key: str, now: datetime) -> int:
    """Return how many logins failed under this key lately."""
    query = select(func.count(Attempt.id)).where(Attempt.key == key, Attempt.at > now - WINDOW)
    return session.scalar(query) or 0


def log_out(session: Session, token: str, now: datetime) -> None:
    """End a login."""
    login = session.scalars(select(Login).where(Login.token_sha256 == _hash(token))).first()
    if login is not None:
        login.ended_at = now


def who_is(session: Session, login: str | None, bearer: str | None, now: datetime) -> Who | None:
    """Return who asks, by a login's or a program's token."""
    if bearer:
        query = (
            select(Member)
            .join(ApiToken, ApiToken.member_id == Member.id)
            .where(ApiToken.token_sha256 == _hash(bearer), ApiToken.revoked_at.is_(None))
        )
    elif login:
        query = (
            select(Member)
            .join(Login, Login.member_id == Member.id)
            .where(Login.token_sha256 == _hash(login), Login.ended_at.is_(None))
            .where(Login.expires_at > now)
        )
    else:
        return None
    member = session.scalars(query.where(Member.retired_at.is_(None))).first()
    return None if member is None else Who(member.name, member.role)


def new_token(session: Session, member_name: str, label: str, now: datetime) -> tuple[int, str]:
    """Return the id and the secret of a new key for a program; the secret is shown only now."""
    member = _member(session, member_name)
    if member is None:
        raise PeopleError(f"there is no member {member_name!r}; keys belong to members, add one")
    secret = "dip_" + secrets.token_urlsafe(32)
    token = ApiToken(
        name=label.strip()[:80] or "key",
        token_sha256=_hash(secret),
        member_id=member.id,
        created_at=now,
        revoked_at=None,
    )
    session.add(token)
    session.flush()
    return token.id, secret


def tokens(session: Session) -> list[tuple[ApiToken, str]]:
    """Return the keys that are valid, each with its member's name."""
    query = (
        select(ApiToken, Member.name)
        .join(Member, ApiToken.member_id == Member.id)
        .where(ApiToken.revoked_at.is_(None))
        .order_by(ApiToken.id)
    )
    return [(token, name) for token, name in session.execute(query)]


def revoke_token(session: Session, token_id: int, now: datetime) -> bool:
    """Make a key invalid, and say whether it was valid."""
    token = session.get(ApiToken, token_id)
    if token is None or token.revoked_at is not None:
        return False
    token.revoked_at = now
    return True


def _member(session: Session, name: str) -> Member | None:
    query = select(Member).where(Member.name == name.strip(), Member.retired_at.is_(None))
    return session.scalars(query).first()


@cache
def _nobody() -> str:
    """Return a hash that no password fits, checked when the name is unknown."""
    return HASHER.hash(secrets.token_hex(16))


def is_right(begun: Try, password: str) -> bool:
    """Say whether the password is the member's; an unknown name takes as long."""
    if not IN_LINE.acquire(blocking=False):
        raise TooManyTriesError("too many log in just now; wait a moment, try again")
    try:
        with AT_ONCE:
            HASHER.verify(begun.password_hash, password)
    except (VerificationError, InvalidHashError):
        return False
    finally:
        IN_LINE.release()
    return begun.member_id is not None


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
