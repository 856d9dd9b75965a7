"""Measured cards are read as other programs write them, and faults are named by line."""

import subprocess
from importlib.resources import files

import pytest

from reader.card import standard_card, with_measured
from reader.card_files import CardFileError, read_measured, write_cgats, write_csv, write_cxf

COLOURS = {p.id: p.lab for p in standard_card().patches}
TWO = {"A1": (50.5, -1.25, 3.0), "B 2": (20.0, 0.0, -40.5)}


@pytest.mark.parametrize("write", [write_cgats, write_cxf, write_csv])
def test_what_is_written_is_read_back(write):
    assert read_measured(write(COLOURS).encode(), "card") == COLOURS
    assert with_measured(standard_card(), read_measured(write(COLOURS).encode(), "card")).measured


@pytest.mark.parametrize("write", [write_cgats, write_cxf, write_csv])
@pytest.mark.parametrize("ends", ["\r\n", "\n"])
@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16"])
def test_line_ends_and_marks_do_not_matter(write, ends, code):
    text = write(TWO).replace("\n", ends)
    if write is write_cxf:
        text = text.replace("UTF-8", "UTF-16" if code == "utf-16" else "UTF-8")
    assert read_measured(text.encode(code), "card") == TWO


CGATS = """\
ISO28178
# a comment, BEGIN_DATA
ORIGINATOR "a shop's own ""program\"""
NUMBER_OF_FIELDS 5
BEGIN_DATA_FORMAT
LAB_B sample_id XYZ_Y LAB_L
LAB_A
END_DATA_FORMAT
NUMBER_OF_SETS 2
BEGIN_DATA
3.0 A1 18.4 50.5 -1.25  # first
-40.5 "B 2" 3.0 20 0
END_DATA

BEGIN_DATA_FORMAT
INDEX DEVICE_R
END_DATA_FORMAT
BEGIN_DATA
1 0.5
END_DATA
"""


def test_cgats_in_any_order_with_quotes_comments_and_a_second_table():
    assert read_measured(CGATS.encode(), "card.txt") == TWO


def test_a_file_another_program_has_written_is_read(tmp_path):
    """Argyll's txt2ti3 numbers the samples and keeps their names in SAMPLE_LOC."""
    rows = "\n".join(
        f"{p} 128 {n} 0 {v[0]} {v[1]} {v[2]}" for n, (p, v) in enumerate(COLOURS.items())
    )
    (tmp_path / "in.txt").write_text(
        "CGATS.17\nNUMBER_OF_FIELDS 7\nBEGIN_DATA_FORMAT\n"
        "SAMPLE_ID RGB_R RGB_G RGB_B LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
        f"NUMBER_OF_SETS {len(COLOURS)}\nBEGIN_DATA\n{rows}\nEND_DATA\n"
    )
    subprocess.run(["txt2ti3", "in.txt", "out"], cwd=tmp_path, check=True, capture_output=True)
    read = read_measured((tmp_path / "out.ti3").read_bytes(), "out.ti3")
    assert {p: v for p, v in read.items()} == COLOURS


def test_another_program_reads_what_is_written(tmp_path):
    """Argyll's txt2ti3 takes the file as instrument readings beside device values."""
    device = "\n".join(f"{p} {n} 0 0" for n, p in enumerate(COLOURS))
    (tmp_path / "device.txt").write_text(
        "CGATS.17\nNUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_ID RGB_R RGB_G RGB_B\n"
        f"END_DATA_FORMAT\nNUMBER_OF_SETS {len(COLOURS)}\nBEGIN_DATA\n{device}\nEND_DATA\n"
    )
    (tmp_path / "measured.txt").write_text(write_cgats(COLOURS))
    subprocess.run(
        ["txt2ti3", "device.txt", "measured.txt", "out"],
        cwd=tmp_path, check=True, capture_output=True,
    )  # fmt: skip
    read = read_measured((tmp_path / "out.ti3").read_bytes(), "out.ti3")
    assert {p: pytest.approx(v, abs=1e-3) for p, v in read.items()} == COLOURS


