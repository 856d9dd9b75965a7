"""The dip's moment goes along with a photo that was picked from the album."""

from urllib.parse import parse_qs, urlsplit

from tests.browser.conftest import SAMPLES, add_tub


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
