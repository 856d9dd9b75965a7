"""A phone as it may be: its clock is off, it keeps nothing, two pages are open, a hand writes."""

from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import SCREENS, add_tub, by_hand, dip, get, watched

CLOCK = """(() => {
  const Real = Date, BY = %d * 60000;
  globalThis.Date = class extends Real {
    constructor(...given) { given.length ? super(...given) : super(Real.now() + BY); }
    static now() { return Real.now() + BY; }
  };
})()"""
KEEPS_NOTHING = """Object.defineProperty(window, "indexedDB", { value: { open() {
  const request = { error: new Error("denied") };
  setTimeout(() => request.onerror?.(), 0);
  return request;
} } })"""


@pytest.fixture
def context(open_browser):
    return open_browser(SCREENS["phone"])


@pytest.mark.parametrize("minutes", [20, -20])
def test_a_wrong_clock_is_told_and_put_right(context, service, minutes):
    """The shop refuses events from the future; what a fast phone writes down must not be lost."""
    tub = add_tub(context.new_page(), service)
    context.add_init_script(CLOCK % minutes)
    page = watched(context.new_page())
    page.goto(f"{service.url}/tubs/{tub}")
    by_hand(page, "31")

    expect(page.locator(".history")).to_contain_text("31.0 ug/L")
    expect(page.locator("#outbox")).to_contain_text(
        f"clock is 20 min {'ahead' if minutes > 0 else 'behind'}"
    )
    at = datetime.fromisoformat(get(service, f"/api/tubs/{tub}/log")["events"][0]["at"])
    assert abs((datetime.now(UTC) - at).total_seconds()) < 120
    dip(page, service, tub, "01-shade.jpg")
    page.wait_for_url("**/photos/*")
    taken = datetime.fromisoformat(get(service, f"/api/tubs/{tub}/photos")[0]["taken_at"])
    assert taken <= datetime.now(UTC)
    assert page.heard == []


def test_what_was_written_down_offline_by_a_wrong_clock_is_put_right_when_sent(context, service):
    """The phone learns of its clock only when the network is back."""
    tub = add_tub(context.new_page(), service)
    context.add_init_script(CLOCK % 20)
    page = watched(context.new_page())
    page.route("**/health", lambda route: route.abort())
    page.goto(f"{service.url}/tubs/{tub}")
    context.set_offline(True)
    by_hand(page, "32")
    expect(page.locator("#outbox")).to_contain_text("1 waiting")
    page.unroute("**/health")
    context.set_offline(False)

    expect(page.locator(".history")).to_contain_text("32.0 ug/L")
    at = datetime.fromisoformat(get(service, f"/api/tubs/{tub}/log")["events"][0]["at"])
    assert abs((datetime.now(UTC) - at).total_seconds()) < 120


def test_a_browser_that_keeps_nothing_sends_at_once_or_says_so(context, service):
    tub = add_tub(context.new_page(), service)
    context.add_init_script(KEEPS_NOTHING)
    page = watched(context.new_page())
    page.goto(f"{service.url}/tubs/{tub}")
    by_hand(page, "33")
    expect(page.locator(".history")).to_contain_text("33.0 ug/L")
    dip(page, service, tub, "01-shade.jpg")
    page.wait_for_url("**/photos/*")
    assert page.heard == []

    page.goto(f"{service.url}/tubs/{tub}")
    service.kill()
    page.locator("#by-hand summary").first.click()
    if not page.locator("form[data-event=reading] [name=value]").is_visible():
        page.locator("#by-hand summary").first.click()
    by_hand(page, "34")
    expect(page.locator(".told").last).to_contain_text("Write it down and enter it again")
    assert page.input_value("form[data-event=reading] [name=value]") == "34"
    service.start()


def test_two_open_pages_send_once_and_both_hear_of_it(context, service):
    first, second = watched(context.pages[0]), watched(context.new_page())
    tub = add_tub(first, service)
    second.goto(f"{service.url}/tubs/{tub}/dip")
    second.set_input_files("[name=kept]", "sample_images/01-shade.jpg")
    context.set_offline(True)
    second.click("button[type=submit]:has-text('Read it')")
    expect(second.locator(".progress")).to_contain_text("kept on this phone")
    expect(first.locator("#outbox")).to_contain_text("1 waiting")
    context.set_offline(False)

    second.wait_for_url("**/photos/*")
    expect(first.locator(".photos li")).to_have_count(1)
    assert len(get(service, f"/api/tubs/{tub}/photos")) == 1


def test_a_login_that_ended_keeps_the_entry_and_leads_to_the_door(context, service):
    page, keeper = watched(context.pages[0]), context.new_page()
    tub = add_tub(page, service)
    keeper.goto(f"{service.url}/shop")
    keeper.click("text=Add a member")
    keeper.fill("[name=password]", "nine brown otters")
    keeper.locator("form[action='/shop/members'] [name=name]").fill("Robin")
    keeper.click("form[action='/shop/members'] button")
    keeper.wait_for_url("**/login**")
    by_hand(page, "36")
    expect(page.locator("#outbox")).to_contain_text("log in to send it")
    page.click("#outbox")
    page.fill("[name=name]", "Robin")
    page.fill("[name=password]", "nine brown otters")
    page.click("text=Come in")
    page.wait_for_url(f"**/tubs/{tub}")

    expect(page.locator(".history")).to_contain_text("36.0 ug/L")
    expect(page.locator(".history")).to_contain_text("Robin")


def test_a_page_is_not_shown_anew_under_a_hand_that_is_writing(context, service):
    first, second = watched(context.pages[0]), watched(context.new_page())
    tub = add_tub(first, service)
    first.fill("form[data-event=reading] [name=value]", "0.1")
    second.goto(f"{service.url}/tubs/{tub}")
    by_hand(second, "35")
    expect(second.locator(".history")).to_contain_text("35.0 ug/L")

    expect(first.locator(".told").last).to_contain_text("Finish what you are writing")
    assert first.input_value("form[data-event=reading] [name=value]") == "0.1"
    first.click("text=show the page anew")
    expect(first.locator(".history")).to_contain_text("35.0 ug/L")
