"""The service asks itself for its pages before it listens; the readers read something first."""

import asyncio

import pytest

from api import warm
from api.pages import shop
from api.practice import practise
from tests.whole.canned import CannedPool
from tests.whole.shop import TABLE, TUB, open_shop


@pytest.fixture
def warm_shop(tmp_path, monkeypatch):
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    with open_shop(tmp_path / "home") as opened:
        opened.client.post("/api/tubs", json=TUB)
    with open_shop(tmp_path / "home", warm=True) as opened:
        yield opened


def test_each_kind_of_page_was_asked_for_and_answered(warm_shop):
    app = warm_shop.client.app
    asked = list(warm.paths(app.state.store))
    assert any(path.endswith("/dip") for path in asked)
    for path in asked:
        assert asyncio.run(warm.ask(app, path)) == 200, path


def test_nobody_outside_can_pass_as_the_service_itself(warm_shop):
    member = {"name": "Kay", "role": "keeper", "password": "nine brown otters"}
    assert warm_shop.client.post("/api/members", json=member).status_code == 201
    for name in ("dipstep.inside", "dipstep-inside", "x-dipstep-inside"):
        assert warm_shop.client.get("/api/tubs", headers={name: "1"}).status_code == 401
        assert warm_shop.client.get("/api/tubs", params={name: "1"}).status_code == 401


def test_a_page_that_fails_keeps_nobody_from_starting(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    monkeypatch.setattr("api.warm.ask_engine", lambda *_: 1 / 0)
    with open_shop(tmp_path / "home", warm=True) as opened:
        assert opened.client.get("/health").status_code == 200
    assert "not everything could be made ready" in caplog.text


def test_the_drawn_card_is_read():
    assert practise() == "accepted"


def test_tables_in_use_are_worked_out_in_quiet_moments(warm_shop):
    state, known = warm_shop.client.app.state, set()
    sent = {"file": ("t.csv", TABLE.encode())}
    today = warm_shop.clock().date()
    while warm.check_a_table(state.store, state.settings, today, known):
        pass
    warm_shop.client.post("/api/tables", files=sent, data={"name": "six"})
    assert warm.check_a_table(state.store, state.settings, today, known)
    assert not warm.check_a_table(state.store, state.settings, today, known)
    missed = shop.table_page.cache_info().misses
    assert warm_shop.client.get("/shop/tables/six").status_code == 200
    assert shop.table_page.cache_info().misses == missed
