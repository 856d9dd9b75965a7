"""No network: photos and entries wait on the phone, in order, and reach the shop once."""

import hashlib
import urllib.request

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PATIENCE_MS, add_tub, by_hand, dip, get, watched

PHOTO = "01-shade.jpg"


def seen_once(page, service, tub):
    """Open the pages that must work without a network later, with the worker in charge."""
    for path in (f"/tubs/{tub}/dip", f"/tubs/{tub}", "/waiting", f"/tubs/{tub}"):
        page.goto(f"{service.url}{path}")
        page.wait_for_load_state("networkidle")


@pytest.fixture
def context(open_browser):
    return open_browser()


def test_entries_survive_no_network_and_a_closed_browser(open_browser, context, service):
    """Cut the network, enter and photograph, close, open again offline, restore: all is there."""
    page = watched(context.pages[0])
    tub = add_tub(page, service)
    seen_once(page, service, tub)
    context.set_offline(True)
    page.goto(f"{service.url}/tubs/{tub}")
    by_hand(page, "31")
    expect(page.locator("#outbox")).to_contain_text("1 waiting on this phone")
    dip(page, service, tub, PHOTO)
    expect(page.locator("#outbox")).to_contain_text("2 waiting on this phone")
    context.close()

    again = open_browser()
    again.set_offline(True)
    page = again.pages[0]
    page.goto(f"{service.url}/waiting")
    expect(page.locator(".outbox > li")).to_have_count(2)
    assert get(service, f"/api/tubs/{tub}/log")["events"] == []
    again.set_offline(False)

    expect(page.locator(".outbox > li")).to_have_count(0)
    events = sorted(get(service, f"/api/tubs/{tub}/events"), key=lambda one: one["entered_at"])
    assert events[0]["event"]["value"] == 31
    assert {one["origin"] for one in events} == {"hand", "photo"}
    assert len([one for one in events if one["origin"] == "hand"]) == 1
    photos = get(service, f"/api/tubs/{tub}/photos")
    kept = urllib.request.urlopen(f"{service.url}/api/tubs/{tub}/photos/{photos[0]['photo']}/image")
    assert [one["name"] for one in photos] == [PHOTO]
    assert hashlib.sha256(kept.read()).hexdigest() == photos[0]["photo"]


def test_a_dead_server_with_the_browser_online_loses_nothing(context, service):
    """The browser gets no sign that the server is back: a timer sends what waits."""
    page = watched(context.pages[0])
    tub = add_tub(page, service)
    seen_once(page, service, tub)
    service.kill()
    by_hand(page, "32")
    expect(page.locator("#outbox")).to_contain_text("the shop cannot be reached")
    assert page.evaluate("navigator.onLine")
    service.start()

    expect(page.locator(".history")).to_contain_text("32.0 ug/L", timeout=PATIENCE_MS)
    assert len(get(service, f"/api/tubs/{tub}/events")) == 1


def test_order_is_kept_and_nothing_is_sent_twice(context, service):
    page = watched(context.pages[0])
    tub = add_tub(page, service)
    seen_once(page, service, tub)
    context.set_offline(True)
    for value in ("11", "12", "13"):
        by_hand(page, value)
    expect(page.locator("#outbox")).to_contain_text("3 waiting")
    other = context.new_page()
    other.goto(f"{service.url}/waiting")
    context.set_offline(False)

    expect(other.locator(".outbox > li")).to_have_count(0)
    events = get(service, f"/api/tubs/{tub}/events")
    assert [one["event"]["value"] for one in events] == [11, 12, 13]
    entered = [one["entered_at"] for one in events]
    assert entered == sorted(entered)


def test_a_tub_never_opened_opens_without_a_network_and_says_how_old_it_is(context, service):
    """The list keeps the tubs that come first; an old page never looks like a fresh one."""
    page = watched(context.pages[0])
    tub = add_tub(page, service)
    page.goto(f"{service.url}/waiting")
    page.evaluate("caches.delete('dipstep-pages')")
    page.goto(f"{service.url}/tubs")
    kept = f"caches.match('/tubs/{tub}/dip').then(Boolean)"
    for _ in range(300):
        if page.evaluate(kept):
            break
        page.wait_for_timeout(100)
    expect(page.locator("#stale")).to_be_hidden()
    context.set_offline(True)
    context.add_init_script("{ const now = Date.now; Date.now = () => now() + 120000; }")
    page.goto(f"{service.url}/tubs/{tub}")

    expect(page.locator("#stale")).to_contain_text("this is the page as it was today")
    by_hand(page, "31")
    expect(page.locator("[data-outbox-here]")).to_contain_text(
        "dose nothing by it until it is sent"
    )
    expect(page.locator(".doing")).to_be_hidden()
    page.goto(f"{service.url}/tubs/{tub}/dip?sample=fill")
    expect(page.locator("[data-dipped]")).to_be_visible()


def test_the_dip_clock_survives_a_page_that_the_phone_dropped(context, service):
    page = watched(context.pages[0])
    tub = add_tub(page, service)
    page.goto(f"{service.url}/tubs/{tub}/dip")
    page.click("[data-dipped]")
    expect(page.locator(".reads .clock").first).to_contain_text("0:1")
    page.reload()

    expect(page.locator(".reads .clock").first).to_contain_text("0:")
    expect(page.locator("[data-dipped]")).to_be_hidden()
