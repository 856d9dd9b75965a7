"""Whatever the bytes, a measured card is read or refused in one sentence."""

from hypothesis import given, settings, strategies as st

from reader.card import load_card, with_measured
from reader.card_files import CardFileError, read_measured, write_cgats, write_csv, write_cxf

LAB = st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120))
NAMES = st.text(st.characters(categories=("L", "N")), min_size=1, max_size=6)
WHOLE = [
    w({"A1": (50.0, 1.0, 2.0), "A2": (60.0, -1.0, 2.0)})
    for w in (write_cgats, write_cxf, write_csv)
]


def sentence_of(act):
    try:
        act()
    except CardFileError as refused:
        return str(refused)
    return "read; "


@given(st.binary(max_size=300))
def test_any_bytes(data):
    assert "; " in sentence_of(lambda: read_measured(data, "card"))


@settings(deadline=None)
@given(st.sampled_from(WHOLE), st.lists(st.tuples(st.floats(0, 1), st.characters()), max_size=6))
def test_damaged_files(text, hits):
    letters = list(text)
    for place, letter in hits:
        letters[int(place * (len(letters) - 1))] = letter
    data = "".join(letters).encode("utf-8", "surrogatepass")
    assert "; " in sentence_of(lambda: read_measured(data, "card"))


@given(
    st.dictionaries(NAMES, LAB, min_size=1, max_size=8),
    st.sampled_from([write_cgats, write_csv, write_cxf]),
)
def test_what_is_written_is_read_back(colours, write):
    read = read_measured(write(colours).encode(), "card")
    assert read.keys() == colours.keys()
    for name, lab in colours.items():
        assert max(abs(a - b) for a, b in zip(lab, read[name], strict=True)) < 1e-4


@given(st.text(max_size=200))
def test_any_layout(text):
    assert "; " in sentence_of(lambda: load_card(text, "card.json"))


@given(st.dictionaries(st.sampled_from(["A1", "A2", "x"]), LAB))
def test_any_colours_for_a_card(colours):
    from reader.card import standard_card

    assert "; " in sentence_of(lambda: with_measured(standard_card(), colours))
