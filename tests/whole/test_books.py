"""What the service keeps: tubs, events, photos, reviews, tables; on SQLite and PostgreSQL."""

import hashlib
import threading

import pytest
from sqlalchemy import select

from api.store import Photo, Reading, TubEvent, TubVersion
from api.workers import Answer, Fault
from tests.whole.canned import NO_CARD
from tests.whole.shop import TABLE, TUB

JPEG = b"\xff\xd8\xff\xe0 a photo"
PH = {"at": "2026-06-01T11:00:00+02:00", "type": "reading", "analyte": "ph", "value": 7.4,
      "unit": "pH", "source": "drop_test"}  # fmt: skip


@pytest.fixture
def tub(shop):
    """Return the path of a new tub's calls; its strip's table is kept."""
    kept = shop.client.post("/api/tables", files={"file": ("t.csv", TABLE)}, data={"name": "six"})
    assert kept.status_code == 201, kept.text
    made = shop.client.post("/api/tubs", json=TUB)
    assert made.status_code == 201, made.text
    return f"/api/tubs/{made.json()['id']}"


def send(shop, tub, photo=JPEG, headers=None, **fields):
    return shop.client.post(
        f"{tub}/photos",
        files={"photo": ("a.jpg", photo)},
        data={"table": "six", **fields},
        headers=headers,
    )


def events(shop, tub):
    return shop.client.get(f"{tub}/log").json()["events"]


def test_health_says_version_and_database(shop):
    told = shop.client.get("/health").json()

    assert told["status"] == "ok"
    assert told["version"]
    assert told["database"]["kind"] in {"sqlite", "postgresql"}
    assert told["database"]["revision"] == "0003"


def test_a_tub_is_kept_changed_and_listed(shop, tub):
    changed = shop.client.patch(tub, json={"volume_l": 1300})

    assert changed.status_code == 200
    assert shop.client.get(tub).json()["volume_l"] == 1300
    assert [one["volume_l"] for one in shop.client.get("/api/tubs").json()] == [1300]
    assert shop.client.get(f"{tub}/log").json()["tub"]["volume_l"] == 1300
    with shop.client.app.state.store.reading() as session:
        said = [one.data["volume_l"] for one in session.scalars(select(TubVersion))]
    assert said == [1250, 1300]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"volume_l": -1}, "tub.volume_l: -1 is not possible"),
        ({"sanitizer": "magic"}, "tub.sanitizer: 'magic' is unknown"),
        ({"procedure": "no_such"}, "no built-in procedure 'no_such'"),
        ({"volum_l": 3}, "'volum_l' is unknown; known are name, volume_l"),
        ({"name": None}, "tub.name"),
    ],
)
def test_a_tub_that_cannot_be_is_refused_with_its_field(shop, tub, change, says):
    for answer in (
        shop.client.patch(tub, json=change),
        shop.client.post("/api/tubs", json={**TUB, **change}),
    ):
        assert answer.status_code == 422
        assert answer.headers["content-type"] == "application/problem+json"
        assert says in answer.json()["detail"]
    assert len(shop.client.get("/api/tubs").json()) == 1


def test_what_is_accepted_enters_the_log_and_the_rest_waits(shop, tub):
    answer = send(shop, tub)
    told = answer.json()

    assert answer.status_code == 201
    assert told["photo"] == hashlib.sha256(JPEG).hexdigest()
    assert [event["analyte"] for event in told["entered"]] == ["ph"]
    assert told["next"]["step"]["text"]
    assert [event["analyte"] for event in events(shop, tub)] == ["ph"]
    waiting = shop.client.get("/api/review").json()
    assert [(one["analyte"], one["reading"]["reasons"]) for one in waiting] == [
        ("free_chlorine", ["beyond_chart"])
    ]


def test_the_same_photo_enters_nothing_twice(shop, tub):
    first = send(shop, tub)
    again = send(shop, tub)

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert len(events(shop, tub)) == 1
    assert len(shop.client.get(f"{tub}/photos").json()) == 1


def test_the_same_key_enters_nothing_twice(shop, tub):
    first = send(shop, tub, headers={"Idempotency-Key": "phone-1"})
    again = send(shop, tub, JPEG + b" other", headers={"Idempotency-Key": "phone-1"})

    assert again.status_code == 200
    assert first.json() == again.json()
    assert len(events(shop, tub)) == 1


def test_a_photo_put_under_the_phones_own_key(shop, tub):
    where = f"{tub}/photos/3f0c?table=six&taken_at=2026-06-01T13:30:00%2B02:00&elapsed_s=16"
    first = shop.client.put(where, content=JPEG)
    again = shop.client.put(where, content=JPEG)

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert events(shop, tub)[0]["at"] == "2026-06-01T13:30:00+02:00"


