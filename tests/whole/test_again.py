"""A kept photo read again with a newer table: old and new side by side, the log as it was."""

from pathlib import Path

import pytest

from tests.whole.shop import TUB, open_shop

SAMPLES = Path(__file__).parents[2] / "sample_images"
PAGE = {"accept": "text/html"}


@pytest.fixture
def shop(tmp_path):
    with open_shop(tmp_path) as opened:
        yield opened


def keep_table(shop, text):
    files = {"file": ("own.csv", text.encode())}
    return shop.client.post("/api/tables", files=files, data={"name": "own"})


def test_a_newer_table_gives_a_second_reading_beside_the_first(shop):
    """The newer table says 0.2 more for every pH block, and so does the newer reading."""
    text = (SAMPLES / "table.csv").read_text(encoding="utf-8")
    assert keep_table(shop, text).status_code == 201
    tub = shop.client.post("/api/tubs", json=TUB).json()["id"]
    photo = SAMPLES / "01-shade.jpg"
    sent = shop.client.post(
        f"/api/tubs/{tub}/photos",
        files={"photo": (photo.name, photo.read_bytes())},
        data={"table": "own", "card": "sample"},
    ).json()
    log = shop.client.get(f"/api/tubs/{tub}/log").json()
    first = next(one for one in sent["reading"]["readings"] if one["analyte"] == "ph")

    assert keep_table(shop, raised(text)).json()["version"] == 2
    path = f"/tubs/{tub}/photos/{sent['photo']}"
    again = shop.client.post(f"{path}/again", headers=PAGE, follow_redirects=True)

    assert again.status_code == 200
    assert "own, version 1" in again.text
    assert "own, version 2" in again.text
    newest = shop.client.get(f"/api/tubs/{tub}/photos").json()[0]["reading"]["readings"]
    second = next(one for one in newest if one["analyte"] == "ph")
    assert second["value"] == pytest.approx(first["value"] + 0.2, abs=0.02)
    assert shop.client.get(f"/api/tubs/{tub}/log").json() == log


def raised(text):
    """Return the table with 0.2 more for every pH block."""
    head, *rows = text.splitlines()
    place = head.split(",").index("value")
    what = head.split(",").index("analyte")
    cells = [row.split(",") for row in rows]
    for cell in cells:
        if cell[what] == "ph":
            cell[place] = f"{float(cell[place]) + 0.2:.3f}"
    return "\n".join([head, *(",".join(cell) for cell in cells)]) + "\n"
