"""Readings of rendered photos against the truth: colour, value, band, verdict.

    python -m tests.bench reading [--seeds A-B] [--sets good,careless,...] [--json FILE]
    python -m tests.bench reading --check     a small fixed set against the kept baseline

Sets: `good` and `careless` (measured card, instrument's table), `nominal` (good photos, card not
measured), `photo_table` (daylight, table made of four photos a block by the same phone), `spoiled`
(one fault each), `other` and `other_careless` (another population: phones, lamps, inks, dyes, strip
geometry, slot ground). Every seed draws its own print, strip lot, phone, light, pose and waters.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from tests.bench import figures
from tests.bench.photo_sets import Job
from tests.bench.readings import Row, photo_tables, read_all
from tests.render.shots import FAULTS

BASELINE = Path(__file__).parent / "baseline.json"
SETS = ("good", "careless", "nominal", "photo_table", "spoiled", "other", "other_careless")
CHECK_SEEDS = {
    "good": range(9000, 9012),
    "careless": range(9000, 9012),
    "spoiled": range(9000, 9001),
}
"""Few enough for every test run: two minutes on two cores."""
CHECK_PIXELS = 3.1e6
SHOPS = (1, 2)
TABLE_SEED = 500_000

COLUMNS = (
    ("found", "found", 100), ("accepted", "accept", 100), ("de00_median", "dE00", 1),
    ("de00_p95", "p95", 1), ("rms_steps", "RMS", 1), ("coverage", "holds", 100),
    ("coverage_all", "all", 100), ("width_median", "width", 1), ("wrong_per_1000", "wrong", 1),
)  # fmt: skip


def plan(name: str, seeds: range, pixels: float) -> list[Job]:
    """The photos of one set."""
    if name == "spoiled":
        return [Job(f"spoiled {f}", f, s, pixels=pixels) for f in FAULTS for s in seeds]
    if name == "photo_table":
        return [
            Job(name, "good", seed, light="daylight", shop=SHOPS[seed % len(SHOPS)], pixels=pixels)
            for seed in seeds
        ]
    kind = "careless" if name.endswith("careless") else "good"
    other = name.startswith("other")
    # From farther away, phones still keep their pixels: the card has some 5 to 12 px a millimetre.
    pixels = 1.6 * pixels if kind == "careless" else pixels
    return [Job(name, kind, s, name != "nominal", other, pixels=pixels) for s in seeds]


def run(sets: dict[str, range], jobs: int, pixels: float) -> list[Row]:
    """Render, read and compare everything asked for."""
    texts: dict[int, str] = {}
    if "photo_table" in sets:
        texts = photo_tables(SHOPS, 4, TABLE_SEED, jobs, pixels)
    tasks = [
        (job, texts.get(job.shop) if job.shop is not None else None)
        for name, seeds in sets.items()
        for job in plan(name, seeds, pixels)
    ]
    return read_all(tasks, jobs)


TARGETS: dict[str, dict[str, str]] = {
    "good": {
        "found": "100", "accepted": ">=90", "de00_median": "<=0.95", "de00_p95": "<=3.5",
        "rms_steps": "<=0.14", "coverage": "93-98", "width_median": "<=0.55",
        "wrong_per_1000": "0",
    },
    "careless": {
        "found": ">=99", "accepted": ">=75", "de00_median": "<=1.4", "de00_p95": "<=6",
        "rms_steps": "<=0.20", "coverage": "93-98", "width_median": "<=0.75",
        "wrong_per_1000": "<=1",
    },
    "photo_table": {
        "rms_steps": "<=0.12", "coverage": "93-97", "width_median": "<=0.50",
        "wrong_per_1000": "0",
    },
    "nominal": {"coverage": "93-99", "wrong_per_1000": "0"},
}  # fmt: skip
"""What is wanted of each set; the sets of another population share those of their kind."""


def line(name: str, rows: list[Row]) -> str:
    """One line of the report."""
    found = figures.summary(rows)
    cells = [f"{name:24}", f"{found['photos']:4d}"]
    cells += [f"{found[key] * scale:11.{places(scale)}f}" for key, _, scale in COLUMNS]
    if found["crashes"]:
        cells.append(f"  {found['crashes']:.0f} crashed")
    return " ".join(cells)


def places(scale: int) -> int:
    """Decimals of a figure: one of a per cent, else two."""
    return 1 if scale == 100 else 2


def interval_line(rows: list[Row]) -> str:
    """The 95 % bootstrap intervals below a set's figures."""
    between = figures.intervals(rows, [key for key, _, _ in COLUMNS])
    cells = [
        f"{low * scale:.{places(scale)}f}-{high * scale:.{places(scale)}f}".rjust(11)
        for (low, high), (_, _, scale) in zip(between.values(), COLUMNS, strict=True)
    ]
    return " ".join([f"{'  95 % interval':24}", "    ", *cells])


def target_line(name: str) -> str:
    """What is wanted, below a set's figures."""
    wanted = TARGETS[name.removeprefix("other_").replace("other", "good")]
    cells = [wanted.get(key, "").rjust(11) for key, _, _ in COLUMNS]
    return " ".join([f"{'  wanted':24}", "    ", *cells])


