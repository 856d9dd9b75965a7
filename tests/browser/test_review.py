"""QA in the browser: the queue by keyboard and by thumb; the trail afterwards."""

import json
import urllib.request

from playwright.sync_api import expect

from tests.browser.conftest import add_tub, dip


def get(service, path):
    with urllib.request.urlopen(f"{service.url}{path}") as answer:
        return json.load(answer)


def flagged(page, service):
    tub = add_tub(page, service)
    dip(page, service, tub, "09-glare.jpg")
    page.wait_for_url("**/photos/*")
    return tub


def test_a_flagged_pad_is_corrected_by_a_drop_test(page, service):
    tub = flagged(page, service)
    before = len(get(service, "/api/review"))
    page.goto(f"{service.url}/review")
    first = page.locator(".check").first
    expect(first.locator(".remark").first).to_be_visible()
    page.keyboard.press("j")
    page.keyboard.press("c")
    page.keyboard.type("4.2")
    page.keyboard.press("Enter")
    page.wait_for_load_state("networkidle")

    expect(page.locator(".check:not(.decided)")).to_have_count(before - 1)
    decided = get(service, "/api/review?decided=true")
    assert [one["decision"]["decision"] for one in decided] == ["correct"]
    event = get(service, f"/api/tubs/{tub}/log")["events"][-1]
    assert (event["value"], event["source"]) == (4.2, "drop_test")
    assert page.heard == []


def test_dip_again_enters_nothing_and_stands_in_the_trail(page, service):
    tub = flagged(page, service)
    events = len(get(service, f"/api/tubs/{tub}/log")["events"])
    page.goto(f"{service.url}/review")
    page.locator("[name=note]").first.fill("glare, asked Wren")
    page.locator("[data-decide=dip_again]").first.click()
    page.wait_for_load_state("networkidle")
    page.goto(f"{service.url}/review/record")

    expect(page.locator(".history")).to_contain_text("dip again: glare, asked Wren")
    assert len(get(service, f"/api/tubs/{tub}/log")["events"]) == events
    assert page.heard == []
