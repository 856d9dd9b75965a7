"""Several people and phones write at one moment: nothing twice, nothing lost, no fault."""

import sqlite3
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy.exc import OperationalError

from api.store import Store, TubSummary
from tests.whole.shop import TABLE, TUB

PH = {"type": "reading", "analyte": "ph", "unit": "pH", "source": "drop_test"}
JPEG = b"\xff\xd8\xff\xe0 a photo"


@pytest.fixture
def tub(shop):
    shop.client.post("/api/tables", files={"file": ("t.csv", TABLE)}, data={"name": "six"})
    return f"/api/tubs/{shop.client.post('/api/tubs', json=TUB).json()['id']}"


def at_once(count, call):
    """Return what several calls gave that were made at one moment."""
    with ThreadPoolExecutor(count) as pool:
        return list(pool.map(call, range(count)))


def test_one_event_sent_twice_at_once_is_entered_once(shop, tub):
    event = {**PH, "at": shop.clock().isoformat(), "value": 7.5}
    for turn in range(3):
        key = {"Idempotency-Key": f"key {turn}"}
        told = at_once(
            4, lambda _, key=key: shop.client.post(f"{tub}/events", json=event, headers=key)
        )
        assert sorted(one.status_code for one in told) == [200, 200, 200, 201]
        assert len({one.json()["id"] for one in told}) == 1
    assert len(shop.client.get(f"{tub}/events").json()) == 3


def test_one_photo_sent_twice_at_once_is_kept_once(shop, tub):
    told = at_once(4, lambda _: shop.client.put(f"{tub}/photos/one-key?table=six", content=JPEG))

    assert sorted(one.status_code for one in told) == [200, 200, 200, 201]
    assert len(shop.client.get(f"{tub}/photos").json()) == 1
    assert len(shop.client.get(f"{tub}/log").json()["events"]) == 1


def test_the_kept_answer_knows_all_that_was_entered_at_once(shop, tub):
    values = (7.1, 7.3, 7.5, 7.7)
    events = [{**PH, "at": shop.clock().isoformat(), "value": value} for value in values]
    told = at_once(4, lambda place: shop.client.post(f"{tub}/events", json=events[place]))

    assert {one.status_code for one in told} == {201}
    assert len(shop.client.get(f"{tub}/log").json()["events"]) == 4
    with shop.client.app.state.store.reading() as session:
        kept = session.get(TubSummary, tub.rsplit("/", 1)[-1]).answer
    assert kept == shop.client.get(f"{tub}/next").json()


def test_two_versions_sent_at_once_both_find_a_place_or_hear_why(shop):
    files = [TABLE.replace(",6.8,78,", f",6.8,{70 + place},") for place in range(4)]
    told = at_once(
        4,
        lambda place: shop.client.post(
            "/api/tables", files={"file": ("t.csv", files[place])}, data={"name": "six"}
        ),
    )
    kept = [one.json()["version"] for one in told if one.status_code == 201]
    assert {one.status_code for one in told} <= {201, 409}
    assert sorted(kept) == list(range(1, len(kept) + 1))


def test_books_that_are_away_are_told_as_such(shop, monkeypatch):
    def away(*_):
        raise OperationalError("SELECT 1", {}, sqlite3.OperationalError("database is locked"))

    monkeypatch.setattr(Store, "reading", away)
    answer = shop.client.get("/api/tubs")
    assert answer.status_code == 503
    assert answer.json()["code"] == "books_away"
    assert int(answer.headers["retry-after"]) > 0
