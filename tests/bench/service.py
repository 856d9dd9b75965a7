"""The service under load and under the axe: page times, a rush of uploads, kill -9 in their midst.

`python -m tests.bench service [--tubs 500] [--events 200] [--kills 100]
[--parts pages rush kills]`. Everything runs against
`dipstep serve` as a process of its own on this machine's loopback address.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
import uuid
from collections.abc import Iterator, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from tests.bench.shop_full import PHOTOS, SAMPLES, WITH_PHOTOS, fill


class Service:
    """`dipstep serve` on a folder; killed and started again as often as wanted."""

    def __init__(self, home: Path) -> None:
        self.home = home
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"

    def start(self) -> float:
        """Start it and return the seconds until it answered."""
        begun = self.begun = time.perf_counter()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "api.cli", "serve", "--port", str(self.port)],
            env={**os.environ, "DIPSTEP_HOME": str(self.home)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        while time.perf_counter() - begun < 120:
            with suppress(OSError):
                urllib.request.urlopen(f"{self.url}/health", timeout=2).close()
                return time.perf_counter() - begun
            if self.process.poll() is not None:
                raise RuntimeError("the service ended as it started")
            time.sleep(0.05)
        raise RuntimeError("the service did not start within two minutes")

    def wait_ready(self) -> float:
        """Wait until a reader has loaded everything; return the seconds since the start."""
        while not json.loads(self.ask("/health")[1])["readers_ready"]:
            time.sleep(0.1)
        return time.perf_counter() - self.begun

    def processor_s(self) -> dict[str, float]:
        """Return the processor time spent so far by the server and by its readers."""
        mine, tick = self.process.pid, os.sysconf("SC_CLK_TCK")
        spent = {"server": 0.0, "readers": 0.0}
        for stat in Path("/proc").glob("[0-9]*/stat"):
            with suppress(OSError):
                words = stat.read_text().rsplit(")", 1)[1].split()
                of = int(stat.parent.name), int(words[1])
                if mine in of:
                    whose = "server" if of[0] == mine else "readers"
                    spent[whose] += (int(words[11]) + int(words[12])) / tick
        return spent

    def kill(self) -> None:
        """End it as a power cut would."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def ask(self, path: str, data: bytes | None = None, method: str = "GET", **headers: str):
        """Return status, body and seconds; the error body where there is one."""
        wish = urllib.request.Request(self.url + path, data, headers, method=method)
        begun = time.perf_counter()
        try:
            with urllib.request.urlopen(wish, timeout=120) as answer:
                body, status = answer.read(), answer.status
        except urllib.error.HTTPError as fault:
            body, status = fault.read(), fault.code
        return status, body, time.perf_counter() - begun


KINDS = (
    *("/tubs", "/tubs/{}", "/tubs/{}?everything=true", "/tubs/{}/dip", "/tubs/{}/photos/{sha}"),
    *("/tubs/{}/handover.pdf", "/tubs/{}/log.csv", "/", "/waiting", "/login"),
    *("/review", "/review/record", "/shop", "/shop/goods", "/shop/control", "/shop/chart"),
    *("/shop/waters", "/shop/recipe", "/shop/tables/sample"),
    *("/api/tubs", "/api/tubs/{}", "/api/tubs/{}/log", "/api/tubs/{}/events", "/api/tubs/{}/next"),
    *("/api/tubs/{photo}/photos", "/api/review", "/api/review?decided=true", "/api/tables"),
    *("/api/control", "/metrics", "/health", "/openapi.json"),
)
"""Every kind of page and list; {} is any tub, {photo} one with photos."""


