"""Tables of many shops from photos without geometry: own ones, printed charts, odd strips, lots.

A photo is what the card's patches and the pads show to a phone (`tests.render.patches` says how),
so that dozens of shops take minutes. `calibration` does the same with whole photos of a few.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import cv2
import numpy as np

from tests.bench import card_fading
from tests.bench.patch_shots import fit_of, photo_of
from tests.bench.printed_charts import printed
from tests.render import develop, light, strips
from tests.render.camera import Camera
from tests.render.inks import Print
from tests.render.pads import Pads, chart_steps, value_at
from tests.render.spectra import Array

Row = dict[str, Any]
REPEATS = 4
DOUBTS = {"off_curve", "two_values", "wide_band"}


@dataclass(frozen=True)
class Shop:
    """One shop: its print, lot, phone and kind of light; odd numbers are of other makes."""

    number: int
    kind: strips.StripKind = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", strips.FAMILIES[self.family])

    @property
    def other(self) -> bool:
        """Of the hold-out population: other strips, inks, phones and lamps."""
        return bool(self.number % 2)

    @property
    def family(self) -> str:
        """The make of strip."""
        return ("tarnbeck", "oxwell")[self.number // 2 % 2] if self.other else "reedmere"

    @property
    def light(self) -> str:
        """The kind of light it works in."""
        return ("daylight", "good_led")[self.number // 4 % 2]

    @cached_property
    def plans(self) -> list[Any]:
        """Its strip file."""
        from calibration.table import PadPlan

        return [
            PadPlan(self.kind.name, f"lot-{self.number}", i, pad.analyte, pad.unit, 15.0,
                    self.kind.centre_mm(i), self.kind.pad_mm)
            for i, pad in enumerate(self.kind.pads, 1)
        ]  # fmt: skip

    @cached_property
    def known(self) -> tuple[Print, Array, Array, Any]:
        """The print, its patches' nominal and measured colours, and the measured card."""
        from reader.card import standard_card, with_measured

        card = standard_card()
        wanted = np.array([patch.lab for patch in card.patches])
        paper = Print(
            self.number, ("profiled", "plain", "office")[self.number % 3], other=self.other
        )
        labs = paper.measured(wanted)
        told = {p.id: tuple(map(float, lab)) for p, lab in zip(card.patches, labs, strict=True)}
        return paper, wanted, labs, with_measured(card, told)

    def seen(self, photo: int, reflectance: Array) -> tuple[Array, Array, Array]:
        """Colours (n, 3) of surfaces (n, 71) in one photo, their covariances and budgets."""
        from reader.budget import budget_of

        rng = np.random.default_rng([self.number, photo, 2])
        paper, wanted, labs, card = self.known
        lamp = light.make(self.light, int(rng.integers(1_000_000)), self.other)
        camera = Camera(self.number, "other" if self.other else "phone")
        look, sheet = develop.draw_look(rng, False, self.other), paper.white(lamp.near_uv)
        shown = photo_of(rng, lamp, camera, look, sheet)
        fit = fit_of(shown, paper.reflectance(wanted, lamp.near_uv), sheet, labs)
        lab, cov = fit.read(shown(reflectance), np.zeros((len(reflectance), 2)))
        budget = budget_of(fit, card)
        noise = np.array([budget.print_at(one) for one in lab]) + 0.01 * np.eye(3)
        return lab, cov + noise, np.array([budget.at(one) for one in lab])

    def dipped(self, photo: int, values: Sequence[float]) -> tuple[Array, Array, Array]:
        """The same of a strip in a water of these values."""
        pads = Pads(self.number, self.family, strip=photo)
        both = zip(self.kind.pads, values, strict=True)
        return self.seen(photo, np.stack([pads.reflectance(p.analyte, v) for p, v in both]))

    def standards(self) -> list[Any]:
        """All pads of four strips in each known water."""
        from calibration.standards import StandardPad

        found = []
        for block in range(max(len(pad.blocks) for pad in self.kind.pads)):
            values = [pad.blocks[min(block, len(pad.blocks) - 1)] for pad in self.kind.pads]
            for k in range(REPEATS):
                labs, _, _ = self.dipped(100 + 10 * block + k, values)
                found += [
                    StandardPad(f"{block}-{k}.jpg", i, float(values[i - 1]), lab)
                    for i, lab in enumerate(labs, 1)
                    if block < len(self.kind.pads[i - 1].blocks)
                ]
        return found

    def tests(self, count: int) -> list[list[Row]]:
        """Pads of strips in waters drawn over the charts, photo by photo."""
        photos = []
        for k in range(count):
            rng = np.random.default_rng([self.number, k, 9])
            values = [value_at(p, rng.uniform(0, len(p.blocks) - 1)) for p in self.kind.pads]
            both = zip(*self.dipped(1000 + k, values), strict=True)
            photos.append(
                [
                    {"pad": i, "analyte": self.kind.pads[i - 1].analyte, "lab": lab, "cov": cov,
                     "budget": budget, "at": chart_steps(self.kind.pads[i - 1], values[i - 1])}
                    for i, (lab, cov, budget) in enumerate(both, 1)
                ]
            )  # fmt: skip
        return photos


