"""Kept answers: shown while they hold, made anew when a wait has ended."""

from api import fresh
from api.books import Desk
from api.procedures import shop_procedures
from api.store import TubSummary
from tests.whole.shop import TUB

PH = {"type": "reading", "analyte": "ph", "value": 8.1, "unit": "pH", "source": "drop_test"}


def desk_of(shop):
    return Desk(shop.clock(), "test", shop_procedures(shop.home))


def waiting_tub(shop):
    """A tub in which a dose has just been given, so that the next step is to wait."""
    tub = shop.client.post("/api/tubs", json={**TUB, "procedure": "upkeep"}).json()["id"]
    dose = {"type": "dose", "product": "dry-acid", "amount_g": 20.0}
    for event in (PH, dose):
        sent = {"at": shop.clock().isoformat(), **event}
        answer = shop.client.post(f"/api/tubs/{tub}/events", json=sent)
        assert answer.status_code == 201, answer.text
        shop.clock.move(seconds=1)
    return tub


def kept(shop, tub):
    with shop.client.app.state.store.reading() as session:
        return session.get(TubSummary, tub)


def test_an_answer_holds_a_minute_and_not_past_its_wait(shop):
    tub = waiting_tub(shop)
    summary = kept(shop, tub)
    assert summary.answer["step"]["kind"] == "wait"

    assert fresh.fresh_answer(summary, shop.clock()) is summary.answer
    shop.clock.move(minutes=2)
    assert fresh.fresh_answer(summary, shop.clock()) is None
    shop.clock.move(hours=-1)
    assert fresh.fresh_answer(summary, shop.clock()) is None


def test_a_wait_that_ended_is_asked_anew_once(shop):
    tub = waiting_tub(shop)
    store = shop.client.app.state.store
    assert fresh.refresh_due(store, desk_of(shop), 9.0) == 0

    shop.clock.move(hours=1)
    assert fresh.wait_ended(kept(shop, tub), shop.clock())
    assert fresh.refresh_due(store, desk_of(shop), 9.0) == 1
    assert kept(shop, tub).answer["step"]["kind"] != "wait"
    assert fresh.refresh_due(store, desk_of(shop), 9.0) == 0


def test_the_list_shows_the_step_after_the_wait(shop):
    waiting_tub(shop)
    shop.clock.move(hours=1)

    shown = shop.client.get("/tubs", headers={"Accept": "text/html"}).text
    assert "The wait is over" not in shown
    assert "due now" in shown


def test_what_is_entered_meanwhile_stays_the_newest(shop):
    tub = waiting_tub(shop)
    seen = kept(shop, tub)
    shop.clock.move(hours=1)
    sent = {"at": shop.clock().isoformat(), **PH}
    assert shop.client.post(f"/api/tubs/{tub}/events", json=sent).status_code == 201
    newer = kept(shop, tub)

    shop.clock.move(seconds=5)
    store = shop.client.app.state.store
    fresh.refresh_one(store, tub, seen.asked_at, desk_of(shop))
    assert kept(shop, tub).asked_at == newer.asked_at
