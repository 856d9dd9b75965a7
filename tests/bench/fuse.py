"""Several photos of one strip made into one reading: what photos share, and how fused bands hold.

    python -m tests.bench fuse [--seeds A-B] [--sets same,lamps,careless] [--jobs N] [--json FILE]

Every seed draws a print, a strip lot, a phone, a water and one strip, and takes three photos of it:
`same` under one lamp, the pose and the evenness of the light drawn anew; `lamps` under another lamp
each time; `careless` likewise, but carelessly. A fourth photo shows another strip in another water,
given by mistake. First what the photos' errors have in common, by likelihood over pairs; then
single, fused and mistaken readings against the truth.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import multiprocessing
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.bench import figures
from tests.bench.photo_sets import Job, cache_folder, renderer_key, setting_of
from tests.bench.readings import card_for, pad_row, table_of
from tests.render import scene as scenes, shots, strips
from tests.render.pads import Pads
from tests.render.photo_file import as_file

Array = NDArray[np.float64]
Row = dict[str, Any]

SETS = ("same", "lamps", "careless")
PHOTOS = 3
PIXELS = {"same": 2.0e6, "lamps": 2.0e6, "careless": 3.2e6}


@dataclass(frozen=True)
class Shot:
    """One photo of a strip; number `PHOTOS` is the other strip, given by mistake."""

    group: str
    seed: int
    number: int

    @property
    def job(self) -> Job:
        """What the reading benchmark calls it: print, lot and phone by the seed."""
        kind = "careless" if self.group == "careless" else "good"
        return Job(self.group, kind, self.seed, shop=self.seed, pixels=PIXELS[self.group])


def scene_of(shot: Shot) -> scenes.Scene:
    """The strip and phone of the seed, in a pose and light of their own."""
    job = shot.job
    setting = setting_of(job)
    first = shots.draw(setting, job.seed * 100, job.kind)
    own = shots.draw(setting, job.seed * 100 + shot.number, job.kind)
    lighting = own.lighting
    if shot.group == "same" or shot.number == PHOTOS:
        lamps, share = first.lighting.lamps, first.lighting.share
        lighting = replace(lighting, lamps=lamps, share=share)
    strip, laid = first.strips[0], own.strips[0]
    if shot.number == PHOTOS:
        strip = laid
    shown = replace(laid, pads=strip.pads, values=strip.values)
    return replace(own, strips=(shown,), lighting=lighting, camera=first.camera)


def photo_of(shot: Shot) -> bytes:
    """The photo, from the cache where it was rendered before."""
    asked = f"fuse {renderer_key()} {shot} {PIXELS[shot.group]}"
    place = cache_folder() / (hashlib.sha256(asked.encode()).hexdigest()[:32] + ".jpg")
    if not place.exists():
        scene = scene_of(shot)
        pixels = scenes.photographed(scene)
        data = as_file(pixels, scene.form, scene.look.quality, scene.look.space, 1, scene.taken_at)
        part = place.with_suffix(".part")
        part.write_bytes(data)
        part.replace(place)
    return place.read_bytes()


def seen_of(shot: Shot) -> Any:
    """What the reader sees in the photo, without the pixels."""
    from api.measure import places
    from reader.read_strip import read_strip

    cv2.setNumThreads(1)
    setting = setting_of(shot.job)
    table, _ = table_of(setting.lot_seed, setting.family, None)
    seen = read_strip(photo_of(shot), card_for(shot.job), places(table))
    return replace(seen, traces=None)


@dataclass(frozen=True, eq=False)
class Pair:
    """One pad in the photos of one strip: errors against its lot's chart, and what was claimed."""

    off: Array
    """(n, 3): seen less what the chart says at the water's true value."""
    own: Array
    """(n, 3, 3): claimed covariance of the measurement."""
    budget: Array
    """(n, 3, 3): claimed covariance of the dye."""


@dataclass(frozen=True, eq=False)
class Case:
    """What one seed of one set came to."""

    rows: list[Row]
    pairs: list[Pair]


def case_of(task: tuple[str, int]) -> Case:
    """Render, read and fuse one strip's photos."""
    return judged(task, [seen_of(Shot(*task, number)) for number in range(PHOTOS + 1)])


def judged(task: tuple[str, int], seens: Sequence[Any]) -> Case:
    """Set what single, fused and mistaken photos say beside the truth."""
    from api.fuse import fuse
    from api.measure import judge

    shot = Shot(*task, 0)
    setting = setting_of(shot.job)
    table, curves = table_of(setting.lot_seed, setting.family, None)
    strip = shots.draw(setting, shot.seed * 100, shot.job.kind).strips[0]
    # Each photo was taken at another day of the renderer's calendar: their times tell nothing.
    seens = [replace(seen, taken_at=None) for seen in seens]
    right, wrong = seens[:PHOTOS], seens[PHOTOS]
    readings = {"1 photo": judge(right[0], table, None, curves)}
    for count in range(2, PHOTOS + 1):
        readings[f"{count} fused"] = fuse(right[:count], table, None, curves).reading
    readings["mistaken"] = fuse([right[0], wrong], table, None, curves).reading
    kind = strips.FAMILIES[setting.family]
    rows = [
        {"set": shot.group, "how": how, "seed": shot.seed, "said": list(reading.reasons)}
        | pad_row(pad, {"value": value, "lab": strip.pads.lab(pad.chart.analyte, value)}, kind)
        for how, reading in readings.items()
        for pad, value in zip(reading.pads, strip.values, strict=True)
    ]
    return Case(rows, list(pairs_of(right, Pads(setting.lot_seed, setting.family), strip.values)))


