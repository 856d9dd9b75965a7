"""Framing help before the upload: is the whole card in the picture? A hint, never a bar."""

import pytest
from playwright.sync_api import expect

from reader.card import standard_card
from tests.browser.conftest import add_tub
from tests.render import shots
from tests.render.truth import render

MISSING = "I cannot see the whole card"


@pytest.mark.parametrize(
    ("kind", "missing"),
    [("good", False), ("upside_down", False), ("cut_off", True), ("no_card", True)],
)
def test_a_card_that_is_not_whole_is_told_and_may_still_be_sent(
    page, service, tmp_path, kind, missing
):
    tub = add_tub(page, service)
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(render(shots.Setting(standard_card(), pixels=1.5e6), 5, kind)[0])
    page.goto(f"{service.url}/tubs/{tub}/dip")
    page.evaluate("document.querySelector('.framing').append(document.createElement('li'))")
    page.set_input_files("[name=kept]", photo)
    expect(page.locator(".framing li:empty")).to_have_count(0)

    told = page.locator(".framing li").all_text_contents()
    assert any(MISSING in line for line in told) == missing
    expect(page.locator("button[type=submit]:has-text('Read it')")).to_be_enabled()
    assert page.heard == []
