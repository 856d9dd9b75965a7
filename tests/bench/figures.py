"""Figures of readings against the truth, with bootstrap intervals over photos."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

Row = dict[str, Any]

WHOLLY_WRONG = ("no_card", "no_strip", "reversed", "other_strip", "screen", "upside_down")
"""Faults under which no pad can be right: any accepted pad is a wrong one."""


NAMES = {
    "glare": {"glare", "clipped"},
    "hard_shadow": {"shadow_on_pad", "hard_shadow"},
    "blur": {"blurred", "too_blurred", "nothing_sharp"},
    "over": {"overexposed", "clipped"},
    "under": {"underexposed"},
    "cut_off": {"card_cut_off", "strip_cut_off"},
    "no_card": {"no_card"},
    "no_strip": {"no_strip"},
    "reversed": {"strip_reversed"},
    "other_strip": {"other_strip", "colours_off_chart"},
    "bleached": {"maybe_bleached", "off_curve"},
    "dirty": {"dirty", "uneven_pad"},
    "two_strips": {"two_strips"},
    "finger": {"pad_covered", "something_over_strip"},
    "printed_copy": {"card_colours_wrong"},
    "screen": {"screen_photo"},
}
"""Reasons that name each fault of the client's list; the other faults have no name of their own."""


def said(rows: Sequence[Row]) -> list[Row]:
    """Rows of pads with a value and a truth."""
    return [row for row in rows if "steps" in row and "true_steps" in row]


def errors(rows: Sequence[Row]) -> np.ndarray:
    """Value errors [blocks]."""
    return np.array([row["steps"] - row["true_steps"] for row in rows])


def holds(row: Row) -> bool:
    """Whether the band holds the truth."""
    return bool(row["low"] - 1e-9 <= row["true_steps"] <= row["high"] + 1e-9)


def share(parts: Sequence[bool]) -> float:
    """Share of true ones; NaN of none."""
    return float(np.mean(parts)) if len(parts) else float("nan")


def quantile(values: Sequence[float], at: float) -> float:
    """Quantile; NaN of none."""
    return float(np.quantile(values, at)) if len(values) else float("nan")


def summary(rows: Sequence[Row]) -> dict[str, float]:
    """The figures of one group of rows."""
    whole = [row for row in rows if "crash" not in row]
    photos = {row["seed"]: row for row in whole}
    accepted = [row for row in said(whole) if row["status"] == "accepted"]
    colours = [row["de00"] for row in whole if "de00" in row]
    off = errors(accepted)
    return {
        "photos": len({row["seed"] for row in rows}),
        "crashes": sum("crash" in row for row in rows),
        "found": share([p["card_found"] and p["strip_found"] for p in photos.values()]),
        "accepted": share([row["status"] == "accepted" for row in whole]),
        "unreadable": share([row["status"] == "unreadable" for row in whole]),
        "de00_median": quantile(colours, 0.5),
        "de00_p95": quantile(colours, 0.95),
        "rms_steps": float(np.sqrt(np.mean(off**2))) if len(off) else float("nan"),
        "bias_steps": float(off.mean()) if len(off) else float("nan"),
        "coverage": share([holds(row) for row in accepted]),
        "coverage_all": share([holds(row) for row in said(whole)]),
        "width_median": quantile([row["width"] for row in accepted], 0.5),
        "wrong_per_1000": 1000 * share([bool(abs(e) > 1.0) for e in off]),
        "ms_median": quantile([p["ms"] for p in photos.values()], 0.5),
    }


def intervals(
    rows: Sequence[Row], keys: Sequence[str], rounds: int = 300
) -> dict[str, tuple[float, float]]:
    """95 % bootstrap intervals of figures, whole photos drawn again."""
    photos: dict[int, list[Row]] = {}
    for row in rows:
        photos.setdefault(row["seed"], []).append(row)
    packs = list(photos.values())
    rng = np.random.default_rng(1)
    values: dict[str, list[float]] = {key: [] for key in keys}
    for _ in range(rounds):
        drawn = rng.integers(len(packs), size=len(packs))
        again = summary([{**row, "seed": n} for n, i in enumerate(drawn) for row in packs[i]])
        for key in keys:
            values[key].append(again[key])
    return {key: ends(found) for key, found in values.items()}


def interval(rows: Sequence[Row], key: str, rounds: int = 300) -> tuple[float, float]:
    """95 % bootstrap interval of one figure."""
    return intervals(rows, [key], rounds)[key]


def ends(values: Sequence[float]) -> tuple[float, float]:
    """The middle 95 % of values, those that could not be told left out."""
    told = [value for value in values if np.isfinite(value)]
    return quantile(told, 0.025), quantile(told, 0.975)


def by(rows: Sequence[Row], key: str) -> dict[str, list[Row]]:
    """Rows by what stands under a key."""
    parts: dict[str, list[Row]] = {}
    for row in rows:
        if key in row:
            parts.setdefault(str(row[key]), []).append(row)
    return dict(sorted(parts.items()))


def wrongly_accepted(row: Row) -> bool:
    """Whether a pad of a spoiled photo was accepted though it is wrong."""
    if row.get("status") != "accepted":
        return False
    if row["kind"] in WHOLLY_WRONG or "true_steps" not in row:
        return True
    off = abs(row["steps"] - row["true_steps"])
    spoilt = not row["fault_pads"] or row["pad"] in row["fault_pads"]
    return bool(off > 1.0 or (spoilt and off > 0.5 and not holds(row)))


def names_fault(kind: str, reasons: set[str]) -> bool:
    """Whether one of the reasons names the fault."""
    return bool(NAMES.get(kind, reasons) & reasons)


def spoiled(rows: Sequence[Row]) -> dict[str, Any]:
    """How one fault was met: photos accepted, pads wrongly accepted, reasons given."""
    whole = [row for row in rows if "crash" not in row]
    photos = {row["seed"]: row for row in whole}
    given = {seed: set(photo["photo_reasons"]) for seed, photo in photos.items()}
    for row in whole:
        given[row["seed"]].update(row["reasons"])
    codes = Counter(code for reasons in given.values() for code in sorted(reasons))
    return {
        "photos": len({row["seed"] for row in rows}),
        "crashes": sum("crash" in row for row in rows),
        "photos_accepted": sum(p["photo_status"] == "accepted" for p in photos.values()),
        "accepted_seeds": [s for s, p in photos.items() if p["photo_status"] == "accepted"],
        "pads_accepted": sum(row["status"] == "accepted" for row in whole),
        "named": sum(names_fault(photo["kind"], given[seed]) for seed, photo in photos.items()),
        "wrong": sum(wrongly_accepted(row) for row in whole),
        "wrong_seeds": sorted({row["seed"] for row in whole if wrongly_accepted(row)}),
        "reasons": dict(codes.most_common(5)),
    }
