"""How fast a 12-megapixel photo is read: against plain decoding, two at once, from a cold start.

    python -m tests.bench speed [--photos N] [--json FILE]

The ratio is taken in one run, reading and decoding by turns, so that a busy machine hurts both.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.bench.photo_sets import Job, photo_of, setting_of
from tests.bench.readings import card_for, table_of
from tests.render import tables
from tests.render.pads import Pads

PIXELS = 4032 * 3024
ROUNDS = 9


def photo_job(seed: int) -> Job:
    """A well-taken photo of 12 megapixels."""
    return Job("speed", "good", seed, shop=1, light="daylight", pixels=PIXELS)


def ready(seed: int) -> tuple[bytes, Any, Any, Any]:
    """Photo, card, table and curves."""
    job = photo_job(seed)
    setting = setting_of(job)
    table, curves = table_of(setting.lot_seed, setting.family, None)
    return photo_of(job)[0], card_for(job), table, curves


def by_turns(seed: int) -> dict[str, float]:
    """Medians of full decoding and of a whole reading, taken by turns, on one thread."""
    from api.measure import measure

    cv2.setNumThreads(1)
    data, card, table, curves = ready(seed)
    buffer = np.frombuffer(data, np.uint8)
    wall, cpu = [], []
    for _ in range(ROUNDS):
        times = [(time.perf_counter(), time.process_time())]
        cv2.imdecode(buffer, cv2.IMREAD_COLOR)
        times.append((time.perf_counter(), time.process_time()))
        measure(data, card, table, None, curves)
        times.append((time.perf_counter(), time.process_time()))
        steps = np.diff(np.array(times), axis=0)
        wall.append(steps[:, 0])
        cpu.append(steps[:, 1])
    decode_s, read_s = np.median(wall, axis=0)
    decode_cpu_s, read_cpu_s = np.median(cpu, axis=0)
    return {
        "photo_mb": len(data) / 1e6,
        "decode_ms": 1000 * float(decode_s),
        "read_ms": 1000 * float(read_s),
        "ratio": float(read_s / decode_s),
        "ratio_of_processor_time": float(read_cpu_s / decode_cpu_s),
    }


PEAK = """
import resource, sys
from pathlib import Path
from api.measure import curves_of, measure
from calibration import load_table
from reader.card import standard_card
photo = Path(sys.argv[1])
table = load_table(photo.with_name("table.csv").read_text("utf-8"), "table.csv")
measure(photo.read_bytes(), standard_card(), table, None, curves_of(table))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""


def peak_mib(photo: Path) -> float:
    """Peak memory [MiB] of a fresh process that reads one photo and renders nothing."""
    done = subprocess.run(
        [sys.executable, "-c", PEAK, str(photo)], capture_output=True, text=True, check=True
    )
    return float(done.stdout.splitlines()[-1])


def read_file(path: str) -> float:
    """Read one file in a worker; seconds since the epoch when it was done."""
    from api.measure import measure

    global _KEPT
    if _KEPT is None:
        cv2.setNumThreads(1)
        _, card, table, curves = ready(0)
        _KEPT = card, table, curves
    card, table, curves = _KEPT
    measure(Path(path).read_bytes(), card, table, None, curves)
    return time.time()


_KEPT: Any = None


def photos_a_second(paths: list[Path], processes: int = 2) -> float:
    """Photos read per second by some processes once they are warm."""
    start = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=start) as pool:
        list(pool.map(read_file, [str(paths[0])] * 2 * processes))
        began = time.time()
        done = list(pool.map(read_file, [str(path) for path in paths * 3], chunksize=3))
    return len(done) / (max(done) - began)


def cold_s(photo: Path) -> float:
    """Median seconds of the command from a cold start."""
    words = [sys.executable, "-m", "api.cli", "read", str(photo), "--json",
             "--table", str(photo.with_name("table.csv"))]  # fmt: skip
    took = []
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run(words, capture_output=True, check=True)
        took.append(time.perf_counter() - start)
    return float(np.median(took))


def main(argv: list[str]) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench speed",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--photos", type=int, default=6, help="photos in the folder for two at once"
    )
    parser.add_argument("--json", type=Path)
    args = parser.parse_args(argv)
    found: dict[str, float] = {"cores": os.cpu_count() or 0, **by_turns(0)}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        setting = setting_of(photo_job(0))
        text = tables.truth_table(Pads(setting.lot_seed, setting.family))
        (folder / "table.csv").write_text(text, "utf-8")
        paths = [folder / f"{seed}.jpg" for seed in range(args.photos)]
        for seed, path in enumerate(paths):
            path.write_bytes(photo_of(photo_job(seed))[0])
        found["peak_mib"] = peak_mib(paths[0])
        found["photos_a_second_two_processes"] = photos_a_second(paths)
        found["cold_command_s"] = cold_s(paths[0])
    for key, value in found.items():
        print(f"{key:32} {value:9.2f}")
    if args.json:
        args.json.write_text(json.dumps(found, indent=1), "utf-8")
    return 0