def test_the_same_photo_from_many_sides_at_once(shop, tub):
    answers = []
    senders = [threading.Thread(target=lambda: answers.append(send(shop, tub))) for _ in range(6)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()

    assert sorted(answer.status_code for answer in answers) == [200] * 5 + [201]
    assert len({answer.text for answer in answers}) == 1
    assert len(events(shop, tub)) == 1


def test_a_reading_keeps_the_versions_it_was_made_with(shop, tub):
    send(shop, tub)
    other = TABLE.replace("lot-", "lot-").replace(",6.8,78,", ",6.8,79,")
    newer = shop.client.post("/api/tables", files={"file": ("t.csv", other)}, data={"name": "six"})
    send(shop, tub, JPEG + b" later")

    assert newer.json()["version"] == 2
    tables = [one["table"] for one in shop.client.get(f"{tub}/photos").json()]
    assert sorted(tables) == ["six, version 1", "six, version 2"]
    assert shop.client.get("/api/tables/six?version=1").text == TABLE
    assert shop.client.get("/api/tables/six").text == other


def test_a_photo_without_a_card_is_one_thing_to_look_at(shop, tub):
    shop.client.app.state.pool.answer = Answer(NO_CARD, {})
    answer = send(shop, tub)

    assert answer.status_code == 201
    assert answer.json()["entered"] == []
    waiting = shop.client.get("/api/review").json()
    assert [(one["pad"], one["reading"]["reasons"]) for one in waiting] == [(0, ["no_card"])]


def test_a_photo_that_broke_the_reader_is_kept_and_waits(shop, tub):
    shop.client.app.state.pool.answer = Fault("reading_stopped", "a.jpg: reading took too long")
    answer = send(shop, tub)

    assert answer.status_code == 201
    assert answer.json()["reading"]["reasons"] == ["reading_stopped"]
    image = shop.client.get(f"{tub}/photos/{answer.json()['photo']}/image")
    assert image.content == JPEG
    assert image.headers["content-type"] == "image/jpeg"


def test_what_is_no_image_leaves_nothing_behind(shop, tub):
    shop.client.app.state.pool.answer = Fault("not_an_image", "a.jpg: is no image")
    answer = send(shop, tub)

    assert answer.status_code == 422
    assert answer.json()["code"] == "not_an_image"
    assert shop.client.get(f"{tub}/photos").json() == []
    assert not list(shop.home.rglob("photos/*/*"))
    with shop.client.app.state.store.reading() as session:
        assert session.scalars(select(Photo)).all() == session.scalars(select(Reading)).all() == []


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"table": "no such"}, "there is none called 'no such'; kept are: six"),
        ({"table": ""}, "table: nothing was sent"),
        ({"elapsed_s": "soon"}, "elapsed_s: 'soon' is not a number of seconds"),
        ({"taken_at": "2026-06-01T12:00"}, "taken_at: is no time with an offset"),
        ({"taken_at": "2027-06-01T12:00:00+00:00"}, "taken_at: lies in the future"),
        ({"dipped_at": "just now"}, "dipped_at: is no time with an offset"),
        ({"dipped_at": "2027-06-01T12:00:00+00:00"}, "dipped_at: lies in the future"),
        ({"card": "no such"}, "there is none called 'no such'"),
    ],
)
def test_a_photo_that_cannot_be_used_says_which_field(shop, tub, fields, says):
    answer = send(shop, tub, **fields)

    assert answer.status_code == 422
    assert says in answer.json()["detail"]
    assert events(shop, tub) == []


def test_a_table_sent_with_the_photo_is_kept(shop, tub):
    answer = shop.client.post(
        f"{tub}/photos", files={"photo": ("a.jpg", JPEG), "table": ("own.csv", TABLE)}
    )

    assert answer.status_code == 201
    kept = shop.client.get("/api/tables").json()
    assert [(one["name"], one["version"]) for one in kept] == [("Brook six", 1), ("six", 1)]


def test_an_event_by_hand_once_however_often_it_is_sent(shop, tub):
    first = shop.client.post(f"{tub}/events", json=PH, headers={"Idempotency-Key": "e1"})
    again = shop.client.post(f"{tub}/events", json=PH, headers={"Idempotency-Key": "e1"})

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()
    assert first.json()["id"]
    assert events(shop, tub) == [PH]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"analyte": "moon_dust"}, "the event.analyte: 'moon_dust' is unknown"),
        ({"unit": "ppm"}, "the event.unit: ph is logged in pH, not 'ppm'"),
        ({"value": "seven"}, "the event.value"),
        ({"at": "2026-06-01T11:00"}, "has no offset"),
        ({"at": "2026-06-03T11:00:00+02:00"}, "lies later than the moment asked about"),
        ({"type": "prayer"}, "the event.type: 'prayer' is unknown"),
        ({"low": 8.0, "high": 9.0}, "does not hold its value"),
    ],
)
def test_an_event_that_cannot_be_is_refused_and_not_entered(shop, tub, change, says):
    answer = shop.client.post(f"{tub}/events", json={**PH, **change})

    assert answer.status_code == 422
    assert says in answer.json()["detail"]
    assert events(shop, tub) == []


