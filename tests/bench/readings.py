"""Read rendered photos through the product and set what it said beside the truth."""

from __future__ import annotations

import multiprocessing
import time
import traceback
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from typing import Any

import cv2
import numpy as np

from tests.bench.photo_sets import Job, photo_of, setting_of
from tests.render import strips, tables
from tests.render.pads import Pads, chart_steps
from tests.render.spectra import Array, de00

Row = dict[str, Any]


@lru_cache(maxsize=8)
def table_of(lot: int, family: str, text: str | None) -> tuple[Any, Any]:
    """The table of a lot with its fitted curves; `text` overrides the instrument's table."""
    from api.measure import curves_of
    from calibration import load_table

    table = load_table(text or tables.truth_table(Pads(lot, family)), "table.csv")
    return table, curves_of(table)


def card_for(job: Job) -> Any:
    """The card the reader is given: our layout, with the print's measured colours where asked."""
    from reader.card import standard_card, with_measured

    card = standard_card()
    if not job.measured:
        return card
    setting = setting_of(job)
    labs = tables.measured_card(setting.card, setting.paper())
    return with_measured(card, {name: tuple(map(float, lab)) for name, lab in labs.items()})


def read_one(task: tuple[Job, str | None]) -> list[Row]:
    """Rows of one photo, one a pad; never raises: a crash is a row of its own."""
    job, text = task
    cv2.setNumThreads(1)
    data, truth = photo_of(job)
    setting = setting_of(job)
    table, curves = table_of(setting.lot_seed, setting.family, text)
    base = {
        "group": job.group, "kind": job.kind, "seed": job.seed, "light": truth["light"]["kind"],
        "px_per_mm": truth["pose"]["px_per_mm"], "tilt": truth["pose"]["tilt_deg"],
        "family": setting.family, "fault_pads": truth["fault_pads"],
    }  # fmt: skip
    from api.measure import measure

    start = time.perf_counter()
    try:
        reading = measure(data, card_for(job), table, None, curves)
    except Exception:  # the benchmark must go on, and tell
        return [{**base, "crash": traceback.format_exc(limit=4)}]
    took = time.perf_counter() - start
    seen = reading.seen
    base |= {
        "ms": 1000 * took, "photo_status": reading.status, "photo_reasons": list(reading.reasons),
        "card_found": seen.card_found, "strip_found": seen.strip_found,
        "card_de00": seen.delta_e00_median,
    }  # fmt: skip
    shown = truth["strips"][0]["pads"] if truth["strips"] else []
    same = (
        not truth["strips"] or truth["strips"][0]["strip"] == strips.FAMILIES[setting.family].name
    )
    kind = strips.FAMILIES[setting.family]
    return [base | pad_row(pad, shown[i] if same and shown else None, kind)
            for i, pad in enumerate(reading.pads)]  # fmt: skip


def pad_row(pad: Any, truth: Row | None, strip: strips.StripKind) -> Row:
    """What was said of one pad, in units and in blocks of its chart, beside the truth."""
    kind = strips.pad_of(strip, pad.chart.analyte)
    last = len(kind.blocks) - 1.0

    def blocks(value: float | None, end: float) -> float:
        return end if value is None else chart_steps(kind, float(value))

    row: Row = {"pad": pad.chart.pad, "analyte": pad.chart.analyte, "status": pad.status,
                "reasons": list(pad.reasons)}  # fmt: skip
    found = pad.estimate
    if found is not None and pad.status != "unreadable":
        row |= {
            "steps": chart_steps(kind, float(found.value)), "value": float(found.value),
            "low": blocks(found.low, -np.inf), "high": blocks(found.high, np.inf),
        }  # fmt: skip
        row["width"] = min(row["high"], last) - max(row["low"], 0.0)
    if truth is not None:
        row |= {"true_value": truth["value"], "true_steps": chart_steps(kind, truth["value"])}
        if pad.lab is not None:
            row["de00"] = float(de00(np.asarray(pad.lab), np.asarray(truth["lab"])))
            row["off"] = (np.asarray(pad.lab) - np.asarray(truth["lab"])).round(3).tolist()
    return row


def read_all(tasks: Sequence[tuple[Job, str | None]], jobs: int) -> list[Row]:
    """Rows of all photos, in order, by a pool of fresh processes."""
    if jobs <= 1:
        return [row for task in tasks for row in read_one(task)]
    start = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, mp_context=start) as pool:
        return [row for rows in pool.map(read_one, tasks, chunksize=2) for row in rows]


def lab_of_pads(job: Job) -> dict[int, Array]:
    """Colours the reader sees on the pads of one photo; unreadable ones are missing."""
    from api.measure import places
    from reader.read_strip import read_strip

    cv2.setNumThreads(1)
    data, _ = photo_of(job)
    setting = setting_of(job)
    table, _ = table_of(setting.lot_seed, setting.family, None)
    seen = read_strip(data, card_for(job), places(table))
    return {pad.pad: np.asarray(pad.lab) for pad in seen.pads if pad.lab is not None}


def photo_tables(shops: Iterable[int], repeats: int, first_seed: int, jobs: int,
                 pixels: float) -> dict[int, str]:  # fmt: skip
    """For each shop a table made of `repeats` photos a block in daylight, as CSV text."""
    plan = [
        Job("table", "good", first_seed + 1000 * shop + 10 * block + again, light="daylight",
            shop=shop, block=block, pixels=pixels)
        for shop in shops for block in range(6) for again in range(repeats)
    ]  # fmt: skip
    start = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max(jobs, 1), mp_context=start) as pool:
        colours = list(pool.map(lab_of_pads, plan, chunksize=4))
    texts = {}
    for shop in sorted({job.shop for job in plan if job.shop is not None}):
        setting = setting_of(next(job for job in plan if job.shop == shop))
        pads = Pads(setting.lot_seed, setting.family)
        of_shop = [(j.block, c) for j, c in zip(plan, colours, strict=True) if j.shop == shop]

        def read(pad: int, value: float, rows: Any = of_shop, kind: Any = pads.kind) -> Array:
            block = [float(b) for b in kind.pads[pad - 1].blocks].index(value)
            return np.array([seen[pad] for at, seen in rows if at == block and pad in seen])

        texts[shop] = tables.photo_table(pads, read)
    return texts
