"""The owner's sheet: what a log says, on one page."""

from datetime import UTC, datetime

import pytest

from api.handover import draw_handover, handover_of, newest, output_set, totals

AT = datetime(2026, 6, 3, 12, 0, tzinfo=UTC)
TUB = {
    "name": "Wren & Cottage <b>",
    "volume_l": 1250,
    "temperature_c": 38.0,
    "sanitizer": "salt_chlorine",
    "has_sensor": True,
    "procedure": "salt_startup",
}


def reading(day, analyte, value, sample="tub"):
    at = datetime(2026, 6, day, 9, tzinfo=UTC).isoformat()
    head = {"at": at, "type": "reading", "analyte": analyte, "value": value, "unit": "mg/L"}
    return {**head, "source": "photo", "sample": sample, "low": value - 1, "high": value + 1}


EVENTS = [
    reading(1, "iron", 20.0, "fill"),
    reading(1, "salt", 300.0),
    {"at": AT.isoformat(), "type": "dose", "product": "salt", "amount_g": 900.0},
    {"at": AT.isoformat(), "type": "dose", "product": "salt", "amount_g": 850.0},
    reading(2, "salt", 1740.0),
    {"at": AT.isoformat(), "type": "done", "step": "generator_full"},
]


def test_the_newest_reading_of_each_analyte_stands_for_its_water():
    assert [one["value"] for one in newest(EVENTS, "tub")] == [1740.0]
    assert [one["analyte"] for one in newest(EVENTS, "fill")] == ["iron"]


def test_doses_are_added_up_by_product():
    assert totals(EVENTS) == (("salt", 1750.0, 2),)


def test_the_generator_is_as_it_was_last_set():
    assert output_set(EVENTS).startswith("generator full")
    assert output_set(EVENTS[:3]) == "not set yet"


@pytest.mark.parametrize("events", [[], EVENTS, EVENTS * 60], ids=["empty", "usual", "long"])
def test_the_sheet_is_one_page_whatever_the_log_holds(events):
    """Markup in a name is text, not markup."""
    sheet = handover_of(TUB, events, None, {"salt": (1500.0, 2000.0)}, AT)
    drawn = draw_handover(sheet)

    assert drawn.startswith(b"%PDF-")
    assert b"/Count 1" in drawn
    assert draw_handover(sheet) == drawn
