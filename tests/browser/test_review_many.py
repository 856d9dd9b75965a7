"""QA's throughput: twenty decisions in a row, by keyboard alone and by thumb alone."""

import json
import urllib.request

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import SCREENS, add_tub, dip, watched

PHOTOS = (
    *("15-burnt-out.jpg", "13-shaken.jpg", "09-glare.jpg", "07-window-and-lamp.jpg"),
    *("10-sharp-shadow.jpg", "06-evening-lamp.jpg", "08-hall-tubes.jpg", "12-other-strip.jpg"),
)
DECISIONS = 20


def get(service, path):
    with urllib.request.urlopen(f"{service.url}{path}") as answer:
        return json.load(answer)


def press(page, decision):
    """One decision by keyboard on the card in hand."""
    if decision == "correct":
        page.keyboard.press("c")
        page.keyboard.type("3.1")
        page.keyboard.press("Enter")
    else:
        page.keyboard.press({"accept": "a", "dip_again": "d", "whole": "p"}[decision])


def tap(page, decision):
    """The same by thumb on the first card that waits; what it needs is on the screen already."""
    card = page.locator(".check:not(.decided)").first
    if decision == "correct":
        card.locator("[name=value]").tap()
        page.keyboard.type("3.1")
    else:
        expect(card.locator(f"[data-decide={decision}]")).to_be_in_viewport(ratio=0.9)
    card.locator(f"[data-decide={decision}]").tap()


def choices(card):
    """What this card lets one decide, the rarest first."""
    named = card.locator("[data-decide]").evaluate_all("all => all.map(one => one.dataset.decide)")
    return [one for one in ("whole", "accept", "correct", "dip_again") if one in named]


@pytest.mark.parametrize("way", ["keyboard", "touch"])
def test_twenty_decisions_in_a_row(open_browser, service, way):
    """Neither way needs more than one press, or a value and a press, for a reading."""
    keys = way == "keyboard"
    page = watched(open_browser(SCREENS["workshop" if keys else "phone"], not keys).pages[0])
    tub = add_tub(page, service)
    for photo in PHOTOS:
        dip(page, service, tub, photo)
        page.wait_for_url("**/photos/*")
        if len(get(service, "/api/review")) >= DECISIONS + 8:
            break
    assert len(get(service, "/api/review")) >= DECISIONS
    page.goto(f"{service.url}/review")
    if keys:
        page.keyboard.press("j")

    waiting, made, turn = page.locator(".check:not(.decided)"), set(), 0
    while len(get(service, "/api/review?decided=true")) < DECISIONS:
        left = waiting.count()
        card = page.locator(".check.here") if keys else waiting.first
        offered = choices(card)
        if "whole" in offered and turn != 3:
            offered.remove("whole")
        decision = "whole" if "whole" in offered else offered[turn % len(offered)]
        photo = card.get_attribute("data-photo")
        (press if keys else tap)(page, decision)
        if decision == "whole":
            expect(page.locator(f'.check:not(.decided)[data-photo="{photo}"]')).to_have_count(0)
        else:
            expect(waiting).to_have_count(left - 1)
        made.add(decision)
        turn += 1

    decided = get(service, "/api/review?decided=true")
    assert len(decided) >= DECISIONS
    assert {one["decision"]["decision"] for one in decided} == {"accept", "correct", "dip_again"}
    assert "whole" in made
    assert page.heard == []
