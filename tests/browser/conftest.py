"""A real Chromium on a real service: one shop folder a test, a phone or a workshop screen."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from playwright import sync_api

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_images"
CHROMIUM = "/usr/bin/chromium"
FLAGS = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
SCREENS = {"phone": {"width": 390, "height": 844}, "workshop": {"width": 1280, "height": 800}}
PATIENCE_MS = 60_000
START_S = 120.0
"""A busy machine takes its time to load what the first request needs."""
sync_api.expect.set_options(timeout=PATIENCE_MS / 2)


def pytest_collection_modifyitems(items):
    for item in items:
        if Path(item.fspath).parent == Path(__file__).parent:
            item.add_marker(pytest.mark.browser)


class Service:
    """`dipstep serve` as a process of its own, so that a test can kill it and start it again."""

    def __init__(self, home):
        self.home = home
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://localhost:{self.port}"
        self.process = None

    def start(self):
        command = [sys.executable, "-m", "api.cli", "serve", "--port", str(self.port)]
        self.process = subprocess.Popen(
            command,
            env={**os.environ, "DIPSTEP_HOME": str(self.home), "DIPSTEP_READERS": "1"},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        late = time.monotonic() + START_S
        while time.monotonic() < late:
            try:
                urllib.request.urlopen(f"{self.url}/health", timeout=5).close()
                return
            except OSError:
                time.sleep(0.1)
        self.kill()
        raise AssertionError("the service did not start")

    def kill(self):
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def service(tmp_path):
    running = Service(tmp_path / "shop")
    running.start()
    yield running
    running.kill()


@pytest.fixture(params=SCREENS)
def screen(request):
    return SCREENS[request.param]


@pytest.fixture
def profile(tmp_path):
    """A browser's own folder: what it keeps outlives the browser."""
    return tmp_path / "profile"


@pytest.fixture
def open_browser(profile):
    """Return a function that opens the browser on its folder, as often as a test needs."""
    with sync_api.sync_playwright() as playwright:
        opened = []

        def opening(size=SCREENS["phone"], touch=False):
            context = playwright.chromium.launch_persistent_context(
                profile,
                executable_path=CHROMIUM,
                headless=True,
                args=list(FLAGS),
                viewport=size,
                has_touch=touch,
                is_mobile=touch,
            )
            context.set_default_timeout(PATIENCE_MS)
            opened.append(context)
            return context

        yield opening
        for context in opened:
            context.close()


@pytest.fixture
def page(open_browser, screen):
    """A page whose console must stay empty."""
    return watched(open_browser(screen).pages[0])


def watched(page):
    """Return the page; what its console says is kept in `page.heard`."""
    page.heard = []
    page.on("console", lambda said: page.heard.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda fault: page.heard.append(str(fault)))
    return page


def add_tub(page, service, name="Wren Cottage"):
    """Add a tub by its form and return its id."""
    page.goto(f"{service.url}/tubs")
    page.fill("[name=name]", name)
    page.fill("[name=volume_l]", "1250")
    page.fill("[name=temperature_c]", "38")
    page.click("text=Keep this tub")
    page.wait_for_url(re.compile(r"/tubs/[0-9a-f-]{36}$"))
    return page.url.rsplit("/", 1)[1]


def dip(page, service, tub, photo):
    """Choose a photo on the page to dip and ask for its reading."""
    page.goto(f"{service.url}/tubs/{tub}/dip")
    page.set_input_files("[name=kept]", SAMPLES / photo)
    page.click("button[type=submit]:has-text('Read it')")


def get(service, path):
    """Return what the service answers a program."""
    with urllib.request.urlopen(f"{service.url}{path}") as answer:
        return json.load(answer)


def by_hand(page, value):
    """Enter a reading on the tub's page."""
    page.fill("form[data-event=reading] [name=value]", value)
    page.click("text=Enter the reading")
