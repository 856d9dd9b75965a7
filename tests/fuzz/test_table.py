"""Any text as a table: a table or our own error with place and cure, nothing else."""

from hypothesis import given, settings, strategies as st

from calibration.curve import fit_curve
from calibration.estimate import estimate
from calibration.rows import TableError, decode
from calibration.table import load_strip, load_table

HEADER = "strip,lot,pad,analyte,unit,read_after_s,centre_mm,size_mm,value,L,a,b,n,sL,sa,sb\n"
CELL = st.one_of(
    st.sampled_from(["", "1", "2", "7.2", "-3", "1e300", "nan", "mg/L", "pH", "0", '"', "7,2"]),
    st.floats(-200, 200).map(lambda x: f"{x:.3f}"),
    st.text(max_size=6),
)
ROW = st.lists(CELL, min_size=0, max_size=18).map(",".join)


@settings(max_examples=150, deadline=None)
@given(st.one_of(st.text(max_size=300), st.lists(ROW, max_size=8).map("\n".join)), st.booleans())
def test_any_text_is_a_table_or_is_explained(text, headed):
    for load in (load_table, load_strip):
        try:
            load((HEADER if headed else "") + text, "any.csv")
        except TableError as told:
            assert str(told).startswith("any.csv")  # noqa: PT017
            assert "; " in str(told)  # noqa: PT017


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_text_or_explained(data):
    try:
        decode(data, "any.csv")
    except TableError as told:
        assert str(told).startswith("any.csv: ")  # noqa: PT017


COLOUR = st.tuples(st.floats(0, 100), st.floats(-20, 20), st.floats(-20, 20))


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.floats(0, 1e6), min_size=2, max_size=8, unique=True),
    st.lists(COLOUR, min_size=8, max_size=8),
    st.tuples(st.floats(0, 100), st.floats(-128, 128), st.floats(-128, 128)),
)
def test_any_table_that_loads_gives_a_band_that_holds_its_value(values, labs, seen):
    place = "s,1,1,x,mg/L,0,6,5"
    rows = [f"{place},{v!r},{c[0]},{c[1]},{c[2]}" for v, c in zip(values, labs, strict=False)]
    try:
        table = load_table(HEADER.split(",n,")[0] + "\n" + "\n".join(rows), "any.csv")
    except TableError:
        return
    found = estimate(fit_curve(table.charts[0]), seen, [[1, 0, 0], [0, 1, 0], [0, 0, 1]])
    assert found.low is None or found.low <= found.value
    assert found.high is None or found.value <= found.high
