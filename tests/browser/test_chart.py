"""The keeper lays the grid over a photographed chart, sees its colours, keeps the table."""

import numpy as np
import pytest
from playwright.sync_api import expect

from tests.bench.printed_charts import RIM_MM, printed, sheet_of
from tests.bench.two_cards import Beside, photo_and_stand
from tests.render.inks import Print
from tests.render.strips import REEDMERE

FIRST = [[0.2, 0.2], [0.8, 0.2], [0.8, 0.8], [0.2, 0.8]]
"""Where the page lays the corners before anyone drags them, as shares of the photo."""


@pytest.fixture(scope="module")
def chart():
    """A photo of a chart beside the card, and where the corners of its blocks lie."""
    spectra, _ = printed(REEDMERE, 31)
    sheet = sheet_of(REEDMERE, spectra, Print(41, "plain").white())
    what = Beside(Print(0), None, 31, "daylight", pixels=1.2e6, sheet=sheet)
    data, view = photo_and_stand(what, 77)
    (right, bottom), left = np.array(sheet.size_mm) - RIM_MM, RIM_MM
    ring = [
        [left, left],
        [right, left],
        [right, bottom],
        [left, bottom],
    ]
    return data, view.to_px(np.array(ring)) / [view.width_px, view.height_px]


def drag(page, start, end):
    """Drag one corner, both ends brought into the window first."""
    canvas, height = page.locator("canvas.grid"), page.viewport_size["height"]
    box = canvas.bounding_box()
    middle = box["y"] + box["height"] * (start[1] + end[1]) / 2
    page.evaluate(f"window.scrollBy({{top: {middle - height / 2}, behavior: 'instant'}})")
    box = canvas.bounding_box()
    (x, y), (to_x, to_y) = (
        (box["x"] + at[0] * box["width"], box["y"] + at[1] * box["height"]) for at in (start, end)
    )
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move((x + to_x) / 2, (y + to_y) / 2)
    page.mouse.move(to_x, to_y)
    page.mouse.up()


def test_a_chart_becomes_a_table(page, service, tmp_path, chart):
    data, corners = chart
    photo = tmp_path / "chart.jpg"
    photo.write_bytes(data)
    page.goto(f"{service.url}/shop/chart")
    page.set_input_files("[name=photo]", photo)
    page.select_option("[name=like]", "sample")
    page.fill("[name=lot]", "L8")
    expect(page.locator("fieldset.row")).to_have_count(len(REEDMERE.pads))
    for start, end in zip(FIRST, corners, strict=True):
        drag(page, start, end)
    page.click("text=See the corrected colours")
    expect(page.locator(".bar")).to_have_count(len(REEDMERE.pads))
    expect(page.locator(".bar").nth(2).locator("li")).to_have_text(
        ["6.2", "6.8", "7.2", "7.6", "8", "8.6"]
    )
    expect(page.locator(".bar p")).to_have_count(0)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.click("text=Keep this table")
    page.wait_for_url("**/shop")
    page.click("text=Reedmere 7 L8")
    expect(page.locator("main")).to_contain_text("Every pad was made from the printed chart")
    assert page.heard == []


def test_what_is_wrong_is_told_at_its_field(page, service):
    page.goto(f"{service.url}/shop/chart")
    page.fill("[name=values]", "0 1 1 x")
    page.click("text=See the corrected colours")

    beside = {
        "photo": "Choose the photo first.",
        "strip": "Type the strip's name, without commas or quotes.",
        "values": "Type at least two values, such as 0 1 3.",
        "centre_mm": "Type a number.",
    }
    for name, text in beside.items():
        field = page.locator(f"label:has([name={name}])")
        expect(field.locator(".wrong")).to_have_text(text)
        expect(page.locator(f"[name={name}]")).to_have_attribute("aria-invalid", "true")
    page.fill("[name=strip]", "Brook six")
    expect(page.locator("label:has([name=strip]) .wrong")).to_have_count(0)
    assert page.heard == []
