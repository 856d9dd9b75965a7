"""The technician at the tub: add it, dip, photograph, read, enter by hand, do the step."""

import json
import urllib.request

from playwright.sync_api import expect

from tests.browser.conftest import SAMPLES, add_tub, dip

TRUTH = json.loads((SAMPLES / "01-shade.truth.json").read_text(encoding="utf-8"))


def log_of(service, tub):
    with urllib.request.urlopen(f"{service.url}/api/tubs/{tub}/log") as answer:
        return json.load(answer)


def test_from_a_new_tub_to_a_read_strip_and_the_next_step(page, service):
    """The whole way of a technician's first strip, on a phone and on a screen."""
    tub = add_tub(page, service)
    expect(page.locator(".next .do")).to_contain_text("hose")
    dip(page, service, tub, "01-shade.jpg")
    page.wait_for_url("**/photos/*")

    expect(page.locator(".readings tbody tr")).to_have_count(7)
    expect(page.locator("figure img")).to_have_js_property("complete", True)
    expect(page.locator(".next .do")).to_be_visible()
    readings = [event for event in log_of(service, tub)["events"] if event["type"] == "reading"]
    truth = {pad["analyte"]: pad["value"] for pad in TRUTH["strips"][0]["pads"]}
    assert len(readings) >= 5
    assert sum(one["low"] <= truth[one["analyte"]] <= one["high"] for one in readings) >= 4
    assert page.heard == []


def test_a_reading_by_hand_enters_the_log_once(page, service):
    tub = add_tub(page, service)
    page.select_option("[name=analyte]", "calcium_hardness")
    page.fill("form[data-event=reading] [name=value]", "48,5")
    page.click("text=Enter the reading")

    expect(page.locator(".history")).to_contain_text("calcium hardness of the fill water 48.5 mg/L")
    assert [one["value"] for one in log_of(service, tub)["events"]] == [48.5]
    page.reload()
    assert len(log_of(service, tub)["events"]) == 1
    assert page.heard == []


def test_a_refused_entry_is_told_and_kept_for_the_person(page, service):
    add_tub(page, service)
    page.fill("form[data-event=reading] [name=value]", "-3")
    page.click("text=Enter the reading")

    expect(page.locator(".told").last).to_contain_text("Not entered")
    page.goto(f"{service.url}/waiting")
    expect(page.locator(".outbox li")).to_contain_text("Refused")


def test_an_event_taken_out_leaves_the_log_and_stays_in_the_books(page, service):
    tub = add_tub(page, service)
    page.fill("form[data-event=reading] [name=value]", "30")
    page.click("text=Enter the reading")
    page.click("text=Wrong? Take it out")
    out = page.locator("[data-withdraw]")
    out.click()
    expect(out).to_contain_text("Sure?")
    out.click()

    expect(page.locator("text=Nothing has been entered yet")).to_be_visible()
    assert log_of(service, tub)["events"] == []


def test_a_tub_is_found_in_a_long_list_by_a_few_letters(page, service):
    for number in range(12):
        tub = {"name": f"Wren {number}", "volume_l": 900, "temperature_c": 38.0}
        kind = {"sanitizer": "chlorine", "has_sensor": False, "procedure": "upkeep"}
        head = {"Content-Type": "application/json"}
        body = json.dumps({**tub, **kind}).encode()
        asked = urllib.request.Request(f"{service.url}/api/tubs", body, head)
        urllib.request.urlopen(asked).close()
    page.goto(f"{service.url}/tubs")
    page.fill(".find input", "wren 1")

    expect(page.locator(".tubs > li:visible")).to_have_count(3)
    expect(page.locator("[data-found]")).to_have_text("3 of 12 tubs")
    assert page.heard == []


def test_the_handover_sheet_is_one_page(page, service):
    tub = add_tub(page, service)
    with urllib.request.urlopen(f"{service.url}/tubs/{tub}/handover.pdf") as answer:
        sheet = answer.read()

    assert sheet.startswith(b"%PDF-")
    assert sheet.count(b"/Type /Page\n") + sheet.count(b"/Type /Page ") == 1
