"""The files a shop keeps beside its photos: calibration table, measured card."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping

import numpy as np

from reader.card import Card
from tests.render.inks import Print
from tests.render.pads import Pads
from tests.render.spectra import Array

HEADER = ("strip", "lot", "pad", "analyte", "unit", "read_after_s", "centre_mm", "size_mm", "value")
REPEATS = ("n", "sL", "sa", "sb", "rLa", "rLb", "rab")


def block_rows(pads: Pads) -> list[tuple[tuple[object, ...], Array]]:
    """First columns and true Lab of every block."""
    kind = pads.kind
    return [
        (
            (kind.name, f"lot-{pads.seed}", number, pad.analyte, pad.unit, pad.read_after_s,
             kind.centre_mm(number), kind.pad_mm, f"{value:g}"),
            lab,
        )
        for number, pad, value, lab in pads.blocks()
    ]  # fmt: skip


def written(header: tuple[str, ...], rows: list[tuple[object, ...]]) -> str:
    """CSV text."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


def truth_table(pads: Pads) -> str:
    """A table as a spectrophotometer would make it from unspoilt strips of the lot."""
    rows = [(*first, *(f"{x:.2f}" for x in lab)) for first, lab in block_rows(pads)]
    return written((*HEADER, "L", "a", "b"), rows)


def photo_table(pads: Pads, read: Callable[[int, float], Array]) -> str:
    """A table from repeat photos: `read(pad, value)` gives the Lab of the repeats, (n, 3)."""
    rows = []
    for first, _ in block_rows(pads):
        labs = read(int(str(first[2])), float(str(first[8])))
        spread = labs.std(axis=0, ddof=1)
        bonds = np.corrcoef(labs, rowvar=False)
        numbers = [f"{x:.3f}" for x in (*labs.mean(axis=0), *spread)]
        numbers += [f"{bonds[i, j]:.3f}" for i, j in ((0, 1), (0, 2), (1, 2))]
        rows.append((*first, *numbers[:3], len(labs), *numbers[3:]))
    return written((*HEADER, "L", "a", "b", *REPEATS), rows)


def measured_card(card: Card, paper: Print, noise: float = 0.25) -> Mapping[str, Array]:
    """The print's patches as an instrument reports them."""
    labs = paper.measured(np.array([patch.lab for patch in card.patches]), noise)
    return {patch.id: lab for patch, lab in zip(card.patches, labs, strict=True)}


def cgats(labs: Mapping[str, Array], described: str) -> str:
    """The measured card as CGATS.17 text."""
    rows = [f"{name} {lab[0]:.2f} {lab[1]:.2f} {lab[2]:.2f}" for name, lab in labs.items()]
    head = ["CGATS.17", "", 'ORIGINATOR "dipstep renderer"', f'DESCRIPTOR "{described}"']
    form = ["NUMBER_OF_FIELDS 4", "BEGIN_DATA_FORMAT", "SAMPLE_ID LAB_L LAB_A LAB_B"]
    body = ["END_DATA_FORMAT", f"NUMBER_OF_SETS {len(rows)}", "BEGIN_DATA", *rows, "END_DATA"]
    return "\n".join([*head, *form, *body, ""])
