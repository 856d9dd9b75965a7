"""Members, logins and keys."""

import threading
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from api import people
from api.store import Attempt, open_store

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
WORD = "nine brown otters"


@pytest.fixture
def session(tmp_path):
    store = open_store(f"sqlite:///{tmp_path / 'books.db'}")
    with store.writing() as opened:
        yield opened
    store.close()


def log_in(session, word=WORD, now=NOON, name="Robin", address="127.0.0.1"):
    begun = people.begin_login(session, name, address, now)
    return people.end_login(session, begun, now) if people.is_right(begun, word) else None


def test_a_login_says_who_asks_until_it_ends(session):
    people.add_member(session, "Robin", "qa", WORD, NOON)
    token = log_in(session)

    assert people.who_is(session, token, None, NOON) == people.Who("Robin", "qa")
    assert people.who_is(session, token + "x", None, NOON) is None
    assert people.who_is(session, token, None, NOON + people.LOGIN_LASTS) is None
    people.log_out(session, token, NOON)
    assert people.who_is(session, token, None, NOON) is None


def test_wrong_names_and_passwords_are_counted_and_then_nobody_comes_in(session):
    people.add_member(session, "Robin", "qa", WORD, NOON)
    for _ in range(people.TRIES_BY_NAME):
        assert log_in(session, "wrong") is None

    with pytest.raises(people.TooManyTriesError, match="too many failed logins; wait 15 minutes"):
        log_in(session)
    assert log_in(session, now=NOON + timedelta(minutes=16))


def test_a_retired_member_stays_out_everywhere(session):
    people.add_member(session, "Robin", "qa", WORD, NOON)
    token = log_in(session)
    _, key = people.new_token(session, "Robin", "till", NOON)
    assert people.who_is(session, None, key, NOON) == people.Who("Robin", "qa")
    people.retire_member(session, "Robin", NOON)

    assert people.who_is(session, token, None, NOON) is None
    assert people.who_is(session, None, key, NOON) is None
    assert log_in(session) is None
    with pytest.raises(people.PeopleError, match="or was; choose another name"):
        people.add_member(session, "Robin", "qa", WORD, NOON)


def test_a_key_can_be_revoked(session):
    people.add_member(session, "Robin", "qa", WORD, NOON)
    number, key = people.new_token(session, "Robin", "till", NOON)

    assert people.revoke_token(session, number, NOON)
    assert not people.revoke_token(session, number, NOON)
    assert people.who_is(session, None, key, NOON) is None


@pytest.mark.parametrize(
    ("name", "role", "word", "says"),
    [
        ("", "qa", WORD, "the name must have 1 to 80 letters"),
        ("Robin", "king", WORD, "role 'king' is unknown"),
        ("Robin", "qa", "short", "at least 10 letters"),
    ],
)
def test_a_member_that_cannot_be_is_refused(session, name, role, word, says):
    with pytest.raises(people.PeopleError, match=says):
        people.add_member(session, name, role, word, NOON)


def test_no_secret_is_kept_as_it_is(session, tmp_path):
    people.add_member(session, "Robin", "qa", WORD, NOON)
    token = log_in(session)
    _, key = people.new_token(session, "Robin", "till", NOON)
    session.commit()
    kept = b"".join(path.read_bytes() for path in tmp_path.glob("books.db*"))

    for secret in (WORD, token, key):
        assert secret.encode() not in kept


def test_roles_may_what_those_before_may():
    assert people.Who("x", "keeper").may("qa")
    assert not people.Who("x", "technician").may("qa")


def test_tries_at_once_are_counted_before_any_is_looked_at(session):
    for _ in range(people.TRIES_BY_NAME):
        people.begin_login(session, "Robin", "127.0.0.1", NOON)
    with pytest.raises(people.TooManyTriesError):
        people.begin_login(session, "Robin", "127.0.0.1", NOON)


def test_only_so_many_wait_for_a_check(monkeypatch):
    monkeypatch.setattr(people, "IN_LINE", threading.BoundedSemaphore(1))
    people.IN_LINE.acquire()
    with pytest.raises(people.TooManyTriesError, match="just now"):
        people.is_right(people.Try(None, "", ()), WORD)


def test_a_neighbour_in_the_same_network_of_ipv6_is_the_same_address(session):
    for last in range(people.TRIES_BY_ADDRESS):
        people.begin_login(session, f"name {last}", f"2001:db8:1:2::{last + 1:x}", NOON)
    with pytest.raises(people.TooManyTriesError):
        people.begin_login(session, "Robin", "2001:db8:1:2:ffff::1", NOON)
    assert people.begin_login(session, "Robin", "2001:db8:1:3::1", NOON).member_id is None
    assert people.network_of("no address") == "no address"


def test_old_tries_are_forgotten_and_good_ones_at_once(session):
    people.add_member(session, "Robin", "qa", WORD, NOON)
    assert log_in(session, "wrong") is None
    later = NOON + timedelta(minutes=20)
    assert log_in(session, now=later)
    assert session.scalars(select(Attempt)).all() == []
