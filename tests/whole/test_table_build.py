"""From rendered photos of dipped strips to a table, and a new lot against it."""

import json
import shutil

import cv2
import pytest

from api.cli import main
from calibration.curve import fit_curve
from calibration.table import load_table
from reader.card import standard_card
from tests.render.pads import Pads
from tests.render.shots import Setting
from tests.render.truth import render

PLACES = (1, 2, 3, 4)
"""Blocks of every chart that are dipped."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """A folder with eight photos in four waters, the list of them and the strip file."""
    cv2.setNumThreads(1)
    folder = tmp_path_factory.mktemp("shop")
    kind = Pads(5).kind
    runs = ["photo,analyte,value"]
    for place in PLACES:
        values = tuple(float(pad.blocks[place]) for pad in kind.pads)
        for k in range(2):
            setting = Setting(
                *(standard_card(), 5, "office", 5), phone_seed=5, light_kind="daylight",
                pixels=2.0e6, values=values,
            )  # fmt: skip
            data, _ = render(setting, 900 + 10 * place + k, "good")
            name = f"{place}-{k}.jpg"
            (folder / name).write_bytes(data)
            runs += [f"{name},{p.analyte},{v:g}" for p, v in zip(kind.pads, values, strict=True)]
    (folder / "runs.csv").write_text("\n".join(runs) + "\n")
    strip = ["strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm"]
    strip += [
        f"{kind.name},L5,{i},{p.analyte},{p.unit},15,{kind.centre_mm(i):g},{kind.pad_mm:g}"
        for i, p in enumerate(kind.pads, 1)
    ]
    (folder / "strip.csv").write_text("\n".join(strip) + "\n")
    return folder


def run(capsys, *args):
    status = main(["table", *map(str, args)])
    told = capsys.readouterr()
    return status, told.out, told.err


def build(capsys, shop, runs="runs.csv", out="table.csv"):
    more = ("--strip", shop / "strip.csv", "--out", shop / out, "--json")
    return run(capsys, "build", shop / runs, *more)


def test_photos_become_a_table_that_reads(shop, capsys):
    status, out, err = build(capsys, shop)

    assert (status, err) == (0, "")
    answer = json.loads(out)
    table = load_table((shop / "table.csv").read_text(), "table.csv")
    assert len(table.charts) == 7
    assert answer["check"]["verdict"] in ("good", "doubtful")
    for chart in table.charts:
        assert [block.n for block in chart.blocks] == [2] * len(PLACES)
        assert fit_curve(chart).has_repeats
    photo, table_at = shop / "2-0.jpg", shop / "table.csv"
    main(["read", str(photo), "--table", str(table_at), "--json"])
    read = json.loads(capsys.readouterr().out)
    by_name = {pad["analyte"]: pad for pad in read["readings"]}
    assert by_name["ph"]["value"] == pytest.approx(7.2, abs=0.15)
    assert by_name["total_alkalinity"]["value"] == pytest.approx(80, rel=0.2)


def test_an_empty_photo_is_named_and_the_rest_is_used(shop, capsys):
    card_only = Setting(standard_card(), 5, "office", 5, phone_seed=5, pixels=2.0e6)
    (shop / "empty.jpg").write_bytes(render(card_only, 990, "no_strip")[0])
    text = (shop / "runs.csv").read_text() + "empty.jpg,ph,7.2\n"
    (shop / "more.csv").write_text(text)

    status, out, _ = build(capsys, shop, "more.csv", "more-table.csv")

    assert status == 0
    assert any(note.startswith("empty.jpg: was left out:") for note in json.loads(out)["notes"])


def test_the_same_lot_passes_and_swapped_waters_fail(shop, capsys):
    build(capsys, shop)
    few = [line for line in (shop / "runs.csv").read_text().splitlines() if "-1.jpg" in line]
    head = "photo,analyte,value\n"
    (shop / "same.csv").write_text(head + "\n".join(few) + "\n")
    swapped = "\n".join(few).replace("2-1.jpg", "x").replace("3-1.jpg", "2-1.jpg")
    (shop / "other.csv").write_text(head + swapped.replace("x", "3-1.jpg") + "\n")
    table = shop / "table.csv"

    same = run(capsys, "compare", table, "--runs", shop / "same.csv", "--json")
    other = run(capsys, "compare", table, "--runs", shop / "other.csv", "--json")
    itself = run(capsys, "compare", table, table)

    assert (same[0], json.loads(same[1])["passed"]) == (0, True)
    assert (other[0], json.loads(other[1])["passed"]) == (0, False)
    assert itself[1].startswith("The new lot passes")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("gone.jpg,ph,7.2", "gone.jpg: no such file"),
        ("runs.csv,ph,7.2", "line 58: runs.csv: "),
        ("1-0.jpg,gold,7.2", "the strip has no pad for 'gold'"),
        ("1-0.jpg,ph,7.2", "ph of 1-0.jpg stands in line"),
        ("9-0.jpg,ph,high", "value 'high' is not a number"),
    ],
)
def test_bad_lists_get_their_sentence_and_write_nothing(shop, capsys, tmp_path, line, words):
    for name in ("strip.csv", "1-0.jpg", "runs.csv"):
        shutil.copy(shop / name, tmp_path / name)
    text = (shop / "runs.csv").read_text()
    if "runs.csv" in line or "gone" in line:
        text = "photo,analyte,value\n" + "\n" * 56
    (tmp_path / "runs.csv").write_text(text + line + "\n")

    status, out, err = build(capsys, tmp_path)

    assert (status, out) == (1, "")
    assert words in err
    assert err.startswith("dipstep: ")
    assert not (tmp_path / "table.csv").exists()
