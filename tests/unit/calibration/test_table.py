"""The shop's table: what loads, and the whole sentence where one does not."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calibration.rows import TableError, decode
from calibration.table import load_strip, load_table, plans_of, read_table, table_text

HEADER = "strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm,value,L,a,b"
ROWS = (
    "garden,7,1,ph,pH,15,6,5,6.8,80,5,60",
    "garden,7,1,ph,pH,15,6,5,7.6,65,30,40",
    "garden,7,2,total_alkalinity,mg/L,15,14,5,0,75,-5,50",
    "garden,7,2,total_alkalinity,mg/L,15,14,5,80,60,-25,25",
)


def text(*rows, header=HEADER):
    return "\n".join([header, *rows]) + "\n"


def changed(line, column, cell):
    """Return the table with one cell changed; line 2 is the first row."""
    rows = [row.split(",") for row in ROWS]
    rows[line - 2][HEADER.split(",").index(column)] = cell
    return text(*(",".join(row) for row in rows))


def test_a_table_loads_with_its_pads_by_place_and_its_blocks_by_value():
    table = load_table(text(*reversed(ROWS)), "lot7.csv")

    assert (table.strip, table.lot, table.name) == ("garden", "7", "lot7.csv")
    assert [(c.pad, c.analyte, c.unit) for c in table.charts] == [
        (1, "ph", "pH"),
        (2, "total_alkalinity", "mg/L"),
    ]
    assert [block.value for block in table.charts[0].blocks] == [6.8, 7.6]
    assert table.charts[1].blocks[1].lab == pytest.approx([60, -25, 25])


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_marks_line_ends_and_delimiters_of_spreadsheets_are_understood(mark, end, delimiter):
    written = mark + text("", *ROWS, "# a remark").replace("\n", end).replace(",", delimiter)

    assert len(load_table(written, "lot7.csv").charts) == 2


def test_a_hex_colour_may_stand_for_lab():
    rows = ("garden,7,1,ph,pH,15,6,5,6.8,#ffffff", "garden,7,1,ph,pH,15,6,5,7.6,c05a3c")

    table = load_table(text(*rows, header=HEADER.replace("L,a,b", "hex")), "lot7.csv")

    assert table.charts[0].blocks[0].lab == pytest.approx([100, 0, 0], abs=0.02)


def test_repeats_become_a_covariance():
    header = HEADER + ",n,sL,sa,sb,rLa,rLb,rab,expires"
    rows = [row + ",4,1,2,3,0.5,0,-0.5,2027-03-31" for row in ROWS[:2]]

    table = load_table(text(*rows, header=header), "lot7.csv")

    block = table.charts[0].blocks[0]
    assert block.n == 4
    assert block.cov == pytest.approx(np.array([[1, 1, 0], [1, 4, -3], [0, -3, 9]]))
    assert table.expires == date(2027, 3, 31)


def test_what_is_written_loads_the_same():
    header = HEADER + ",n,sL,sa,sb,rLa,rLb,rab,kind,expires"
    rows = [row + ",4,1,2,3,0.5,0,-0.5,standards,2027-03-31" for row in ROWS]
    table = load_table(text(*rows, header=header), "lot7.csv")

    again = load_table(table_text(table), "lot7.csv")

    assert table_text(again) == table_text(table)
    assert again.charts[0].blocks[0].cov == pytest.approx(table.charts[0].blocks[0].cov, abs=1e-3)
    assert again.charts[0].kind == "standards"


FAULTS = {
    "decimal comma": (
        changed(2, "value", '"7,2"'),
        "lot7.csv, line 2: value '7,2' has a decimal comma; use a decimal point: 7.2",
    ),
    "text": (
        changed(3, "L", "bright"),
        "lot7.csv, line 3: L 'bright' is not a number; "
        "use digits and a decimal point, for example 62.5",
    ),
    "nan": (
        changed(2, "a", "nan"),
        "lot7.csv, line 2: a 'nan' is not a number; "
        "use digits and a decimal point, for example -4.2",
    ),
    "overflow": (
        changed(2, "value", "1e999"),
        "lot7.csv, line 2: value 1e999 cannot be; it must be at least 0, for example 3.0",
    ),
    "negative": (
        changed(4, "value", "-1"),
        "lot7.csv, line 4: value -1 cannot be; it must be at least 0, for example 3.0",
    ),
    "empty": (
        changed(4, "analyte", ""),
        "lot7.csv, line 4: analyte is empty; fill it in",
    ),
    "pad 0": (
        changed(2, "pad", "0"),
        "lot7.csv, line 2: pad '0' is not a whole number from 1; write for example 1",
    ),
    "lightness": (
        changed(2, "L", "120"),
        "lot7.csv, line 2: L 120 cannot be; it must lie between 0 and 100, for example 62.5",
    ),
    "impossible colour": (
        changed(2, "L", "5"),
        "lot7.csv, line 2: no surface has the colour L 5, a 5, b 60 in CIELAB; "
        "check the order of the columns and that the values are CIELAB D50",
    ),
    "wide pad": (
        changed(2, "size_mm", "9"),
        "lot7.csv, line 2: size_mm 9 cannot be; it must lie between 0 and 6.5, for example 5.0",
    ),
    "units": (
        changed(3, "unit", "mg/L"),
        "lot7.csv, line 3: unit of pad 1 is mg/L here and pH in line 2; "
        "write the same in all its rows",
    ),
    "analytes": (
        changed(3, "analyte", "bromine"),
        "lot7.csv, line 3: analyte of pad 1 is bromine here and ph in line 2; "
        "write the same in all its rows",
    ),
    "lots": (
        changed(5, "lot", "8"),
        "lot7.csv, line 5: lot is 8 here and 7 in line 2; one file describes one lot",
    ),
    "duplicate": (
        changed(3, "value", "6.8"),
        "lot7.csv, line 3: value 6.8 of pad 1 stands in line 2 already; "
        "keep one of the two rows (and 1 more)",
    ),
    "too close": (
        changed(4, "value", "79.99999999"),
        "lot7.csv, line 5: value 80 of pad 2 is next to no step from 80; check both values",
    ),
    "overlap": (
        changed(4, "centre_mm", "9").replace("15,14,5,80", "15,9,5,80"),
        "lot7.csv, line 4: pads 1 and 2 overlap; check centre_mm and size_mm",
    ),
    "off the strip": (
        text(*(row.replace("15,14,5", "15,89,5") for row in ROWS)),
        "lot7.csv, line 4: pad 2 reaches past the strip, which is 0 to 90 mm long; "
        "measure centre_mm from the dipped tip",
    ),
    "turned": (
        text(*(row.replace("15,6,5", "15,40,5") for row in ROWS)),
        "lot7.csv, line 4: pad 2 lies nearer the dipped tip than pad 1; "
        "count the pads from 1 at the dipped tip",
    ),
    "one block": (
        text(*ROWS[:3]),
        "lot7.csv, line 4: pad 2 (total_alkalinity) has only one block; a chart needs at least two",
    ),
    "no rows": (
        HEADER,
        "lot7.csv, line 1: there is no row under the header; write rows under it",
    ),
    "empty file": ("", f"lot7.csv: the file is empty; write the first line as: {HEADER}"),
    "no header": (
        "1,2,3",
        "lot7.csv: the header has no columns strip, lot, pad, analyte, unit, read_after_s, "
        f"centre_mm, size_mm, value, L,a,b or hex; write the first line as: {HEADER}",
    ),
    "missing column": (
        text(*ROWS, header=HEADER.replace("lot", "batch")),
        f"lot7.csv: the header has no column lot; write the first line as: {HEADER}",
    ),
    "not text": (
        "\x00PNG",
        "lot7.csv: the file is not text; save it again as 'CSV UTF-8'",
    ),
}


@pytest.mark.parametrize(("written", "sentence"), FAULTS.values(), ids=FAULTS.keys())
def test_a_fault_is_told_with_file_line_and_cure(written, sentence):
    with pytest.raises(TableError) as told:
        load_table(written, "lot7.csv")

    assert str(told.value) == sentence


def test_every_fault_is_listed_not_only_the_first():
    broken = changed(2, "value", "x").replace("60,-25,25", "60,y,z")

    table, faults = read_table(broken, "lot7.csv")

    assert table is None
    assert [(fault.line, fault.what.split()[0]) for fault in faults] == [
        (2, "value"),
        (5, "a"),
        (5, "b"),
    ]


def test_a_file_in_another_encoding_is_explained():
    with pytest.raises(TableError, match=r"lot7.csv: the file is not text in UTF-8; save it again"):
        decode("größe".encode("latin-1"), "lot7.csv")
    assert decode("größe".encode("utf-16"), "lot7.csv") == "größe"


def test_a_strip_file_is_a_table_without_colours():
    written = "strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm\n"

    plans = load_strip(written + "garden,7,1,ph,pH,15,6,5\n", "strip.csv")
    with pytest.raises(TableError, match=r"line 3: pad 1 stands in line 2 already"):
        load_strip(written + "garden,7,1,ph,pH,15,6,5\n" * 2, "strip.csv")

    assert [(p.pad, p.analyte) for p in plans] == [(1, "ph")]


OTHERS = """strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm,value,L,a,b,other_pads
Brook,B1,2,ph,pH,15,14,5,6.8,78,8,60,1:iron:ug/L:15:4:5|3:salt:mg/L:20:24:5
Brook,B1,2,ph,pH,15,14,5,7.8,62,34,44,
"""


def test_pads_without_colours_are_known_and_kept():
    table = load_table(OTHERS, "t.csv")

    assert [(p.pad, p.analyte, p.centre_mm) for p in table.others] == [
        (1, "iron", 4.0), (3, "salt", 24.0)
    ]  # fmt: skip
    assert [p.pad for p in plans_of(table)] == [1, 2, 3]
    again = load_table(table_text(table), "t.csv")
    assert [replace(p, line=0) for p in again.others] == [replace(p, line=0) for p in table.others]


@pytest.mark.parametrize(
    ("cell", "says"),
    [
        ("1:iron:ug/L:15:4", "is no pad; write for example"),
        ("1:iron:ug/L:15:x:5", "has a part that is no number"),
        ("1:iron:ug/L:15:400:5", "centre_mm 400 cannot be"),
        ("1:iron:ug/L:15:12:5", "pads 1 and 2 overlap"),
    ],
)
def test_a_pad_without_colours_that_cannot_be_is_named_by_line(cell, says):
    first = OTHERS.index("1:iron")
    broken = OTHERS[:first] + cell + OTHERS[OTHERS.index("\n", first) :]
    with pytest.raises(TableError, match=says):
        load_table(broken, "t.csv")


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_decimal_comma_is_understood_where_commas_part_no_cells(delimiter):
    written = text(*ROWS).replace(",", delimiter).replace("6.8", "6,8").replace("7.6", "7,6")

    blocks = load_table(written, "lot7.csv").charts[0].blocks
    assert [block.value for block in blocks] == [6.8, 7.6]
