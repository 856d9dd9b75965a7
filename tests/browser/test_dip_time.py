"""The dip's moment goes along with a photo that was picked from the album."""

from datetime import UTC, datetime
from urllib.parse import parse_qs, urlsplit

from playwright.sync_api import expect

from tests.browser.conftest import SAMPLES, add_tub

LISTEN = """() => {
  const send = XMLHttpRequest.prototype.send;
  XMLHttpRequest.prototype.send = function (data) {
    window.sent = data.get("dipped_at");
    return send.call(this, data);
  };
}"""


def test_a_photo_from_the_album_is_sent_with_the_moment_of_the_dip(page, service):
    """When the file was last written says nothing of when the photo was taken: its EXIF does."""
    tub = add_tub(page, service)
    page.goto(f"{service.url}/tubs/{tub}/dip")
    page.click("[data-dipped]")
    page.set_input_files("[name=kept]", SAMPLES / "01-shade.jpg")
    with page.expect_request(lambda one: one.method == "PUT") as sent:
        page.click("button[type=submit]:has-text('Read it')")
    asked = parse_qs(urlsplit(sent.value.url).query)
    page.wait_for_url("**/photos/*")

    assert asked["dipped_at"][0][10] == "T"
    assert "elapsed_s" not in asked
    assert page.heard == []


def test_the_page_that_keeps_nothing_tells_the_dips_moment_too(page, service):
    """Pressed before the camera opens, it outlives a page that the phone drops meanwhile."""
    page.goto(f"{service.url}/")
    page.click("[data-dipped]")
    expect(page.locator(".since .clock")).to_contain_text("0:0")
    page.reload()
    expect(page.locator(".since .clock")).to_contain_text("0:")
    page.set_input_files("[name=photo]", SAMPLES / "01-shade.jpg")
    page.evaluate(LISTEN)
    page.get_by_role("button", name="Read it").click()
    expect(page.locator(".readings")).to_be_visible()

    at = datetime.fromisoformat(page.evaluate("window.sent"))
    assert 0 <= (datetime.now(UTC) - at).total_seconds() < 600
    assert page.heard == []


def test_a_photo_taken_on_the_page_is_sent_with_its_seconds(page, service):
    tub = add_tub(page, service)
    page.goto(f"{service.url}/tubs/{tub}/dip")
    page.click("[data-dipped]")
    page.set_input_files("[name=photo]", SAMPLES / "01-shade.jpg")
    with page.expect_request(lambda one: one.method == "PUT") as sent:
        page.click("button[type=submit]:has-text('Read it')")
    asked = parse_qs(urlsplit(sent.value.url).query)

    assert float(asked["elapsed_s"][0]) >= 0
    assert "dipped_at" not in asked
