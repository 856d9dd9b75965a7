"""Readings of plain photos that differ in kind from ours: other layouts, strips, phones, files.

    python -m tests.bench holdout [--seeds A-B] [--only card_portrait,png16,...] [--json FILE]

Each variant changes one thing of a well-taken photo (`tests/render/plain/variants.py`). The photos
are drawn from the layout alone, without spectra, so their colours can be told exactly: what is
missed here is geometry, format or processing. Then the faults of spoiled photos, drawn as plainly
(`tests/render/plain/faults.py`). `must`: what has to come of a variant, `read` (every
photo read, nothing wrong), `safe` (nothing wrong accepted) or `refuse` (nothing accepted).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.bench import figures
from tests.bench.reading import spoiled_lines
from tests.bench.readings import Row, pad_row
from tests.render import tables
from tests.render.plain.faults import FAULTS, spoilt_photo
from tests.render.plain.variants import VARIANTS, plain_photo

MUST = {
    "grey": "refuse", "jpeg_30": "safe", "noisy": "safe", "small_1mp": "safe", "far_12mp": "safe",
    "adobe_untold": "safe", "pads_3": "safe", "pads_touching": "safe", "very_askew": "safe",
    "quick_bare": "safe", "dim": "safe", "warm_cast": "safe", "pads_small": "safe",
}  # fmt: skip
"""What has to come of the variants that are not simply to be read."""


def read_plain(task: tuple[str, int]) -> list[Row]:
    """Rows of one photo, one a pad; a crash is a row of its own."""
    from api.measure import curves_of, measure
    from calibration import load_table
    from reader.card import with_measured

    cv2.setNumThreads(1)
    name, seed = task
    fault = name.removeprefix("spoiled ")
    photo = plain_photo(name, seed) if fault == name else spoilt_photo(fault, seed)
    sheet, spoilt = photo.sheet, getattr(photo, "pads", ())
    base: Row = {
        "group": name, "kind": fault, "seed": seed, "light": "plain", "fault_pads": list(spoilt)
    }  # fmt: skip
    table = load_table(tables.truth_table(sheet.pads), "table.csv")
    card = with_measured(sheet.card, {k: tuple(map(float, v)) for k, v in sheet.printed.items()})
    try:
        reading = measure(photo.data, card, table, None, curves_of(table))
    except Exception as crash:  # the benchmark must go on, and tell
        return [{**base, "crash": repr(crash)}]
    seen = reading.seen
    base |= {
        "photo_status": reading.status, "photo_reasons": list(reading.reasons), "ms": 0.0,
        "card_found": seen.card_found, "strip_found": seen.strip_found,
        "card_de00": seen.delta_e00_median,
    }  # fmt: skip
    truth: list[Row | None] = [None] * len(reading.pads)
    if sheet.laid is None:
        truth = [{"value": value, "lab": lab} for _, value, lab in photo.truth]
    return [base | pad_row(pad, truth[i], sheet.pads.kind) for i, pad in enumerate(reading.pads)]


def line(name: str, rows: list[Row]) -> str:
    """One line of the report."""
    met = figures.summary(rows)
    reasons = Counter(
        code
        for row in {r["seed"]: r for r in rows}.values()
        for code in row.get("photo_reasons", [])
    )
    of_pads = Counter(code for row in rows for code in row.get("reasons", ()))
    only = {c: n for c, n in of_pads.most_common(4) if c not in reasons}
    told = ", ".join(f"{c} {n}" for c, n in [*reasons.most_common(3), *only.items()])
    return (
        f"{name:18}{met['photos']:3d} {100 * met['found']:6.0f} {100 * met['accepted']:7.0f} "
        f"{met['de00_median']:6.2f} {met['de00_p95']:6.2f} {met['rms_steps']:6.2f} "
        f"{100 * met['coverage']:6.0f} {met['width_median']:6.2f} {wrong(rows):6d} "
        f"  {told}"
    )


def spoiled_line(rows: list[Row]) -> str:
    """One fault's line, with what it is told apart by."""
    return "\n".join(spoiled_lines({rows[0]["group"]: rows})[2:-1])


def wrong(rows: list[Row]) -> int:
    """Pads accepted though more than one step wrong."""
    return sum(
        row.get("status") == "accepted" and abs(row["steps"] - row["true_steps"]) > 1
        for row in rows
    )


def verdict(name: str, rows: list[Row]) -> str:
    """`met`, or what failed."""
    must = MUST.get(name, "read")
    if name.startswith("spoiled"):
        met = figures.spoiled(rows)
        good = not met["wrong"] and met["named"] == met["photos"] and not met["crashes"]
        return "met" if good else "WRONG" if met["wrong"] else "UNNAMED"
    if any("crash" in row for row in rows):
        return "CRASH"
    if wrong(rows) or (must == "refuse" and any(r["status"] == "accepted" for r in rows)):
        return "WRONG"
    if must == "read" and not all(row["status"] != "unreadable" for row in rows):
        return "UNREAD"
    return "met"


def main(argv: list[str]) -> int:
    """Read all variants; 0 where all came out as they must."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench holdout",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seeds", default="1-4")
    parser.add_argument("--only", help="names of variants, with commas between")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args(argv)
    first, _, last = args.seeds.partition("-")
    known = [*VARIANTS, *(f"spoiled {name}" for name in FAULTS)]
    names = args.only.split(",") if args.only else known
    unknown = [name for name in names if name not in known]
    if unknown:
        parser.error(f"no variant is named {unknown[0]!r}; there are: {', '.join(known)}")
    tasks = [(name, s) for name in names for s in range(int(first), int(last or first) + 1)]
    print(
        f"{'':18}  n  found  accept   dE00    p95    RMS  holds  width  wrong  reasons, whether met"
    )
    rows: list[Row] = []
    failed = 0
    start = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(args.jobs, mp_context=start) as pool:
        for name, part in grouped(tasks, pool.map(read_plain, tasks)):
            told = spoiled_line(part) if name.startswith("spoiled") else line(name, part)
            print(told, verdict(name, part), flush=True)
            failed += verdict(name, part) != "met"
            rows += part
    if args.json:
        args.json.write_text(json.dumps(rows, default=plain_number), "utf-8")
    print(f"{failed} of {len(names)} variants did not come out as they must")
    return 1 if failed else 0


def grouped(tasks: list[tuple[str, int]], results: Any) -> Any:
    """Yield each variant's name with its rows, as they come."""
    part: list[Row] = []
    for (name, _), rows, following in zip(
        tasks, results, [*(t[0] for t in tasks[1:]), None], strict=True
    ):
        part += rows
        if following != name:
            yield name, part
            part = []


def plain_number(value: Any) -> Any:
    """Numpy's numbers for JSON."""
    return value.item() if isinstance(value, np.generic) else str(value)
