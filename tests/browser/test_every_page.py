"""Every page, on a phone and on a screen: for eyes, thumbs, keys and readers of any kind."""

import json
import urllib.request

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import SAMPLES, add_tub, dip

THUMB_PX = 44
"""WCAG 2.2, success criterion 2.5.5 (enhanced): a target's least side, but for links in a text."""
NARROWEST_PX = 320
"""WCAG 2.2, success criterion 1.4.10: no scrolling sideways down to this width (400 % zoom)."""
PLAIN = ("/", "/tubs", "/review", "/review/record", "/waiting", "/login", "/tubs/none", "/none")
SHOP = (
    "",
    "/goods",
    "/waters",
    "/recipe?analyte=free_chlorine",
    "/cards",
    "/chart",
    "/control",
    "/keys",
)
KEPT = ("/tables/sample", "/tables/Brook%20six?against=sample", "/cards/Bench")
SMALL = """least => [...document.querySelectorAll("a, button, input, select, summary, textarea")]
  .filter((one) => {
    const box = (one.closest("label.tick") ?? one).getBoundingClientRect();
    const shown = box.width && box.height && !one.matches(".skip") && one.checkVisibility();
    const whole = one.parentElement.textContent.trim() === one.textContent.trim();
    const inText = getComputedStyle(one).display === "inline" && !whole;
    return shown && !inText && box.height < least - 0.5;
  })
  .map((one) => `${one.tagName} ${one.name ?? ""} ${one.textContent.trim().slice(0, 30)}`)"""
OPEN = "for (const one of document.querySelectorAll('details')) one.open = true"
TOO_WIDE = "document.documentElement.scrollWidth > innerWidth"


def put(service, kind, name, file):
    """Keep one of the samples on the shop's shelf."""
    border = "----dipstep"
    parts = [
        f'--{border}\r\nContent-Disposition: form-data; name="name"\r\n\r\n{name}\r\n'.encode(),
        f'--{border}\r\nContent-Disposition: form-data; name="file"; filename="{file}"\r\n'
        "Content-Type: text/plain\r\n\r\n".encode(),
        (SAMPLES / file).read_bytes() + f"\r\n--{border}--\r\n".encode(),
    ]
    head = {"Content-Type": f"multipart/form-data; boundary={border}"}
    asked = urllib.request.Request(f"{service.url}/api/{kind}", b"".join(parts), head)
    urllib.request.urlopen(asked).close()


@pytest.fixture
def addresses(page, service):
    """Return every page of a shop with a tub, an accepted and a flagged photo, tables and cards."""
    put(service, "tables", "Brook six", "table.csv")
    put(service, "cards", "Bench", "card-measured.txt")
    tub, photos = add_tub(page, service), []
    for photo in ("01-shade.jpg", "09-glare.jpg"):
        dip(page, service, tub, photo)
        page.wait_for_url("**/photos/*")
        photos.append(page.url)
    own = (f"/tubs/{tub}", f"/tubs/{tub}/dip", f"/tubs/{tub}/dip?sample=none")
    shop = [f"/shop{path}" for path in (*SHOP, *KEPT)]
    return [*photos, *(service.url + path for path in (*PLAIN, *own, *shop))]


def grave(page, **options):
    """Return what axe-core finds serious or critical, with the place of the first fault."""
    found = (
        Axe().run(page, options={"resultTypes": ["violations"], **options}).response["violations"]
    )
    return [
        (one["id"], one["nodes"][0]["html"][:90])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


def test_every_page_serves_every_person(page, service, addresses):
    """axe-core, targets for a thumb, no scrolling sideways, and the same for who likes it dark."""
    found = []
    for address in addresses:
        page.emulate_media(color_scheme="light")
        page.goto(address)
        page.evaluate(OPEN)
        page.wait_for_load_state("networkidle")
        found += [(address, one) for one in grave(page)]
        found += [(address, "small", one) for one in page.evaluate(SMALL, THUMB_PX)]
        if page.evaluate(TOO_WIDE):
            found.append((address, "wider than the screen"))
        page.emulate_media(color_scheme="dark", forced_colors="none", reduced_motion="reduce")
        contrast = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}
        found += [(address, "dark", one) for one in grave(page, **contrast)]
        size = dict(page.viewport_size)
        page.set_viewport_size({"width": NARROWEST_PX, "height": size["height"]})
        if page.evaluate(TOO_WIDE):
            found.append((address, "wider than a page at 400 %"))
        page.set_viewport_size(size)

    assert "\n".join(map(str, found)) == ""
    asked_for = "status of 4"  # the pages of errors
    assert [text for text in page.heard if asked_for not in text] == []


def test_a_tub_is_worked_by_keys_alone(page, service):
    """From the first tab stop to a kept reading without a pointer; the focus is always seen."""
    tub = add_tub(page, service)
    page.goto(f"{service.url}/tubs/{tub}")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    for _ in range(40):
        page.keyboard.press("Tab")
        width = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
        assert float(width.removesuffix("px")) >= 2
        if page.evaluate("document.activeElement.name") == "value":
            break
    page.keyboard.type("12")
    page.keyboard.press("Enter")
    page.locator(".history").wait_for()

    with urllib.request.urlopen(f"{service.url}/api/tubs/{tub}/log") as answer:
        assert [one["value"] for one in json.load(answer)["events"]] == [12]
