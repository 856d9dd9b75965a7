"""The log: JSON lines that say what was asked, never what was in it."""

import io
import json
import logging

import pytest
from sqlalchemy.exc import IntegrityError

from api import log_lines
from api.store import Member, open_store
from tests.whole.canned import CannedPool
from tests.whole.shop import NOON, open_shop


@pytest.fixture
def lines(monkeypatch):
    ours = logging.getLogger(log_lines.NAME)
    for name in ("handlers", "level", "propagate"):
        monkeypatch.setattr(ours, name, getattr(ours, name))
    stream = io.StringIO()
    log_lines.write_to(stream)
    return stream


def test_each_request_is_one_line_without_what_was_sent(lines, tmp_path, monkeypatch):
    monkeypatch.setattr("api.app.ReadingPool", CannedPool)
    with open_shop(tmp_path / "home") as shop:
        sent = {"name": "Tess", "password": "nine brown otters"}
        shop.client.post("/login", data=sent)
        shop.client.get(
            "/api/tubs", params={"key": "dip_secret"}, headers={"Authorization": "Bearer dip_no"}
        )

    told = [json.loads(line) for line in lines.getvalue().splitlines()]
    assert [(one["method"], one["path"], one["status"]) for one in told] == [
        ("POST", "/login", 401),
        ("GET", "/api/tubs", 200),
    ]
    assert told[0]["log"] == "dipstep.requests"
    assert told[0]["ms"] >= 0
    assert "otters" not in lines.getvalue()
    assert "dip_" not in lines.getvalue()


def test_a_fault_is_one_line_with_its_trace_and_no_values(lines, tmp_path):
    """The database's own words would tell a password's hash."""
    store = open_store(f"sqlite:///{tmp_path / 'books.db'}")
    try:
        with store.writing() as session:
            for _ in range(2):
                session.add(
                    Member(
                        name="Kay",
                        role="qa",
                        password_hash="the hash",  # noqa: S106
                        added_at=NOON,
                        retired_at=None,
                    )
                )
                session.flush()
    except IntegrityError:
        logging.getLogger("dipstep.service").error("a write failed", exc_info=True)
    store.close()

    (line,) = lines.getvalue().splitlines()
    told = json.loads(line)
    assert told["level"] == "error"
    assert "IntegrityError" in told["trace"]
    assert "the hash" not in line
