"""The printed chart: a grid laid over blocks in a photo gives colours, and a table of its kind."""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calibration.table import load_table
from reader.lab import delta_e00
from tests.whole.shop import open_shop

SAMPLES = Path(__file__).parents[2] / "sample_images"
PHOTO = SAMPLES / "01-shade.jpg"
TRUTH = json.loads((SAMPLES / "01-shade.truth.json").read_text(encoding="utf-8"))
PADS = TRUTH["strips"][0]["pads"]
HALF_MM = 2.2


@pytest.fixture
def shop(tmp_path):
    with open_shop(tmp_path) as opened:
        yield opened


def boxes():
    """Return the corners of the strip's pads, which stand in for a chart's blocks."""
    matrix = np.array(TRUTH["pose"]["homography_mm_to_px"])
    with Image.open(PHOTO) as photo:
        size = np.array(photo.size)
    scale = np.sqrt(abs(np.linalg.det(matrix[:2, :2])))
    ring = HALF_MM * scale * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    return [((np.array(pad["centre_px"]) + ring) / size).tolist() for pad in PADS]


def grid(corners):
    blocks = [{"value": i, "corners": box} for i, box in enumerate(corners)]
    row = {"pad": 1, "analyte": "ph", "unit": "pH", "read_after_s": 15, "centre_mm": 4}
    return {"strip": "Brook", "lot": "B2", "rows": [{**row, "size_mm": 5, "blocks": blocks}]}


def post(shop, photo, marked):
    files = {"photo": (photo.name, photo.read_bytes())}
    text = marked if isinstance(marked, str) else json.dumps(marked)
    return shop.client.post("/api/chart", files=files, data={"grid": text, "card": "sample"})


def test_blocks_come_back_in_their_true_colours_and_make_a_table(shop):
    answer = post(shop, PHOTO, grid(boxes()))

    assert answer.status_code == 200
    body = answer.json()
    off = [
        float(delta_e00(np.array(block["lab"]), np.array(pad["lab"])))
        for block, pad in zip(body["blocks"], PADS, strict=True)
    ]
    assert np.median(off) < 2.0
    assert max(off) < 5.0
    table = load_table(body["table"], "chart")
    assert table.charts[0].kind == "from_chart"
    assert len(table.charts[0].blocks) == len(PADS)


def test_a_photo_without_a_card_gives_no_colours(shop, tmp_path):
    bare = tmp_path / "bare.png"
    Image.new("RGB", (1200, 900), (200, 190, 180)).save(bare)
    body = post(shop, bare, grid(boxes())).json()

    assert body["card"] == {"found": False}
    assert (body["blocks"], body["table"]) == ([], None)
    assert "no_card" in body["reasons"]


def test_a_box_outside_the_photo_has_no_colour_and_says_so(shop):
    corners = boxes()
    corners[0] = [[x + 2.0, y] for x, y in corners[0]]
    first = post(shop, PHOTO, grid(corners)).json()["blocks"][0]

    assert first["lab"] is None
    assert first["reasons"] == ["card_cut_off"]
    assert first["why"] == "the box reaches beyond the photo: move the grid"


def test_the_page_offers_the_pads_and_values_of_kept_strips(shop):
    page = shop.client.get("/shop/chart").text

    assert "as Sample strip (invented)" in page
    assert "&#34;values&#34;: [0.0, 1.0, 3.0, 5.0, 10.0, 20.0]" in page


def test_a_kept_chart_tells_its_doubts_in_words(shop):
    text = post(shop, PHOTO, grid(boxes())).json()["table"]
    keep(shop, text)

    page = shop.client.get("/shop/tables/Brook").text
    assert "Every pad was made from the printed chart" in page
    assert "Fault(" not in page


def test_a_table_in_other_units_is_not_kept(shop):
    text = post(shop, PHOTO, grid(boxes())).json()["table"].replace(",pH,", ",ppm,")
    page, call = keep(shop, text), put(shop, text)

    sentence = "b.csv, line 2: pad 1 is ph in 'ppm'; a log takes ph in pH only; write pH"
    assert (page.status_code, call.status_code) == (422, 422)
    assert sentence.replace("'", "&#39;") in page.text
    assert call.json()["detail"] == sentence
    assert "Brook" not in shop.client.get("/shop").text


def keep(shop, text):
    form = {"kind": "table", "name": "Brook"}
    return shop.client.post("/shop/keep", data=form, files={"file": ("b.csv", text)})


def put(shop, text):
    return shop.client.post("/api/tables", data={"name": "B"}, files={"file": ("b.csv", text)})


@pytest.mark.parametrize(
    ("marked", "says"),
    [
        ("{", "grid: is no JSON"),
        ({"strip": "B", "lot": "1"}, "'rows' is missing"),
        ({"strip": "B", "lot": "1", "rows": []}, "0 blocks are marked"),
        (grid([[[0, 0], [1, 0], [1, 1]]] * 2), "four corners"),
    ],
)
def test_a_grid_that_cannot_be_used_is_told_in_one_sentence(shop, marked, says):
    answer = post(shop, PHOTO, marked)

    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert says in answer.json()["detail"]
