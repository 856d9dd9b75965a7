"""How fast a photo is read: against plain decoding, two at once, from a cold start; and memory.

    python -m tests.bench speed [--photos N] [--rounds N] [--quick] [--json FILE]

Ratios are taken in one run, reading and decoding by turns, so that a busy machine hurts both: the
medians, and the least of all rounds, which comes nearest a quiet machine. Memory is that of a
fresh process that reads one photo and does nothing else. Larger photos are enlarged ones with a
sensor's grain laid over them; those in Display P3 are the same picture in a phone's usual colours.
"""

from __future__ import annotations

import argparse
import io
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from tests.bench.photo_sets import Job, photo_of, setting_of
from tests.bench.readings import card_for, table_of
from tests.render import tables
from tests.render.pads import Pads
from tests.render.photo_file import as_file

PIXELS = 4032 * 3024
QUALITY = 92
GRAIN_SD = 2.0
"""Codes by which a sensor's pixels differ on even ground."""
P3_OF_SRGB = np.array(
    [[0.8225, 0.1774, 0.0], [0.0332, 0.9669, 0.0], [0.0171, 0.0724, 0.9108]], np.float32
)
"""Linear sRGB to linear Display P3 (same white; from the primaries of both)."""

RATIO, CPU_RATIO, PEAK_MIB, PHOTOS_A_SECOND, COLD_S = 2.0, 2.0, 350.0, 12.0, 2.5
"""Targets: reading over decoding, peak memory, folder with two workers, cold command."""


@dataclass(frozen=True)
class Kind:
    """What a photo is stored as."""

    name: str
    megapixels: float = 12.0
    space: str = "sRGB"
    form: str = "jpeg"
    has_target: bool = True
    """The targets are for 12 megapixel JPEGs; the others are told."""


KINDS = (
    Kind("12 MP JPEG, sRGB"),
    Kind("12 MP JPEG, Display P3", space="Display P3"),
    Kind("24 MP JPEG, Display P3", 24.0, "Display P3", has_target=False),
    Kind("48 MP JPEG, Display P3", 48.0, "Display P3", has_target=False),
    Kind("12 MP HEIC, Display P3", 12.0, "Display P3", "heic", has_target=False),
)


@dataclass(frozen=True)
class Timing:
    """One photo, decoded and read by turns."""

    kind: str
    megabytes: float
    decode_ms: float
    read_ms: float
    ratio: float
    ratio_of_best: float
    ratio_of_processor_time: float
    peak_mib: float


def photo_job(seed: int) -> Job:
    """A well-taken photo of 12 megapixels."""
    return Job("speed", "good", seed, shop=1, light="daylight", pixels=PIXELS)


def stored(seed: int, kind: Kind) -> bytes:
    """The photo of a seed, stored as this kind."""
    data = photo_of(photo_job(seed))[0]
    if kind == KINDS[0]:
        return data
    with Image.open(io.BytesIO(data)) as image:
        pixels = np.asarray(image.convert("RGB"))
    grown = np.sqrt(kind.megapixels * 1e6 / (pixels.shape[0] * pixels.shape[1]))
    if grown > 1.05:
        size = [round(side * grown / 16) * 16 for side in pixels.shape[1::-1]]
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_CUBIC)
        grain = np.random.default_rng(seed).standard_normal(pixels.shape, np.float32)
        pixels = np.clip(pixels + GRAIN_SD * grain, 0, 255).astype(np.uint8)
    if kind.space == "Display P3":
        pixels = _as_p3(pixels)
    return as_file(pixels, kind.form, QUALITY, kind.space)


def _as_p3(pixels: Any) -> Any:
    """The same colours in codes of Display P3, which has sRGB's curve."""
    from reader.tone import srgb_decode, srgb_encode

    decoded = srgb_decode(np.arange(256) / 255.0).astype(np.float32)
    parts = []
    for rows in np.array_split(pixels, 16):
        linear = cv2.transform(decoded[rows], P3_OF_SRGB)
        codes = srgb_encode(np.maximum(linear, 0.0).astype(np.float64))
        parts.append(np.rint(255 * np.clip(codes, 0, 1)).astype(np.uint8))
    return np.concatenate(parts)


def by_turns(paths: list[Path], kind: Kind, rounds: int) -> Timing:
    """Full decoding and a whole reading of some photos, taken by turns, on one thread."""
    from api.measure import measure

    cv2.setNumThreads(1)
    setting = setting_of(photo_job(0))
    table, curves = table_of(setting.lot_seed, setting.family, None)
    card, photos = card_for(photo_job(0)), [path.read_bytes() for path in paths]
    decode = _jpeg if kind.form == "jpeg" else _heic
    steps = []
    for _ in range(rounds):
        for data in photos:
            times = [(time.perf_counter(), time.process_time())]
            decode(data)
            times.append((time.perf_counter(), time.process_time()))
            measure(data, card, table, None, curves=curves)
            times.append((time.perf_counter(), time.process_time()))
            steps.append(np.diff(np.array(times), axis=0))
    # One row a round, one column a photo; then decoding and reading; then wall and processor.
    every = np.array(steps).reshape(rounds, len(photos), 2, 2)
    usual, least = np.median(every, axis=0).mean(axis=0), every.min(axis=0).mean(axis=0)
    return Timing(
        kind.name,
        sum(map(len, photos)) / len(photos) / 1e6,
        1000 * float(usual[0, 0]),
        1000 * float(usual[1, 0]),
        float(usual[1, 0] / usual[0, 0]),
        float(least[1, 0] / least[0, 0]),
        float(least[1, 1] / least[0, 1]),
        max(peak_mib(path) for path in paths),
    )


