"""A table made in the browser from photos of strips in waters of known value."""

import pytest

from calibration.table import load_table
from tests.whole.dips import BLOCKS, dip, strip_csv, values
from tests.whole.shop import open_shop

HTML = {"accept": "text/html"}


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    with open_shop(tmp_path_factory.mktemp("shop")) as opened:
        yield opened


def read(shop, data, strip=None, name="a.jpg"):
    files = {"photo": (name, data)}
    return shop.client.post("/api/waters/photo", files=files, data={"strip": strip or strip_csv()})


@pytest.fixture(scope="module")
def dips(shop):
    """Three strips in each of three waters, as the page sends them."""
    found = []
    for block in BLOCKS:
        for again in range(3):
            body = read(shop, dip(block, again), name=f"{block}-{again}.jpg").json()
            pads = [{"pad": pad["pad"], "lab": pad["lab"]} for pad in body["pads"] if pad["lab"]]
            known = {name: values(block)[name] for name in ("ph", "calcium_hardness")}
            found.append(
                {"photo": body["photo"], "sha256": body["sha256"], "values": known, "pads": pads}
            )
    return found


def build(shop, dips, **more):
    body = {"strip": strip_csv(), "dips": dips, **more}
    return shop.client.post("/api/waters", json=body)


def test_photos_one_by_one_make_a_table_that_is_kept_and_compared(shop, dips):
    answer = build(shop, dips, lot="L 6", expires="2027-03-31")

    assert answer.status_code == 200
    body = answer.json()
    table = load_table(body["table"], "t")
    assert (table.lot, str(table.expires)) == ("L 6", "2027-03-31")
    assert {chart.analyte for chart in table.charts} == {"ph", "calcium_hardness"}
    assert [block.n for block in table.charts[0].blocks] == [3] * len(BLOCKS)
    assert body["check"]["verdict"] in ("good", "doubtful")
    assert set(body["pictures"]) == {str(chart.pad) for chart in table.charts}

    assert {pad.analyte for pad in table.others} >= {"free_chlorine", "total_alkalinity"}
    form = {"photo": ("a.jpg", dip(BLOCKS[1], 3)), "table": ("t.csv", body["table"].encode())}
    whole = shop.client.post("/api/read", files=form).json()
    assert [pad["analyte"] for pad in whole["readings"]] == ["ph", "calcium_hardness"]
    assert "other_strip" not in whole["reasons"]
    assert {pad["status"] for pad in whole["readings"]} <= {"accepted", "recheck"}

    file = {"file": ("t.csv", body["table"].encode())}
    kept = shop.client.post("/shop/keep", data={"kind": "table", "name": "own"}, files=file)
    assert kept.status_code == 200
    lot = build(shop, [dips[0], dips[3], dips[6]], against="own").json()
    assert lot["told"][0].startswith("The new lot")
    assert {pad["analyte"] for pad in lot["pads"]} == {"ph", "calcium_hardness"}
    page = shop.client.get("/shop/waters", headers=HTML)
    assert "as own, lot L 6, version 1" in page.text


def test_a_photo_without_a_card_says_so_pad_by_pad(shop):
    import cv2
    import numpy as np

    grey = cv2.imencode(".png", np.full((900, 1200, 3), 120, np.uint8))[1].tobytes()
    body = read(shop, grey).json()

    assert {pad["lab"] for pad in body["pads"]} == {None}
    assert "no reference card was found" in body["pads"][0]["trouble"]


@pytest.mark.parametrize(
    ("data", "strip", "says"),
    [
        (b"no", None, "a.jpg: the file is no photo"),
        (b"no", "strip,lot\n", "strip: the header has no columns pad"),
    ],
)
def test_what_cannot_be_read_is_told_in_one_sentence(shop, data, strip, says):
    answer = read(shop, data, strip)

    assert answer.status_code == 422
    assert says in answer.json()["detail"]


def swapped(dips):
    """The first and the last water exchanged in the typing."""
    known = {dip["photo"]: dip["values"] for dip in dips}
    last = dips[-1]["photo"]
    return [dict(d, values=known[last]) if d["photo"] == dips[0]["photo"] else d for d in dips]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda dips: [*dips, dict(dips[0], photo="b.jpg")], "b.jpg is the same photo as 1-0.jpg"),
        (lambda dips: dips[:3], "was dipped in one known value only"),
        (lambda dips: [dict(dips[0], values={"iron": 3})], "the strip has no pad for 'iron'"),
        (lambda dips: [dict(d, values={}) for d in dips], "no photo shows a pad of known value"),
    ],
)
def test_waters_that_make_no_table_are_told_in_one_sentence(shop, dips, change, says):
    answer = build(shop, change(dips))

    assert answer.status_code == 422
    assert says in answer.json()["detail"]


def test_a_value_typed_for_the_wrong_photo_is_named(shop, dips):
    body = build(shop, swapped(dips)).json()

    said = " ".join([*body.get("set_aside", []), body.get("detail", "")])
    assert "1-0.jpg" in said


def test_recipes_come_with_their_cautions_or_one_sentence(shop):
    page = shop.client.get("/shop/recipe?analyte=ph&values=6,8;+7,2;+8", headers=HTML)
    assert page.status_code == 200
    assert page.text.index("Before you begin") < page.text.index("Steps")
    assert "never into a tub" in page.text
    for asked, says in (
        ("analyte=fizz", "no recipe for"),
        ("values=a", "is not a number"),
        ("volume_ml=3", "cannot be made"),
    ):
        answer = shop.client.get(f"/shop/recipe?{asked}", headers=HTML)
        assert answer.status_code == 422
        assert says in answer.text