def read(shop: Shop, table: Any, photos: Sequence[Sequence[Row]]) -> list[Row]:
    """What the table makes of each pad, in steps beside the truth."""
    from calibration.curve import fit_curve
    from calibration.estimate import estimate
    from reader.pads import SAMPLE_DOF

    curves = {chart.pad: fit_curve(chart) for chart in table.charts}
    rows = []
    for pad in (pad for photo in photos for pad in photo if pad["pad"] in curves):
        curve, kind = curves[pad["pad"]], shop.kind.pads[pad["pad"] - 1]
        cov = pad["cov"] if curve.has_repeats else pad["cov"] + pad["budget"]
        found = estimate(curve, pad["lab"], cov, 0.95, SAMPLE_DOF)
        low = -9.0 if found.low is None else chart_steps(kind, found.low)
        high = 99.0 if found.high is None else chart_steps(kind, found.high)
        rows.append(
            {
                "analyte": pad["analyte"],
                "off": chart_steps(kind, found.value) - pad["at"],
                "holds": low - 1e-9 <= pad["at"] <= high + 1e-9,
                "width": min(high, len(kind.blocks) - 1.0) - max(low, 0.0),
                "clear": not DOUBTS & set(found.reasons),
            }
        )
    return rows


def told(rows: Sequence[Row]) -> Row:
    """Error, coverage and width of readings without doubt, and how many those are."""
    clear = [row for row in rows if row["clear"]]
    if not clear:
        return {"n": len(rows), "clear": 0.0}
    return {
        "n": len(rows),
        "clear": round(len(clear) / len(rows), 3),
        "rms_steps": round(float(np.sqrt(np.mean([row["off"] ** 2 for row in clear]))), 3),
        "coverage": round(float(np.mean([row["holds"] for row in clear])), 3),
        "coverage_all": round(float(np.mean([row["holds"] for row in rows])), 3),
        "width_median": round(float(np.median([row["width"] for row in clear])), 3),
    }


def chart_table(shop: Shop) -> Any:
    """The table from the maker's printed chart."""
    from calibration.printed_chart import ChartBlock, table_from_chart

    spectra, blocks = printed(shop.kind, shop.number)
    labs, _, _ = shop.seen(1, spectra)
    marked = [ChartBlock(pad, v, lab) for (pad, v), lab in zip(blocks, labs, strict=True)]
    return table_from_chart(shop.plans, marked)


def exchanges(shop: Shop, found: Sequence[Any], table: Any, runs: int) -> list[Row]:
    """Two photos exchanged between waters: named or not, and by how much values move."""
    from calibration.curve import fit_curve
    from calibration.estimate import estimate
    from calibration.standards import StandardPad, table_from_standards

    rng, rows = np.random.default_rng([shop.number, 6]), []
    names = sorted({entry.photo for entry in found})
    labs = {(entry.photo, entry.pad): entry.lab for entry in found}
    for _ in range(runs):
        one, two = (str(name) for name in rng.choice(names, 2, replace=False))
        if one.split("-")[0] == two.split("-")[0]:
            continue
        other = {one: two, two: one}
        swapped = [
            StandardPad(
                e.photo, e.pad, e.value, labs.get((other.get(e.photo, e.photo), e.pad), e.lab)
            )
            for e in found
        ]
        try:
            built = table_from_standards(shop.plans, swapped)
        except ValueError as refused:
            rows.append({"refused": str(refused)})
            continue
        charts = {chart.pad: chart for chart in built.table.charts}
        moved = [
            abs(estimate(fit_curve(charts[c.pad]), b.lab, np.eye(3)).at
                - estimate(fit_curve(c), b.lab, np.eye(3)).at)
            for c in table.charts for b in c.blocks
        ]  # fmt: skip
        said = " ".join(built.told_aside)
        rows.append({"named": one in said and two in said, "moved": max(moved)})
    return rows