def _jpeg(data: bytes) -> Any:
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)


def _heic(data: bytes) -> Any:
    import pillow_heif

    pillow_heif.register_heif_opener()
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


PEAK = """
import sys
from pathlib import Path
from api.measure import curves_of, measure
from calibration import load_table
from reader.card import standard_card
photo = Path(sys.argv[1])
table = load_table(Path(sys.argv[2]).read_text("utf-8"), "table.csv")
measure(photo.read_bytes(), standard_card(), table, None, curves=curves_of(table))
peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line)
print(int(peak.split()[1]) / 1024)
"""
"""The kernel's high-water mark; `ru_maxrss` would hold that of the process that started it."""


def peak_mib(photo: Path) -> float:
    """Peak memory [MiB] of a fresh process that reads one photo and renders nothing."""
    words = [sys.executable, "-c", PEAK, str(photo), str(_table_beside(photo))]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    return float(done.stdout.splitlines()[-1])


def _table_beside(photo: Path) -> Path:
    return photo.with_name("table.csv")


def command_s(photos: Path, table: Path, *more: str) -> float:
    """Seconds of the command `dipstep read` from a cold start."""
    words = [sys.executable, "-m", "api.cli", "read", str(photos), "--json"]
    start = time.perf_counter()
    subprocess.run([*words, "--table", str(table), *more], capture_output=True, check=True)
    return time.perf_counter() - start


def folder_figures(paths: list[Path], table: Path, folder: Path) -> dict[str, float]:
    """Photos a second of the command with two workers on a folder, all told and once warm.

    Warm is what the second, larger folder takes longer than the first. So is the processor time
    a photo, which other work on the machine changes less.
    """
    took, busy, counts = [], [], []
    for copies in (1, 6):
        full = folder / f"copies-{copies}"
        full.mkdir()
        for number in range(copies):
            for path in paths:
                shutil.copy(path, full / f"{number}-{path.name}")
        counts.append(copies * len(paths))
        before = _children_s()
        took.append(command_s(full, table, "--jobs", "2"))
        busy.append(_children_s() - before)
    more = counts[1] - counts[0]
    return {
        "photos a second from a folder, two workers, once warm": more / (took[1] - took[0]),
        "the same with the command's start": counts[1] / took[1],
        "processor time a photo in a folder, ms": 1000 * (busy[1] - busy[0]) / more,
    }


def _children_s() -> float:
    """Processor time of all processes started and ended so far [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def verdict(name: str, value: float, target: float | None, most: bool = True) -> str:
    """One line: a figure beside its target."""
    if target is None:
        return f"{name:58} {value:8.2f}"
    word = "met" if (value <= target if most else value >= target) else "MISSED"
    return f"{name:58} {value:8.2f}   target {'<=' if most else '>='} {target:g}   {word}"


def report(timings: list[Timing], rest: dict[str, float]) -> Iterator[str]:
    """The lines to print."""
    for timing, kind in zip(timings, KINDS, strict=False):
        yield (
            f"{timing.kind}: {timing.megabytes:.1f} MB a photo, "
            f"decoded in {timing.decode_ms:.0f} ms, read in {timing.read_ms:.0f} ms"
        )
        has = kind.has_target
        yield verdict("  reading over decoding, median", timing.ratio, RATIO if has else None)
        best = timing.ratio_of_best
        yield verdict("  the same, least of all rounds", best, RATIO if has else None)
        cpu = timing.ratio_of_processor_time
        yield verdict("  the same in processor time, least", cpu, CPU_RATIO if has else None)
        yield verdict("  peak memory of a reading process, MiB", timing.peak_mib, PEAK_MIB)
    goals = {
        "a second": (PHOTOS_A_SECOND, False),
        "processor time": (2000.0 / PHOTOS_A_SECOND, True),
        "cold": (COLD_S, True),
    }
    for name, value in rest.items():
        target, most = next((g for part, g in goals.items() if part in name), (None, True))
        yield verdict(name, value, target, most)


def main(argv: list[str]) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench speed",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--photos", type=int, default=4, help="different photos of 12 megapixels")
    parser.add_argument("--rounds", type=int, default=5, help="decodings and readings by turns")
    parser.add_argument("--quick", action="store_true", help="only the 12 megapixel JPEGs")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args(argv)
    kinds = [kind for kind in KINDS if kind.has_target or not args.quick]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        setting = setting_of(photo_job(0))
        table = folder / "table.csv"
        table.write_text(tables.truth_table(Pads(setting.lot_seed, setting.family)), "utf-8")
        timings = []
        for number, kind in enumerate(kinds):
            seeds = range(args.photos if kind.has_target else 1)
            stacked = [folder / f"kind-{number}-{seed}.{kind.form}" for seed in seeds]
            for seed, path in zip(seeds, stacked, strict=True):
                path.write_bytes(stored(seed, kind))
            timings.append(by_turns(stacked, kind, args.rounds))
        paths = [folder / f"kind-{seed % 2}-{seed}.jpeg" for seed in range(args.photos)]
        rest = folder_figures(paths, table, folder) | {
            "cold `dipstep read` of one photo, s": float(
                np.median([command_s(paths[0], table) for _ in range(3)])
            ),
        }
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, {args.rounds} rounds by turns")
    print("\n".join(report(timings, rest)))
    if args.json:
        found = {"timings": [asdict(timing) for timing in timings], **rest}
        args.json.write_text(json.dumps(found, indent=1), "utf-8")
    return 0
