"""Readings and next steps as a terminal shows them."""

from api.reasons import all_reasons
from api.tell import Style, tell_next, tell_reading
from tests.whole.canned import READING

PLAIN = Style(colour=False, unicode=True)
ANSWER = {**READING, "photo": "a.jpg"}


def test_a_reading_shows_value_band_bar_verdict_and_the_cure():
    text = tell_reading(ANSWER, {"ph": (7.2, 7.8)}, all_reasons(), PLAIN)

    assert "a.jpg   ▲ check by hand" in text
    assert "pH" in text
    assert "7.30 to 7.70" in text
    assert "░" in text
    assert "above 8.00 mg/L" in text
    assert all_reasons()["beyond_chart"].cure.rstrip(".")[1:30] in " ".join(text.split())


def test_a_terminal_without_unicode_gets_plain_letters():
    text = tell_reading(ANSWER, {}, all_reasons(), Style(colour=False, unicode=False))

    assert text.isascii()


def test_colours_only_where_they_can_be_shown():
    assert "\033[" not in tell_reading(ANSWER, {}, all_reasons(), PLAIN)
    assert "\033[32m" in tell_reading(ANSWER, {}, all_reasons(), Style(colour=True))


def test_a_photo_with_nothing_in_it_is_told_in_a_few_lines():
    nothing = {
        **ANSWER,
        "status": "unreadable",
        "reasons": ["no_card"],
        "card": {"found": False, "delta_e00_median": None},
        "strip": {"found": False},
    }
    text = tell_reading(nothing, {}, all_reasons(), PLAIN)

    assert "✗ cannot tell" in text
    assert "No reference card was found" in text
    assert "free chlorine" not in text


def test_a_dose_is_told_with_cautions_even_when_it_brings_none():
    answer = {
        "stage": "ph",
        "step": {"kind": "dose", "text": "Add 35 g of dry acid.", "not_before": None},
        "expect": {"ph": {"value": 7.5, "low": 7.3, "high": 7.7}},
        "gates": [
            {"id": "ph", "unit": "pH", "needs": "7.2 to 7.8", "state": "shut", "probability": 0.01}
        ],
        "why": ["pH reads 8.1."],
        "cautions": [],
    }
    text = tell_next(answer, "Garden tub", PLAIN)

    assert "Next: Add 35 g of dry acid." in text
    assert "Expect pH 7.50 (7.30 to 7.70)" in text
    assert "Never mix chemicals" in text
    assert "shut" in text
