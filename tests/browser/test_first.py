"""The page that reads one photo and keeps nothing: photo, drawing, bands, verdicts, next step."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from playwright.sync_api import expect

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"


def fresh_log(folder):
    """Write the demo's log as if its last event was ten minutes ago."""
    log = json.loads((ROOT / "api" / "demo" / "garden-tub.json").read_text(encoding="utf-8"))
    times = [datetime.fromisoformat(event["at"]) for event in log["events"]]
    later = datetime.now(UTC) - timedelta(minutes=10) - max(times)
    for event, at in zip(log["events"], times, strict=True):
        event["at"] = (at + later).isoformat()
    path = folder / "garden-tub.json"
    path.write_text(json.dumps(log), encoding="utf-8")
    return path


def test_a_photo_and_a_log_become_readings_and_the_next_step(page, service, tmp_path):
    page.goto(f"{service.url}/")
    page.set_input_files("input[name=photo]", SAMPLES / "01-shade.jpg")
    expect(page.locator(".preview")).to_be_visible()
    page.get_by_text("More: time").click()
    page.set_input_files("input[name=log]", fresh_log(tmp_path))
    page.get_by_role("button", name="Read it").click()

    expect(page.locator("figure img")).to_be_visible()
    expect(page.locator(".strip tbody tr")).to_have_count(7)
    expect(page.locator(".strip .bar").first).to_be_visible()
    expect(page.locator(".next .do")).to_contain_text("Add")
    expect(page.locator(".cautions li").first).to_contain_text("acid and chlorine")
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= page.viewport_size["width"]


def test_what_is_no_photo_is_told_and_the_form_stays(page, service):
    page.goto(f"{service.url}/")
    page.set_input_files("input[name=photo]", ROOT / "pyproject.toml")
    page.get_by_role("button", name="Read it").click()

    expect(page.get_by_role("alert")).to_contain_text("pyproject.toml")
    expect(page.get_by_role("button", name="Read it")).to_be_enabled()


def test_a_hopeless_sample_says_what_to_do(page, service):
    page.goto(f"{service.url}/")
    page.select_option("select[name=sample]", "14-empty-slot.jpg")
    page.get_by_role("button", name="Read the sample").click()

    expect(page.locator(".readings h2 .verdict")).to_contain_text("cannot tell")
    expect(page.locator(".readings")).to_contain_text("Lay the strip in the slot")