def lots(shop: Shop, table: Any, photos: Sequence[Any], runs: int, shift: float) -> list[bool]:
    """Whether three strips of a lot that shows `shift` steps too much fail the table."""
    from calibration.lots import Strip, compare_strips

    rng, failed = np.random.default_rng([shop.number, 5]), []
    pads = {chart.pad for chart in table.charts}
    for _ in range(runs):
        three: list[Any] = []
        for i in rng.choice(len(photos), 3, replace=False):
            for row in photos[i]:
                kind = shop.kind.pads[row["pad"] - 1]
                inside = abs(shift) <= row["at"] <= len(kind.blocks) - 1 - abs(shift)
                if row["pad"] in pads and inside:
                    value = value_at(kind, row["at"] - shift)
                    three.append(Strip(row["pad"], value, row["lab"], str(i)))
        failed.append(not compare_strips(table, three).passed)
    return failed


def bench_shop(shop: Shop, tests: int, runs: int) -> Row:
    """Everything of one shop."""
    from calibration.standards import table_from_standards
    from tests.bench.calibration import odd_in

    found, photos = shop.standards(), shop.tests(tests)
    built = table_from_standards(shop.plans, found)
    part: Row = {"aside": built.told_aside, "own": read(shop, built.table, photos)}
    part["chart"] = read(shop, chart_table(shop), photos)
    rng = np.random.default_rng([shop.number, 3])
    part["odd"] = odd_in(shop.plans, found, runs, rng)
    part["exchanged"] = exchanges(shop, found, built.table, runs)
    part["same"] = lots(shop, built.table, photos, runs, 0.0)
    part["shifted"] = [
        failed for shift in (0.3, -0.3) for failed in lots(shop, built.table, photos, runs, shift)
    ]
    return part


def main(argv: Sequence[str]) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench patch_tables", description=__doc__)
    parser.add_argument("--shops", type=int, default=16)
    parser.add_argument("--first", type=int, default=9000, help="number of the first shop")
    parser.add_argument("--tests", type=int, default=14, help="strips read with each table")
    parser.add_argument("--runs", type=int, default=8, help="odd strips, lots, exchanges a shop")
    parser.add_argument("--fading", type=int, default=0, help="cards watched in each way")
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args(argv)
    cv2.setNumThreads(1)
    parts = [bench_shop(Shop(args.first + i), args.tests, args.runs) for i in range(args.shops)]
    figures = collected(parts) if parts else {}
    if args.fading:
        figures |= card_fading.figures(args.first, args.fading, 36)
    if args.json:
        print(json.dumps(figures))
        return 0
    for name, value in figures.items():
        print(f"{name:26} {value}")
    return 0


def collected(parts: Sequence[Row]) -> Row:
    """The figures over all shops."""
    figures: Row = {}
    for table in ("own", "chart"):
        rows = [row for part in parts for row in part[table]]
        figures[f"{table} table"] = told(rows)
        for name in sorted({row["analyte"] for row in rows}):
            figures[f"{table} {name}"] = told([row for row in rows if row["analyte"] == name])
    odd = [one for part in parts for one in part["odd"]]
    far = [one for one in odd if one.get("off_de", 0.0) > 8.0 and "named" in one]
    pairs = [one for part in parts for one in part["exchanged"]]
    whole = [one for one in pairs if "named" in one]
    figures["clean strips set aside"] = sum(len(part["aside"]) for part in parts)
    figures["odd"] = {
        "n": len(far),
        "named": float(np.mean([one["named"] for one in far])),
        "moved_over_0.05": sum(one["moved"] > 0.05 for one in odd if "moved" in one),
        "refused": sum("refused" in one for one in odd),
    }
    figures["exchanged"] = {
        "n": len(pairs),
        "refused": len(pairs) - len(whole),
        "named": float(np.mean([one["named"] for one in whole])) if whole else None,
        "moved_median": round(float(np.median([one["moved"] for one in whole])), 3),
        "moved_over_0.05": sum(one["moved"] > 0.05 for one in whole),
    }
    for name, key in (("lot shifted, caught", "shifted"), ("same lot, failed", "same")):
        tries = [one for part in parts for one in part[key]]
        figures[name] = {"n": len(tries), "share": round(float(np.mean(tries)), 3)}
    return figures
