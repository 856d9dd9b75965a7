"""README's pictures, taken anew from the running service: `python -m tests.browser.pictures`."""

import json
import tempfile
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path

from PIL import Image
from playwright import sync_api

from tests.browser.conftest import CHROMIUM, FLAGS, SAMPLES, SCREENS, Service, add_tub, dip

PICTURES = SAMPLES / "pictures"
TALL = 1500


def take(page, name, height=TALL):
    """Keep the top of the page as a small PNG."""
    page.wait_for_load_state("networkidle")
    path = PICTURES / f"{name}.png"
    page.screenshot(path=path, full_page=True)
    with Image.open(path) as shot:
        cut = shot.crop((0, 0, shot.width, min(shot.height, height))).convert("RGB")
    cut.quantize(128).save(path, optimize=True)


def post(service, path, record):
    """Send one record and return the answer."""
    head = {"Content-Type": "application/json"}
    asked = urllib.request.Request(service.url + path, json.dumps(record).encode(), head)
    with urllib.request.urlopen(asked, timeout=60) as answer:
        return json.load(answer)


def tub_of_log(service, name):
    """Keep a sample log as a tub whose last event was three minutes ago; return its id."""
    log = json.loads((SAMPLES / "logs" / name).read_text(encoding="utf-8"))
    times = [datetime.fromisoformat(event["at"]) for event in log["events"]]
    later = datetime.now(UTC) - timedelta(minutes=3) - max(times)
    kept = {key: log[key] for key in ("procedure", "products") if log.get(key)}
    tub = post(service, "/api/tubs", {**log["tub"], **kept})["id"]
    for event, at in zip(log["events"], times, strict=True):
        post(service, f"/api/tubs/{tub}/events", {**event, "at": (at + later).isoformat()})
    return tub


def main():
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_api.sync_playwright() as playwright:
        service = Service(Path(folder) / "shop")
        service.start()
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        page = browser.new_page(viewport=SCREENS["phone"])
        page.set_default_timeout(120_000)
        tub = add_tub(page, service)
        for photo in ("02-workbench.jpg", "09-glare.jpg", "01-shade.jpg"):
            dip(page, service, tub, photo)
            page.wait_for_url("**/photos/*")
        take(page, "photo")
        page.goto(f"{service.url}/tubs/{tub_of_log(service, '03-salt-in-portions.json')}")
        take(page, "tub", 1900)
        page.goto(f"{service.url}/review")
        take(page, "review")
        page.goto(f"{service.url}/shop/tables/sample")
        take(page, "table", 900)
        browser.close()
        service.kill()


if __name__ == "__main__":
    main()