def pairs_of(seens: Sequence[Any], lot: Pads, values: Sequence[float]) -> Iterator[Pair]:
    """The pads that several photos show without a remark."""
    for place, (pad, value) in enumerate(zip(lot.kind.pads, values, strict=True), 1):
        seen = [
            one for whole in seens for one in whole.pads
            if one.pad == place and one.lab is not None and not one.reasons
        ]  # fmt: skip
        if len(seen) > 1:
            off = np.array([one.lab for one in seen]) - lot.lab(pad.analyte, value)
            yield Pair(
                off, np.array([one.cov for one in seen]), np.array([one.cov_budget for one in seen])
            )


SHARES = (0.0, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 0.95)
SCALES = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 1.0, 1.2)
TAIL_DOF = 8.0


def likely_shares(pairs: Sequence[Pair]) -> tuple[float, float, float]:
    """Shares of measurement and dye that photos repeat, and the scale of both, by likelihood."""
    found = []
    for own in SHARES:
        for dye in SHARES:
            parts = [fit_of(pair, own, dye) for pair in pairs]
            for scale in SCALES:
                found.append((sum(tail(*part, scale) for part in parts), own, dye, scale))
    best = max(found)
    return float(best[1]), float(best[2]), float(best[3])


def fit_of(pair: Pair, own: float, dye: float) -> tuple[float, float, int]:
    """Squared distance, log determinant and size of the errors of a pad under these shares."""
    n = len(pair.off)
    whole = np.zeros((3 * n, 3 * n))
    roots, dyes = root(pair.own), root(pair.budget)
    for i in range(n):
        for j in range(n):
            part = (
                (pair.own[i] + pair.budget[i])
                if i == j
                else (own * roots[i] @ roots[j] + dye * dyes[i] @ dyes[j])
            )
            whole[3 * i : 3 * i + 3, 3 * j : 3 * j + 3] = part
    flat = pair.off.ravel()
    return float(flat @ np.linalg.solve(whole, flat)), float(np.linalg.slogdet(whole)[1]), 3 * n


def tail(square: float, log_det: float, size: int, scale: float) -> float:
    """Log likelihood under Student's t, its covariance scaled."""
    heavy = np.log1p(square / scale / TAIL_DOF)
    return float(-0.5 * (log_det + size * np.log(scale) + (TAIL_DOF + size) * heavy))


def root(covs: Array) -> Array:
    """Symmetric square roots (n, 3, 3)."""
    values, axes = np.linalg.eigh(covs)
    return np.asarray(np.einsum("nij,nj,nkj->nik", axes, np.sqrt(np.maximum(values, 0)), axes))


def report(cases: dict[str, list[Case]]) -> str:
    """The whole report as text."""
    lines = ["shared between photos (share of variance): measurement, dye; variance against claim"]
    for name, of in cases.items():
        own, dye, scale = likely_shares([pair for case in of for pair in case.pairs])
        lines.append(f"{name:10} {len(of):4} strips   {own:.1f}  {dye:.1f}   {scale:.1f}")
    head = f"{'':22}  pads  accept  RMS     holds   (95 % interval)  width   disagree  other strips"
    lines += ["", head]
    for name, of in cases.items():
        rows = [row for case in of for row in case.rows]
        for how, part in figures.by(rows, "how").items():
            lines.append(line(f"{name} {how}", part))
    return "\n".join(lines)


def line(name: str, rows: list[Row]) -> str:
    """One line of the report."""
    whole = [{"card_found": True, "strip_found": True, "ms": 0.0, **row} for row in rows]
    found = figures.summary(whole)
    low, high = figures.interval(whole, "coverage")
    apart = figures.share(["photos_disagree" in row["reasons"] for row in rows])
    other = {row["seed"]: "different_strips" in row["said"] for row in rows}
    return (
        f"{name:22} {len(rows):5} {100 * found['accepted']:7.1f} {found['rms_steps']:6.3f} "
        f"{100 * found['coverage']:8.1f}   ({100 * low:.1f} to {100 * high:.1f}) "
        f"{found['width_median']:7.3f} {100 * apart:9.1f} "
        f"{100 * figures.share(list(other.values())):9.1f}"
    )


def main(argv: list[str]) -> int:
    """Run what was asked for."""
    from tests.bench.reading import seeds_of

    parser = argparse.ArgumentParser(
        prog="python -m tests.bench fuse",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seeds", type=seeds_of, default=range(100, 120))
    parser.add_argument("--sets", default=",".join(SETS))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", type=Path, help="write all rows into this file")
    args = parser.parse_args(argv)
    names = args.sets.split(",")
    tasks = [(name, seed) for name in names for seed in args.seeds]
    start = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max(args.jobs, 1), mp_context=start) as pool:
        done = list(pool.map(case_of, tasks, chunksize=1))
    cases: dict[str, list[Case]] = {name: [] for name in names}
    for (name, _), case in zip(tasks, done, strict=True):
        cases[name].append(case)
    print(report(cases))
    if args.json:
        rows = [row for of in cases.values() for case in of for row in case.rows]
        args.json.write_text(json.dumps(rows), "utf-8")
    return 0
