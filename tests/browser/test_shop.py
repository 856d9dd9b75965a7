"""The keeper in the browser: a table from photos of known waters, checked, kept, compared."""

from playwright.sync_api import expect

from tests.whole.dips import BLOCKS, dip, strip_csv, values

KNOWN = ("ph", "calcium_hardness")


def fill(page, folder):
    for place, block in enumerate(BLOCKS):
        photos = []
        for again in range(2):
            photo = folder / f"{block}-{again}.jpg"
            photo.write_bytes(dip(block, again))
            photos.append(photo)
        row = page.locator("fieldset.row").nth(place)
        row.locator("[name=photos]").set_input_files(photos)
        for name in KNOWN:
            row.locator(f"[name={name}]").fill(f"{values(block)[name]:g}".replace(".", ","))


def test_photos_become_a_table_and_a_new_lot_is_checked(page, service, tmp_path):
    strip = tmp_path / "strip.csv"
    strip.write_text(strip_csv())
    page.goto(f"{service.url}/shop/waters")
    page.select_option("[name=strip]", "")
    page.set_input_files("[name=pads]", strip)
    page.fill("[name=lot]", "L6")
    page.locator("fieldset.row [name=ph]").first.wait_for()
    fill(page, tmp_path)
    page.click("text=Read the strips")
    expect(page.locator(".found .paths img")).to_have_count(len(KNOWN))
    expect(page.locator(".said")).to_contain_text("This table is")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.fill("[data-keep] [name=name]", "own table")
    page.click("text=Keep this table")
    page.wait_for_url("**/shop")
    page.click("text=own table")
    expect(page.locator("main")).to_contain_text("lot L6, version 1")

    page.goto(f"{service.url}/shop/waters")
    page.select_option("[name=goal]", "lot")
    page.select_option("[name=strip]", "own table")
    fill(page, tmp_path)
    page.click("text=Read the strips")
    expect(page.locator(".said")).to_contain_text("The new lot passes")
    assert page.heard == []


def test_what_is_missing_is_said_before_anything_is_sent(page, service):
    page.goto(f"{service.url}/shop/waters")
    page.locator("fieldset.row [name=ph]").first.fill("7.2")
    page.click("text=Read the strips")

    expect(page.locator(".told")).to_contain_text("Water 1: choose the photos of its strips.")
    assert page.heard == []
