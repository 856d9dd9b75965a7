"""Measured cards are read as other programs write them, and faults are named by line."""

import subprocess
from importlib.resources import files

import pytest

from reader.card import standard_card, with_measured
from reader.card_files import (
    BESIDE_CARD,
    BESIDE_CHART,
    CardFacts,
    CardFileError,
    print_sd_of,
    read_facts,
    read_measured,
    write_cgats,
    write_csv,
    write_cxf,
)

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


def cgats(fields, rows, keywords=""):
    return (
        f"CGATS.17\n{keywords}NUMBER_OF_FIELDS {len(fields.split())}\nBEGIN_DATA_FORMAT\n{fields}\n"
        f"END_DATA_FORMAT\nNUMBER_OF_SETS {len(rows)}\nBEGIN_DATA\n"
        + "\n".join(rows)
        + "\nEND_DATA\n"
    )


def test_xyz_alone_is_turned_into_lab():
    """XYZ of 18.4187 % grey under D50: L 50 by the definition of CIELAB (CIE 15)."""
    rows = ["A1 17.7595 18.4187 15.1936", "W 96.42 100 82.49"]
    read = read_measured(cgats("SAMPLE_ID XYZ_X XYZ_Y XYZ_Z", rows).encode(), "card.txt")
    assert read["A1"] == pytest.approx((50.0, 0.0, 0.0), abs=0.02)
    assert read["W"] == pytest.approx((100.0, 0.0, 0.0), abs=0.02)


@pytest.mark.filterwarnings("ignore:Aligning")
@pytest.mark.parametrize("field", ["SPEC_{}", "SPECTRAL_NM{}", "SPECTRAL_NM_{}", "NM_{}", "R_{}"])
@pytest.mark.parametrize("full", [1.0, 100.0])
def test_spectra_alone_are_turned_into_lab_under_d50(field, full):
    """Against colour-science's own integration of a patch of a published chart (Ohta 1997)."""
    from reader.lab import colour_science

    colour = colour_science()
    sd = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]["blue"]
    waves = range(380, 731, 10)
    fields = "SAMPLE_ID " + " ".join(field.format(nm) for nm in waves)
    rows = ["A1 " + " ".join(f"{full * float(sd[float(nm)]):.6f}" for nm in waves)]
    rows += ["W " + " ".join(f"{full:g}" for _ in waves)]
    xyz = colour.sd_to_XYZ(sd, illuminant=colour.SDS_ILLUMINANTS["D50"], method="Integration")
    asked = colour.XYZ_to_Lab(xyz / 100, [0.34567, 0.35850])

    read = read_measured(cgats(fields, rows).encode(), "card.txt")

    assert read["A1"] == pytest.approx(tuple(asked), abs=0.15)
    assert read["W"] == pytest.approx((100.0, 0.0, 0.0), abs=0.05)


D65 = 'WEIGHTING_FUNCTION "ILLUMINANT, D65"\n'


@pytest.mark.parametrize(
    ("keywords", "says"),
    [
        (D65, "the colours are for D65; export them for D50"),
        ('ILLUMINANT "D65"\n', "for D65"),
        ('WEIGHTING_FUNCTION "ILLUMINANT, A"\n', "for A;"),
        ('WEIGHTING_FUNCTION "OBSERVER, 10 degree"\n', "for the 10 degree observer"),
    ],
)
def test_colours_for_another_light_are_refused(keywords, says):
    with pytest.raises(CardFileError, match=says):
        read_measured(cgats("SAMPLE_ID LAB_L LAB_A LAB_B", ["A1 50 0 0"], keywords).encode(), "c")


def test_spectra_beside_colours_for_another_light_are_used():
    waves = range(380, 731, 10)
    fields = "SAMPLE_ID LAB_L LAB_A LAB_B " + " ".join(f"SPEC_{nm}" for nm in waves)
    rows = ["W 97 1 9 " + " ".join("100" for _ in waves)]
    read = read_measured(cgats(fields, rows, D65).encode(), "card.txt")
    assert read["W"] == pytest.approx((100.0, 0.0, 0.0), abs=0.05)


def test_a_file_with_extra_columns_old_code_page_and_own_keywords_is_read():
    text = cgats(
        "SAMPLE_ID CMYK_C LAB_L LAB_A LAB_B STDEV_DE",
        ["A1 10 50.5 -1.25 3 0.1", '"B 2" 20 20 0 -40.5 0.2'],
        'KEYWORD "SampleBacking"\nSampleBacking "weiß"\nINSTRUMENTATION "own"\n',
    )
    assert read_measured(text.replace("\n", "\r\n").encode("latin-1"), "card.txt") == TWO


@pytest.mark.parametrize(
    "text",
    [
        "id;L;a;b\nA1;50,5;-1,25;3,0\nB 2;20;0;-40,5\n",
        "ID\tL\ta\tb\nA1\t50.5\t-1.25\t3\nB 2\t20\t0\t-40.5\n",
        "id,L,a,b,note\nA1,50.5,-1.25,3,first\nB 2,20,0,-40.5,\n",
    ],
)
def test_a_csv_as_a_spreadsheet_elsewhere_writes_it_is_read(text):
    assert read_measured(text.encode(), "card.csv") == TWO


def test_serial_and_date_are_written_and_read_back():
    facts = CardFacts('shop "A" 7', "2026-06-01")
    written = write_cgats(TWO, facts=facts).encode()
    assert read_facts(written) == facts
    assert read_measured(written, "card") == TWO
    assert read_facts(write_cxf(TWO).encode()) == read_facts(b"id,L,a,b\n") == CardFacts()


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


def test_a_card_measured_beside_a_chart_says_so_and_is_trusted_less():
    beside_chart = write_cgats(TWO, facts=CardFacts(source=BESIDE_CHART)).encode()
    beside_card = write_cgats(TWO, facts=CardFacts(source=BESIDE_CARD)).encode()
    assert read_facts(beside_chart).source == BESIDE_CHART
    assert min(print_sd_of(beside_chart)) > 0.5
    assert print_sd_of(beside_card) == print_sd_of(b"id,L,a,b\n") == (0.0, 0.0, 0.0)