def pages(service: Service, ids: Sequence[str], times: int = 20) -> dict[str, dict[str, float]]:
    """Return median and slowest milliseconds of every kind of page, and processor time each."""
    chance = random.Random(3)
    sha256 = json.loads(service.ask(f"/api/tubs/{ids[0]}/photos")[1])[0]["photo"]
    found = {}
    for path in KINDS:
        took, spent = [], service.processor_s()["server"]
        for _ in range(times):
            photo = chance.choice(ids[:WITH_PHOTOS])
            tub = photo if "{sha}" in path else chance.choice(ids)
            place = path.format(tub, sha=sha256, photo=photo)
            kind = "application/json" if path.startswith("/api") else "text/html"
            status, body, seconds = service.ask(place, Accept=kind)
            if status != 200:
                raise RuntimeError(f"{place}: {status} {body[:200]!r}")
            took.append(1000 * seconds)
        found[path] = {
            "median_ms": round(float(np.median(took)), 1),
            "most_ms": round(max(took), 1),
            "processor_ms": round(1000 * (service.processor_s()["server"] - spent) / times, 1),
        }
    return found


def first_load(service: Service) -> dict[str, float]:
    """Return how many bytes of the first page, with everything it names, go over the line."""
    _, body, _ = service.ask("/tubs", Accept="text/html")
    named = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', body.decode()))
    squeezed = {"Accept-Encoding": "gzip", "Accept": "text/html"}
    weights = [len(service.ask(path, **squeezed)[1]) for path in ("/tubs", *named)]
    return {"files": len(weights), "kilobytes": round(sum(weights) / 1000, 1)}


