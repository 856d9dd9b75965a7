"""Names, numbers and sentences as a person reads them."""

import pytest

from api import words


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "-"),
        (0, "0"),
        (0.05, "0.05"),
        (3.14159, "3.14"),
        (12.345, "12.3"),
        (99.97, "100"),
        (1234.5, "1234"),
    ],
)
def test_numbers_have_the_digits_a_strip_deserves(value, text):
    assert words.number(value) == text


def test_ph_bears_no_unit():
    assert words.amount(7.42, "pH") == "7.42"
    assert words.amount(3.1, "mg/L") == "3.10 mg/L"


def test_an_open_end_is_told_as_open():
    pad = {"value": 9.0, "low": 8.0, "high": None, "unit": "mg/L"}

    assert words.value_of(pad) == "above 8.00 mg/L"
    assert words.value_of({**pad, "low": None, "high": 0.5}) == "below 0.50 mg/L"
    assert words.value_of({**pad, "value": None}) == "-"
    assert words.band(None, 3) == "3.00 or less"
    assert words.band(3, None) == "3.00 or more"


def test_limits_are_told_as_they_were_set():
    """A limit is no measurement: it bears no digits that nobody wrote."""
    assert words.wish(3.0, 10.0) == "3 to 10"
    assert words.wish(7.2, 7.8) == "7.2 to 7.8"
    assert words.wish(None, 20000.0) == "20000 or less"


@pytest.mark.parametrize(("lot", "told"), [("7", "lot 7"), ("lot-7", "lot-7"), ("Lot 7", "Lot 7")])
def test_a_lot_is_called_a_lot_once(lot, told):
    assert words.lot_words(lot) == told


def test_a_dose_is_never_told_without_cautions():
    dose = {"step": {"kind": "dose"}, "cautions": []}

    assert any("acid and chlorine" in one for one in words.cautions_of(dose))
    assert words.cautions_of({"step": {"kind": "wait"}, "cautions": []}) == []
    assert words.cautions_of({"step": {"kind": "dose"}, "cautions": ["mind"]}) == ["mind"]


def test_moments_keep_their_offset():
    assert words.moment("2026-06-01T09:05:00+02:00") == "Mon 01 Jun 2026, 09:05 +02:00"
    assert words.moment(None) == ""
