"""Tables from the chart printed on a bottle, photographed beside the card: how well they read.

The chart is a maker's print of the pads of the make's usual lot: his press is off by as much as
presses are, his inks match the dyes under D50 only, and the shop's strips are of another lot. A
person lays the grid over it by hand.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from tests.bench.figures import summary
from tests.bench.photo_sets import Job, setting_of
from tests.bench.readings import card_for, read_one
from tests.bench.two_cards import Beside, Sheet, photo_and_stand
from tests.render import strips
from tests.render.inks import Print
from tests.render.pads import Pads
from tests.render.pose import Pose
from tests.render.spectra import Array, bell, de00, lab_d50

Row = dict[str, Any]

BLOCK_MM, PITCH_MM, RIM_MM = (9.0, 7.0), (10.5, 9.0), 6.0
"""A block's sides, the way from one to the next, and the white rim of a bottle's chart."""

SHAKY = 0.06
"""Standard deviation of a corner laid by hand, as a share of a block's side."""


PRESS_SD = (1.0, 1.6, 1.8)
"""Standard deviation in L, a, b of a maker's press with spot inks against what it should print:
about 1.7 median and 4 at 95 % in CIEDE2000 (assumption)."""


def printed(kind: strips.StripKind, shop: int) -> tuple[Array, list[tuple[int, float]]]:
    """Reflectances (n, 71) of a maker's printed blocks; their pads and values."""
    usual = Pads(shop + 40_000, kind_name(kind)).blocks()
    rng = np.random.default_rng([shop, 43])
    wanted = np.array([lab for *_, lab in usual])
    press = Print(shop + 41_000, "plain", other=bool(shop % 3 == 0))
    asked = wanted + rng.normal(0, PRESS_SD, wanted.shape)
    return spot(press.reflectance(wanted), asked), [(pad, value) for pad, _, value, _ in usual]


def spot(reflectance: Array, wanted: Array) -> Array:
    """Reflectances as near as spot inks come to colours that four inks miss, (n, 71)."""
    bands = np.stack([bell(centre, 55.0) for centre in (450.0, 540.0, 620.0)])
    density = np.zeros((len(wanted), 3))

    def lab(amount: Array) -> Array:
        return lab_d50(np.clip(reflectance * np.exp(-amount @ bands), 0.004, 0.95))

    for _ in range(25):
        off = lab(density) - wanted
        slopes = np.stack([(lab(density + 1e-4 * e) - wanted - off) / 1e-4 for e in np.eye(3)], 2)
        normal = np.einsum("nij,nik->njk", slopes, slopes) + 0.3 * np.eye(3)
        move = np.linalg.solve(normal, np.einsum("nij,ni->nj", slopes, off)[..., None])[..., 0]
        density = np.clip(density - move, -0.7, 3.0)
    return np.clip(reflectance * np.exp(-density @ bands), 0.004, 0.95)


def kind_name(kind: strips.StripKind) -> str:
    """The family's name."""
    return next(name for name, one in strips.FAMILIES.items() if one is kind)


def sheet_of(kind: strips.StripKind, spectra: Array, paper: Array) -> Sheet:
    """The chart on its paper: one row a pad."""
    boxes = [
        (RIM_MM + j * PITCH_MM[0], RIM_MM + i * PITCH_MM[1], *BLOCK_MM)
        for i, pad in enumerate(kind.pads)
        for j in range(len(pad.blocks))
    ]
    longest = max(len(pad.blocks) for pad in kind.pads)
    size = (2 * RIM_MM + longest * PITCH_MM[0], 2 * RIM_MM + len(kind.pads) * PITCH_MM[1])
    return Sheet(size, tuple(boxes), spectra, paper)


def grid_of(kind: strips.StripKind, sheet: Sheet, view: Pose, shop: int, seed: int) -> str:
    """The grid as the page sends it, each corner a little off."""
    rng = np.random.default_rng([seed, 77])
    size, boxes = np.array([view.width_px, view.height_px]), iter(sheet.boxes_mm)
    rows = []
    for i, pad in enumerate(kind.pads, 1):
        blocks = []
        for value in pad.blocks:
            x, y, w, h = next(boxes)
            ring = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
            ring = ring + rng.normal(0, SHAKY, ring.shape) * np.array([w, h])
            blocks.append({"value": value, "corners": (view.to_px(ring) / size).tolist()})
        rows.append(
            {"pad": i, "analyte": pad.analyte, "unit": pad.unit, "read_after_s": pad.read_after_s,
             "centre_mm": kind.centre_mm(i), "size_mm": kind.pad_mm, "blocks": blocks}
        )  # fmt: skip
    return json.dumps({"strip": kind.name, "lot": f"lot-{shop}", "rows": rows})


def chart_table(shop: int, other: bool, light: str) -> tuple[dict[str, Any], Array]:
    """What the product says of the shop's chart, and the blocks' distances from the pads' colours.

    Distances are CIEDE2000 of the colour as seen from the pad of the shop's own lot.
    """
    from api.chart import load_grid, read_chart
    from api.named import Named
    from reader.card_files import write_cgats

    job = Job("chart", "good", 0, other=other, shop=shop)
    setting = setting_of(job)
    kind = strips.FAMILIES[setting.family]
    spectra, blocks = printed(kind, shop)
    sheet = sheet_of(kind, spectra, Print(shop + 41_000, "plain").white())
    what = Beside(setting.paper(), None, shop, light, other, sheet=sheet)
    data, view = photo_and_stand(what, 1000 * shop + 7)
    card = card_for(job)
    labs = {patch.id: patch.lab for patch in card.patches}
    grid = load_grid(grid_of(kind, sheet, view, shop, shop))
    said = read_chart(Named("chart.jpg", data), grid, Named("card.txt", write_cgats(labs).encode()))
    own = Pads(setting.lot_seed, setting.family)
    off = [
        float(de00(np.array(block["lab"]), own.lab(kind.pads[pad - 1].analyte, value)))
        for block, (pad, value) in zip(said["blocks"], blocks, strict=False)
        if block["lab"] is not None
    ]
    return said, np.array(off)


def rows_of(shop: int, other: bool, light: str, tests: int) -> tuple[list[Row], Array, str | None]:
    """Rows of test photos read with the shop's chart; the blocks' distances; what went wrong."""
    said, off = chart_table(shop, other, light)
    if said["table"] is None:
        return [], off, said["trouble"] or "; ".join(said["reasons"])
    rows = []
    for k in range(tests):
        job = Job("chart", "good", 100_000 * shop + 50_000 + k, other=other, light=light, shop=shop)
        rows += read_one((job, said["table"]))
    return rows, off, None


def figures(shops: Sequence[int], other: bool, light: str, tests: int) -> dict[str, Any]:
    """Readings with tables from printed charts, over all shops."""
    parts = [rows_of(shop, other, light, tests) for shop in shops]
    rows = [row for part in parts for row in part[0]]
    off = np.concatenate([part[1] for part in parts])
    read = summary(rows)
    keys = ("photos", "accepted", "rms_steps", "coverage", "coverage_all", "width_median",
            "wrong_per_1000")  # fmt: skip
    return {
        "shops": len(shops),
        "refused": [part[2] for part in parts if part[2]],
        "block_de00_median": round(float(np.median(off)), 2),
        "block_de00_p95": round(float(np.quantile(off, 0.95)), 2),
        **{key: round(read[key], 3) for key in keys},
    }
