"""What the shop's own experience says: flagged, disagreed with, band held or not."""

import re
from datetime import timedelta

import pytest

from api.experience import experience
from api.pages import review as pages
from api.store import Decision, KeptFile, Photo, Reading, Review
from tests.whole.shop import NOON, TUB, open_shop


@pytest.fixture
def shop(tmp_path):
    with open_shop(tmp_path) as opened:
        yield opened


def pad(number, value, status="accepted", reasons=()):
    band = {"low": value - 0.5, "high": value + 0.5}
    head = {"pad": number, "analyte": "free_chlorine", "value": value, **band}
    return {**head, "status": status, "reasons": list(reasons)}


def keep(session, tub_id, reading):
    table = KeptFile(
        kind="table", name="b", version=1, file_name="b.csv", sha256="0", data=b"",
        facts={"strip": "Brook", "lot": "B1"}, added_at=NOON, added_by="Wren",
    )  # fmt: skip
    photo = Photo(
        tub_id=tub_id, sha256="1", sent_sha256="1", name="a.jpg", taken_at=NOON, elapsed_s=None,
        key=None, answer={}, sent_at=NOON, sent_by="Robin",
    )  # fmt: skip
    session.add_all([table, photo])
    session.flush()
    kept = Reading(
        photo_id=photo.id, table_id=table.id, card_id=None, software="x", status="recheck",
        data=reading, made_at=NOON, made_by="Robin",
    )  # fmt: skip
    session.add(kept)
    session.flush()
    return kept


def test_readings_are_counted_by_lot_person_and_light(shop):
    """One pad flagged and corrected; a drop test within the hour says whether bands held."""
    tub_id = shop.client.post("/api/tubs", json=TUB).json()["id"]
    drop = {"type": "reading", "analyte": "free_chlorine", "unit": "mg/L", "source": "drop_test"}
    at = (NOON - timedelta(minutes=20)).isoformat()
    shop.client.post(f"/api/tubs/{tub_id}/events", json={**drop, "at": at, "value": 3.2})
    pads = [pad(1, 3.0), pad(2, 5.0, "recheck", ["light_warm"])]
    store = shop.client.app.state.store
    with store.writing() as session:
        kept = keep(session, tub_id, {"reasons": ["light_warm"], "readings": pads})
        review = Review(
            reading_id=kept.id, tub_id=tub_id, pad=2, analyte="free_chlorine", data=pads[1],
            taken_at=NOON, opened_at=NOON,
        )  # fmt: skip
        session.add(review)
        session.flush()
        session.add(
            Decision(
                review_id=review.id,
                decision="correct",
                value=3.2,
                source="drop_test",
                note="",
                event_id=None,
                at=NOON,
                by="Kit",
            )
        )
    with store.reading() as session:
        by_lot, by_person, by_light = experience(session)

    assert [one.group for one in (*by_lot, *by_person, *by_light)] == [
        "Brook, lot B1",
        "Robin",
        "light warm",
    ]
    one = by_lot[0]
    assert (one.pads, one.flagged, one.decided, one.disagreed) == (2, 1, 1, 1)
    assert (one.compared, one.held) == (2, 1)


def test_a_drop_test_of_another_day_speaks_of_other_water(shop):
    tub_id = shop.client.post("/api/tubs", json=TUB).json()["id"]
    drop = {"type": "reading", "analyte": "free_chlorine", "unit": "mg/L", "source": "drop_test"}
    at = (NOON - timedelta(hours=30)).isoformat()
    shop.client.post(f"/api/tubs/{tub_id}/events", json={**drop, "at": at, "value": 3.2})
    with shop.client.app.state.store.writing() as session:
        keep(session, tub_id, {"reasons": [], "readings": [pad(1, 3.0)]})
    with shop.client.app.state.store.reading() as session:
        by_lot, _, by_light = experience(session)

    assert by_lot[0].compared == 0
    assert by_light[0].group == "good light"


def test_the_trail_goes_on_page_by_page_and_misses_nothing(shop, monkeypatch):
    monkeypatch.setattr(pages, "TRAIL", 2)
    tub_id = shop.client.post("/api/tubs", json=TUB).json()["id"]
    flagged = pad(1, 3.0, "recheck")
    with shop.client.app.state.store.writing() as session:
        kept = keep(session, tub_id, {"reasons": [], "readings": [flagged]})
        for number in range(5):
            review = Review(
                reading_id=kept.id, tub_id=tub_id, pad=1, analyte="free_chlorine", data=flagged,
                taken_at=NOON, opened_at=NOON,
            )  # fmt: skip
            session.add(review)
            session.flush()
            ruled = Decision(
                review_id=review.id, decision="dip_again", value=None, source=None,
                note=f"look {number}", event_id=None, at=NOON, by="Kit",
            )  # fmt: skip
            session.add(ruled)
    seen, path = [], "/review/record"
    while path:
        text = shop.client.get(path).text
        seen += re.findall(r"look \d", text)
        onward = re.search(r'href="(/review/record\?before=\d+)"', text)
        path = onward[1] if onward else None
    assert seen == [f"look {number}" for number in (4, 3, 2, 1, 0)]