def report(rows: list[Row]) -> str:
    """The whole report as text."""
    head = " ".join([f"{'':24}", "  n ", *(f"{title:>11}" for _, title, _ in COLUMNS)])
    lines = [head]
    groups = figures.by(rows, "group")
    for name, part in groups.items():
        if name.startswith("spoiled"):
            continue
        lines += [line(name, part), interval_line(part), target_line(name)]
        lines += [line(f"  {light}", of) for light, of in figures.by(part, "light").items()]
        lines += [line(f"    {pad}", of) for pad, of in figures.by(part, "analyte").items()]
    faults = {name[8:]: part for name, part in groups.items() if name.startswith("spoiled")}
    return "\n".join(lines + (spoiled_lines(faults) if faults else []))


def spoiled_lines(faults: dict[str, list[Row]]) -> list[str]:
    """The part of the report on spoiled photos."""
    lines = [
        "",
        "spoiled by            n  named  accepted photos / pads / wrong pads   reasons",
    ]
    for name, part in faults.items():
        met = figures.spoiled(part)
        reasons = ", ".join(f"{code} {count}" for code, count in met["reasons"].items())
        lines.append(
            f"{name:18} {met['photos']:4d} {met['named']:6d} "
            f"{met['photos_accepted']:6d} {met['pads_accepted']:6d} "
            f"{met['wrong']:6d}   {reasons}"
        )
        if met["wrong"]:
            lines.append(f"{'':18} wrong in seeds {met['wrong_seeds']}")
    return [*lines, f"{'wanted':18} {'':4} {'all':>6} {'':6} {'':6} {'0':>6}"]


def results(rows: list[Row]) -> dict[str, Any]:
    """Figures by group, ready for JSON."""
    groups = figures.by(rows, "group")
    return {
        name: figures.spoiled(part) if name.startswith("spoiled") else figures.summary(part)
        for name, part in groups.items()
    }


MARGINS = {
    "found": -0.001, "accepted": -0.10, "de00_median": 0.15, "de00_p95": 1.0, "rms_steps": 0.04,
    "coverage": -0.05, "width_median": 0.12, "wrong_per_1000": 0.1,
}  # fmt: skip
"""How far a figure may fall behind the baseline: below it where negative, else above it."""


def falls(now: dict[str, Any], kept: dict[str, Any]) -> list[str]:
    """Sentences on every figure that fell beyond its margin."""
    found = []
    for group, before in kept.items():
        if group not in now:
            found.append(f"{group}: is missing")
            continue
        for key, margin in MARGINS.items():
            if key not in before:
                continue
            change = now[group][key] - before[key]
            if not (change >= margin if margin < 0 else change <= margin):
                found.append(f"{group}: {key} is {now[group][key]:.3f}, was {before[key]:.3f}")
        if group.startswith("spoiled"):
            found += spoiled_falls(group, now[group], before)
        if now[group]["crashes"]:
            found.append(f"{group}: {now[group]['crashes']} readings crashed")
    return found


def spoiled_falls(group: str, now: dict[str, Any], before: dict[str, Any]) -> list[str]:
    """Sentences on what is worse about one fault."""
    found = []
    if now["wrong"] > before["wrong"]:
        found.append(f"{group}: wrongly accepted pads {now['wrong']}, were {before['wrong']}")
    if now["named"] < before["named"]:
        found.append(f"{group}: named in {now['named']} photos, was in {before['named']}")
    return found


def check(jobs: int, keep: bool) -> int:
    """Read the small fixed set; fail where it fell behind the baseline, or keep it as such."""
    rows = run(CHECK_SEEDS, jobs, CHECK_PIXELS)
    print(report(rows))
    # The bench counts time elsewhere; a baseline with times would change with the machine.
    now = {name: {k: v for k, v in part.items() if k != "ms_median"} for name, part in
           results(rows).items()}  # fmt: skip
    if keep:
        BASELINE.write_text(json.dumps(now, indent=1, sort_keys=True) + "\n", "utf-8")
        return 0
    fallen = falls(now, json.loads(BASELINE.read_text("utf-8")))
    print("\n".join(fallen) or "nothing fell behind the baseline")
    return 1 if fallen else 0


def seeds_of(text: str) -> range:
    """`5` or `100-129` as a range."""
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def main(argv: list[str]) -> int:
    """Run what was asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench reading",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seeds", type=seeds_of, default=range(100, 120))
    parser.add_argument("--sets", default="good,careless,spoiled")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--megapixels", type=float, default=3.1)
    parser.add_argument("--json", type=Path, help="write all rows and figures into this file")
    parser.add_argument("--check", action="store_true")
    parser.add_argument("--keep", action="store_true", help="with --check: make it the baseline")
    args = parser.parse_args(argv)
    if args.check:
        return check(args.jobs, args.keep)
    sets = {name: args.seeds for name in args.sets.split(",")}
    unknown = [name for name in sets if name not in SETS]
    if unknown:
        print(f"no set is named {unknown[0]!r}; there are: {', '.join(SETS)}", file=sys.stderr)
        return 2
    rows = run(sets, args.jobs, args.megapixels * 1e6)
    print(report(rows))
    if args.json:
        args.json.write_text(json.dumps({"figures": results(rows), "rows": rows}), "utf-8")
    return 0
