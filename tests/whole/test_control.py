"""The control water: dips, limits, a broken rule puts readings on recheck until signed off."""

import json
from pathlib import Path

import pytest

from api import control_books
from api.control_books import held_back, lot_of
from api.store import KeptFile
from tests.whole.shop import TUB, open_shop

SAMPLES = Path(__file__).parents[2] / "sample_images"
LOT = "Brook six, lot B1"
STEADY = (7.4, 7.42, 7.38, 7.41, 7.39, 7.4, 7.43, 7.37, 7.41, 7.39)


@pytest.fixture
def shop(tmp_path):
    with open_shop(tmp_path) as opened:
        yield opened


def dip(shop, value):
    shop.clock.move(hours=24)
    answer = shop.client.post("/api/control/dips", json={"lot": LOT, "values": {"ph": value}})
    assert answer.status_code == 201
    return answer.json()[0]


def set_up(shop):
    for value in STEADY:
        assert dip(shop, value)["state"] == "unset"
    shop.clock.move(hours=1)
    choice = {"lot": LOT, "analyte": "ph"}
    return shop.client.post("/api/control/limits", json=choice)


def test_limits_need_ten_dips(shop):
    dip(shop, 7.4)
    answer = shop.client.post("/api/control/limits", json={"lot": LOT, "analyte": "ph"})

    assert answer.status_code == 422
    assert "too few to set limits" in answer.json()["detail"]


def test_a_broken_rule_stands_until_somebody_signs_it_off(shop):
    """1-3s of Westgard and others 1981; the mean and deviation are those of the ten dips."""
    limits = set_up(shop).json()["limits"]
    assert limits["mean"] == pytest.approx(7.4)
    assert limits["sd"] == pytest.approx(0.0183, abs=0.0005)

    assert dip(shop, 7.41)["state"] == "in_control"
    assert (dip(shop, 7.6)["state"], dip(shop, 7.4)["state"]) == ("recheck", "recheck")
    word = {"lot": LOT, "analyte": "ph", "why": "tube left open; new tube opened"}
    shop.clock.move(hours=1)
    assert shop.client.post("/api/control/signatures", json=word).json()["state"] == "in_control"
    assert dip(shop, 7.4)["state"] == "in_control"


def test_readings_of_a_broken_control_are_held_back_and_say_why(shop):
    set_up(shop)
    dip(shop, 7.9)
    table = KeptFile(name="b", facts={"strip": "Brook six", "lot": "B1"})
    with shop.client.app.state.store.reading() as session:
        broken = control_books.broken_for(session, table)
    pads = [
        {"analyte": "ph", "status": "accepted", "reasons": []},
        {"analyte": "free_chlorine", "status": "accepted", "reasons": []},
    ]
    held = held_back({"status": "accepted", "readings": pads}, broken)

    assert lot_of(table) == LOT
    assert broken == {"ph"}
    assert [pad["status"] for pad in held["readings"]] == ["recheck", "accepted"]
    assert held["readings"][0]["reasons"] == ["control_broken"]
    assert held["status"] == "recheck"


REAL_LOT = "Reedmere 7, lot lot-7"


def steady_ph(shop):
    """Ten dips of the sample's lot, and limits from them."""
    for value in STEADY:
        enter_ph(shop, value)
    shop.clock.move(hours=1)
    choice = {"lot": REAL_LOT, "analyte": "ph"}
    assert shop.client.post("/api/control/limits", json=choice).status_code == 201


def enter_ph(shop, value):
    shop.clock.move(hours=24)
    body = {"lot": REAL_LOT, "values": {"ph": value}}
    assert shop.client.post("/api/control/dips", json=body).status_code == 201


def send(shop, tub, photo):
    """Send a photo of a strip to a tub; return its reading by analyte, and what was entered."""
    told = shop.client.post(
        f"/api/tubs/{tub}/photos",
        files={"photo": (photo, (SAMPLES / photo).read_bytes())},
        data={"table": "sample", "card": "sample", "elapsed_s": "15"},
    ).json()
    return {one["analyte"]: one for one in told["reading"]["readings"]}, {
        one["analyte"] for one in told["entered"]
    }


def test_a_broken_rule_holds_real_readings_back_until_qa_signs_it_off(tmp_path):
    with open_shop(tmp_path) as shop:
        tub = shop.client.post("/api/tubs", json=TUB).json()["id"]
        steady_ph(shop)
        enter_ph(shop, 7.9)
        held, entered = send(shop, tub, "01-shade.jpg")
        assert (held["ph"]["status"], held["ph"]["reasons"][-1]) == ("recheck", "control_broken")
        assert "ph" not in entered
        assert "total_alkalinity" in entered
        (waits,) = shop.client.get("/api/review").json()
        assert waits["analyte"] == "ph"
        asked = shop.client.post(
            "/api/read",
            files={"photo": ("b.jpg", (SAMPLES / "01-shade.jpg").read_bytes())},
            data={"table": "sample", "card": "sample", "elapsed_s": "15"},
        ).json()
        assert asked["status"] == "recheck"

        word = {"lot": REAL_LOT, "analyte": "ph", "why": "bottle left open; fresh bottle"}
        shop.clock.move(hours=1)
        assert shop.client.post("/api/control/signatures", json=word).status_code == 201
        free, entered = send(shop, tub, "02-workbench.jpg")
        assert "control_broken" not in free["ph"]["reasons"]
        assert ("ph" in entered) == (free["ph"]["status"] == "accepted")


def test_a_photo_of_the_control_counts_once_and_says_what_it_could_not_tell(tmp_path):
    with open_shop(tmp_path) as shop:
        form = {"table": "sample", "card": "sample"}
        files = {"photo": ("monday.jpg", (SAMPLES / "06-evening-lamp.jpg").read_bytes())}
        first = shop.client.post("/shop/control/dip", data=form, files=files)
        files = {"photo": ("again.jpg", files["photo"][1])}
        second = shop.client.post("/shop/control/dip", data=form, files=files)

        known = {
            line["analyte"]: line["readings"] for line in shop.client.get("/api/control").json()
        }
        assert first.status_code == 200
        assert all(len(readings) == 1 for readings in known.values())
        left = {"free_chlorine", "ph", "total_alkalinity"} - set(known)
        assert ("could not tell" in first.text) == bool(left)
        assert second.status_code == 422
        assert "this photo was entered on 2026-06-01" in second.text


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"lot": LOT, "values": {"fizz": 1}}, "analyte: 'fizz' is unknown"),
        ({"lot": LOT, "values": {"ph": -1}}, "value: -1 cannot be"),
        ({"lot": LOT, "values": {"ph": 7}, "at": "2031-01-01T00:00:00Z"}, "in the future"),
    ],
)
def test_a_dip_that_cannot_be_is_told_in_one_sentence(shop, body, says):
    answer = shop.client.post("/api/control/dips", json=body)

    assert answer.status_code == 422
    assert says in answer.json()["detail"]
    assert shop.client.get("/api/control").json() == []


def test_the_page_shows_the_chart(shop):
    set_up(shop)
    dip(shop, 7.9)
    page = shop.client.get("/shop/control", headers={"accept": "text/html"})

    assert page.status_code == 200
    assert "Sign it off" in page.text
    assert "data:image/svg+xml," in page.text
    assert json.dumps(LOT)[1:-1] in page.text