@pytest.mark.published("cxf3-sample")
def test_a_published_cxf3_sample_is_read():
    """The sample of colour-cxf (BSD-3-Clause): 144 objects; the first three as they stand there."""
    data = files("colour_cxf").joinpath("tests", "resources", "sample.cxf").read_bytes()
    read = read_measured(data, "sample.cxf")
    assert len(read) == 144
    assert read["1"] == (17.64167, 1.076669, 0.3338588)
    assert read["2"] == (47.83558, 63.29078, 36.27213)
    assert read["3"] == (52.16195, -53.21359, 24.27447)


def test_our_cxf3_is_read_by_another_reader(tmp_path):
    import colour_cxf

    path = tmp_path / "card.cxf"
    path.write_text(write_cxf(TWO))
    read = colour_cxf.read_cxf_from_file(str(path))
    objects = read.resources.object_collection.object_value
    assert [o.name for o in objects] == ["A1", "B 2"]
    lab = objects[0].color_values.choice[0]
    assert (float(lab.l), float(lab.a), float(lab.b)) == TWO["A1"]


GOOD = write_cgats(TWO)
CXF = write_cxf(TWO)
BOMB = (
    '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]>'
    "<CxF>&b;</CxF>"
)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "card: this is neither CGATS.17 (BEGIN_DATA), nor CxF3, nor a CSV that begins"),
        ("hello", "card: this is neither CGATS.17"),
        ("id,L,a,b\n", "card: no patch was found"),
        ("id,L,a,b\nA1,50,1\n", "card, line 2: 3 cells for the columns id,L,a,b"),
        ("id,L,a,b\nA1,50,1,x\n", "card, line 2: b 'x' is not a number; use digits"),
        ("id,L,a,b\nA1,50,1,nan\n", "card, line 2: b 'nan' is not a number; use digits"),
        ("id,L,a,b\nA1,1,2,3\n\nA1,1,2,3\n", "card, line 4: patch 'A1' stands twice"),
        (GOOD.replace("LAB_L", "XYZ_X"), "card: no table with the fields LAB_L, LAB_A, LAB_B"),
        (GOOD.replace("SAMPLE_ID", "OTHER_ID"), "card: the table has no field SAMPLE_ID"),
        (GOOD.replace("50.5000", "50,5"), "card, line 11: LAB_L '50,5' is not a number"),
        (GOOD.replace("\t50.5000", ""), "card, line 11: 3 values for 4 fields"),
        (GOOD.replace("END_DATA\n", ""), "card, line 10: BEGIN_DATA has no END_DATA"),
        (GOOD.replace("SETS 2", "SETS 3"), "card: NUMBER_OF_SETS says 3 rows, but there are 2"),
        (GOOD.replace("B 2", "A1"), "card, line 12: patch 'A1' stands twice"),
        ("BEGIN_DATA\n1 2 3\nEND_DATA", "card, line 1: data without BEGIN_DATA_FORMAT"),
        (BOMB, "card, line 1: a document type is not allowed"),
        (CXF[:300], "card: this is no whole XML file"),
        ("<html></html>", "card, line 1: the file begins with 'html' and not CxF"),
        (CXF.replace("D50", "D65"), "card: Lab is given for D65 and 2_Degree"),
        (CXF.replace("2_Degree", "10_Degree"), "card: Lab is given for D50 and 10_Degree"),
        (CXF.replace(">50.5000<", ">fifty<"), "card, line 6: L 'fifty' is not a number"),
        (CXF.replace("B 2", "A1"), "card, line 7: object 'A1' stands twice"),
        (CXF.replace("ColorCIELab", "ColorCIEXYZ"), "card: no object has ColorCIELab values"),
        (CXF.replace("<cc:A>-1.2500</cc:A>", ""), "card, line 6: object 'A1' has no A"),
    ],
)
def test_faults_are_named_with_line_and_cure(text, says):
    with pytest.raises(CardFileError) as fault:
        read_measured(text.encode(), "card")
    assert str(fault.value).startswith(says)
    assert "; " in str(fault.value)


def test_a_file_too_large_is_no_card():
    with pytest.raises(CardFileError, match="6 MB is no measured card"):
        read_measured(b" " * 6_000_000, "card")