def rush(service: Service, ids: Sequence[str], people: int = 4, each: int = 6) -> dict[str, float]:
    """Return the seconds from upload to next step with several technicians at once."""
    took: list[float] = []
    lock = threading.Lock()
    before = service.processor_s()

    def technician(who: int) -> None:
        for i in range(each):
            tub, photo = ids[(who * each + i) % len(ids)], SAMPLES / PHOTOS[i % len(PHOTOS)]
            path = f"/api/tubs/{tub}/photos/{uuid.uuid4().hex}?table=sample&card=sample"
            kind = {"Content-Type": "application/octet-stream"}
            status, body, seconds = service.ask(path, photo.read_bytes(), "PUT", **kind)
            if status not in (200, 201) or json.loads(body)["next"] is None:
                raise RuntimeError(f"{path}: {status} {body[:300]!r}")
            with lock:
                took.append(seconds)

    threads = [threading.Thread(target=technician, args=(who,)) for who in range(people)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    spent = service.processor_s()
    each_one = {f"{one}_s": round((spent[one] - before[one]) / len(took), 3) for one in spent}
    return {
        "uploads": len(took),
        "median_s": round(float(np.median(took)), 2),
        "p95_s": round(float(np.quantile(took, 0.95)), 2),
        "most_s": round(max(took), 2),
        **each_one,
    }


class Uploader(threading.Thread):
    """Sends events and photos until the service is gone, and remembers what was acknowledged."""

    def __init__(self, service: Service, tub: str, place: int) -> None:
        super().__init__(daemon=True)
        self.service, self.tub, self.place = service, tub, place
        self.events: list[str] = []
        self.photos: list[str] = []

    def run(self) -> None:
        with suppress(OSError, urllib.error.URLError, ConnectionError):
            while True:
                self.send_event()
                if self.place == 0:
                    self.send_photo()

    def send_event(self) -> None:
        at = datetime.now(UTC).isoformat()
        record = {"at": at, "type": "reading", "analyte": "salt", "value": 1500.0, "unit": "mg/L"}
        data = json.dumps({**record, "source": "drop_test"}).encode()
        kind = {"Content-Type": "application/json", "Idempotency-Key": uuid.uuid4().hex}
        status, body, _ = self.service.ask(f"/api/tubs/{self.tub}/events", data, "POST", **kind)
        if status == 201:
            self.events.append(json.loads(body)["id"])

    def send_photo(self) -> None:
        photo = (SAMPLES / PHOTOS[0]).read_bytes() + uuid.uuid4().bytes  # another file each time
        path = f"/api/tubs/{self.tub}/photos/{uuid.uuid4().hex}?table=sample&card=sample"
        kind = {"Content-Type": "application/octet-stream"}
        status, body, _ = self.service.ask(path, photo, "PUT", **kind)
        if status == 201:
            self.photos.append(json.loads(body)["photo"])


def kills(service: Service, tub: str, rounds: int) -> dict[str, int]:
    """Kill the service in the midst of uploads, so many times; return what was kept and lost."""
    chance = random.Random(11)
    events: list[str] = []
    photos: list[str] = []
    for done in range(rounds):
        uploaders = [Uploader(service, tub, place) for place in range(3)]
        for one in uploaders:
            one.start()
        time.sleep(chance.uniform(0.2, 6.0))
        service.kill()
        for one in uploaders:
            one.join(30)
            events += one.events
            photos += one.photos
        service.start()
        print(f"  kill {done + 1} of {rounds}", end="\r", file=sys.stderr)
    return {"kills": rounds, **after(service, tub, events, photos)}


def after(
    service: Service, tub: str, events: Sequence[str], photos: Sequence[str]
) -> dict[str, int]:
    """Return how much was acknowledged, lost, or shown half-written."""
    standing = {one["id"] for one in json.loads(service.ask(f"/api/tubs/{tub}/events")[1])}
    kept = json.loads(service.ask(f"/api/tubs/{tub}/photos")[1])
    there = {one["photo"] for one in kept}
    whole = sum(service.ask(f"/api/tubs/{tub}/photos/{sha}/image")[0] == 200 for sha in there)
    return {
        "events_acknowledged": len(events),
        "events_lost": len(set(events) - standing),
        "photos_acknowledged": len(photos),
        "photos_lost": len(set(photos) - there),
        "photos_half_written": len(there) - whole,
    }


PARTS = ("pages", "rush", "kills")


def measured(service: Service, ids: Sequence[str], parts: Sequence[str]) -> dict[str, Any]:
    """Return the figures of the first request, the rush and the pages, those that are wanted."""
    figures: dict[str, Any] = {}
    if "pages" in parts:
        _, _, seconds = service.ask("/tubs", Accept="text/html")
        figures["first_request_ms"] = round(1000 * seconds, 1)
    figures["readers_ready_s"] = round(service.wait_ready(), 1)
    if "rush" in parts:
        figures["rush_after_start"] = rush(service, ids[-40:], each=2)
    if "pages" in parts:
        figures["pages"] = pages(service, ids)
        figures["first_load"] = first_load(service)
    if "rush" in parts:
        figures["rush"] = rush(service, ids)
    return figures


def verdicts(figures: dict[str, Any]) -> Iterator[str]:
    """Yield a line for each figure that has a target."""
    lost = ("events_lost", "photos_lost", "photos_half_written")
    told: list[tuple[str, float, float]] = []
    if "pages" in figures:
        slowest = max(page["most_ms"] for page in figures["pages"].values())
        told.append(("first request, ms", figures["first_request_ms"], 300.0))
        told.append(("slowest page, ms", slowest, 300.0))
        told.append(("first page, kB", figures["first_load"]["kilobytes"], 150.0))
    if "rush" in figures:
        told.append(("upload to next step, p95 s", figures["rush"]["p95_s"], 1.5))
        told.append(("the same once a reader is ready", figures["rush_after_start"]["p95_s"], 1.5))
    if "kills" in figures:
        told.append(("lost or half-written", sum(figures["kills"][key] for key in lost), 0.0))
    for name, value, most in told:
        yield f"{name:31} {value:8} target <= {most:g}   {'met' if value <= most else 'MISSED'}"


def main(argv: Sequence[str]) -> int:
    """Run all parts and print the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench service", description=__doc__)
    parser.add_argument("--tubs", type=int, default=500)
    parser.add_argument("--events", type=int, default=200)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--parts", nargs="+", choices=PARTS, default=PARTS)
    args = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as folder:
        service = Service(Path(folder) / "shop")
        ids = fill(service.home, args.tubs, args.events)
        figures: dict[str, Any] = {"start_s": round(service.start(), 1)}
        try:
            figures |= measured(service, ids, args.parts)
            if "kills" in args.parts:
                figures["kills"] = kills(service, ids[-1], args.kills)
        finally:
            service.kill()
    print(json.dumps(figures, indent=1))
    print("\n".join(verdicts(figures)))
    return 0