def test_a_wrong_entry_is_replaced_and_stays_in_the_books(shop, tub):
    wrong = shop.client.post(f"{tub}/events", json={**PH, "value": 4.7}).json()
    right = shop.client.post(f"{tub}/events", json=PH, params={"replaces": wrong["id"]}).json()

    assert events(shop, tub) == [PH]
    assert right["replaces"] == wrong["id"]
    with shop.client.app.state.store.reading() as session:
        assert len(session.scalars(select(TubEvent)).all()) == 2
    gone = shop.client.delete(f"{tub}/events/{right['id']}", params={"why": "wrong tub"})
    assert gone.status_code == 204
    assert events(shop, tub) == []
    assert shop.client.delete(f"{tub}/events/{right['id']}").status_code == 404


def test_a_decision_enters_the_other_methods_value_and_stands(shop, tub):
    send(shop, tub)
    review = shop.client.get("/api/review").json()[0]["id"]
    ruling = {"decision": "correct", "value": 3.4, "source": "drop_test", "note": "two drops"}
    made = shop.client.post(f"/api/review/{review}", json=ruling)

    assert made.status_code == 201
    assert made.json()["by"] == "the shop"
    assert [(one["analyte"], one["value"], one["source"]) for one in events(shop, tub)] == [
        ("ph", 7.5, "photo"),
        ("free_chlorine", 3.4, "drop_test"),
    ]
    assert shop.client.get("/api/review").json() == []
    decided = shop.client.get("/api/review?decided=true").json()
    assert decided[0]["decision"]["note"] == "two drops"
    again = shop.client.post(f"/api/review/{review}", json={"decision": "accept"})
    assert again.status_code == 409
    assert "the shop decided 'correct'" in again.json()["detail"]


@pytest.mark.parametrize(
    ("ruling", "status", "says"),
    [
        ({"decision": "correct"}, 422, "value: is missing"),
        ({"decision": "correct", "value": -2}, 422, "is not possible"),
        ({"decision": "maybe"}, 422, "decision"),
        ({"decision": "correct", "value": 3, "source": "dream"}, 422, "source"),
    ],
)
def test_a_decision_that_cannot_be_leaves_the_review_open(shop, tub, ruling, status, says):
    send(shop, tub)
    review = shop.client.get("/api/review").json()[0]["id"]
    answer = shop.client.post(f"/api/review/{review}", json=ruling)

    assert answer.status_code == status
    assert says in answer.json()["detail"]
    assert len(shop.client.get("/api/review").json()) == 1


def test_accept_enters_the_photos_value_and_dip_again_enters_none(shop, tub):
    send(shop, tub)
    send(shop, tub, JPEG + b" second")
    first, second = (one["id"] for one in shop.client.get("/api/review").json())
    accepted = shop.client.post(f"/api/review/{first}", json={"decision": "accept"})
    again = shop.client.post(f"/api/review/{second}", json={"decision": "dip_again"})

    assert (accepted.status_code, again.status_code) == (201, 201)
    assert again.json()["entered"] is None
    chlorine = [one for one in events(shop, tub) if one["analyte"] == "free_chlorine"]
    assert [(one["value"], one["high"]) for one in chlorine] == [(9.1, None)]


@pytest.mark.parametrize(
    ("file", "says"),
    [
        (TABLE.replace(",lot,", ",lott,"), "lot"),
        ("", "t.csv"),
        (TABLE.replace("7.2,72", "x,72"), "line 3"),
    ],
)
def test_a_table_that_cannot_be_used_is_not_kept(shop, file, says):
    answer = shop.client.post("/api/tables", files={"file": ("t.csv", file)}, data={"name": "six"})

    assert answer.status_code == 422
    assert says in answer.json()["detail"]
    assert shop.client.get("/api/tables").json() == []


def test_a_retired_table_is_kept_but_not_offered(shop, tub):
    assert shop.client.delete("/api/tables/six").status_code == 204
    assert [one["retired"] for one in shop.client.get("/api/tables").json()] == [True]
    assert shop.client.delete("/api/tables/none").status_code == 404


def test_what_is_not_there_is_said_to_be_not_there(shop):
    for path in ("/api/tubs/none", "/api/tubs/none/log", "/api/tubs/none/next", "/api/nowhere"):
        answer = shop.client.get(path)
        assert answer.status_code == 404
        assert answer.json()["detail"]
    assert shop.client.post("/api/review/99", json={"decision": "accept"}).status_code == 404
    assert shop.client.post("/api/tubs/none/events", json=PH).status_code == 404


def test_numbers_and_letters_that_no_database_keeps_are_refused(shop, tub):
    for path in ("/api/tables/six?version=99999999999999999999", "/api/tables/six?version=0"):
        assert shop.client.get(path).status_code == 422
    huge = shop.client.post("/api/review/99999999999999999999", json={"decision": "accept"})
    assert huge.status_code == 422
    nul = shop.client.post(f"{tub}/events", json=PH, params={"replaces": "a\x00b"})
    assert nul.status_code in (404, 422)
    named = shop.client.post("/api/tables", files={"file": TABLE}, data={"name": "a\x00b"})
    assert named.status_code in (201, 422)
