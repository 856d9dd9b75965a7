"""The owner's sheet: what a log says, on one page."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from api.handover import (
    bathing,
    clock,
    draw_handover,
    handover_of,
    newest,
    output_set,
    totals,
    what_to_test,
)

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
    tuned = [*EVENTS, {"at": AT.isoformat(), "type": "done", "step": "generator_tuned_at_35_2"}]
    other = {"at": AT.isoformat(), "type": "done", "step": "look_at_generator_cell"}

    assert output_set(EVENTS) == "Set to full output, 03 Jun 2026, 12:00 UTC."
    assert output_set([*tuned, other]).startswith("Set to 35 % output, ")
    assert output_set(EVENTS[:3]) == "Not set yet."


def test_times_go_by_the_owners_clock():
    """Without a zone a time bears its own offset, in words that people know."""
    at = "2026-06-03T12:00:00+00:00"

    assert clock(at, ZoneInfo("Europe/Paris")) == "03 Jun 2026, 14:00"
    assert clock("2026-06-03T12:00:00+02:00", None) == "03 Jun 2026, 12:00 UTC+02:00"


@pytest.mark.parametrize(
    ("readings", "told"),
    [
        ([], "Not yet: free chlorine has not been measured."),
        ([("free_chlorine", 4.0)], "Not yet: pH has not been measured."),
        ([("free_chlorine", 4.0), ("ph", 8.03)], "Not yet: pH read 8.03 mg/L, wanted 7.2 to 7.8."),
        (
            [("free_chlorine", 4.0), ("ph", 7.5)],
            "Free chlorine and pH were in range when last measured. Measure before each use.",
        ),
    ],
)
def test_nobody_is_told_to_bathe_in_water_that_is_not_right(readings, told):
    events = [reading(2, name, value) for name, value in readings]
    wanted = {"free_chlorine": (3.0, 10.0), "ph": (7.2, 7.8)}

    assert bathing(handover_of(TUB, events, None, wanted, AT)) == told


def test_the_owner_reads_names_and_only_what_belongs_to_the_tub():
    sheet = handover_of(TUB, EVENTS, None, {}, AT, {"salt": "pure salt"})
    bromine = {**TUB, "sanitizer": "bromine", "has_sensor": False}

    assert sheet.doses == (("pure salt", 1750.0, 2),)
    assert "sensor" in str(what_to_test(TUB))
    assert "cell" in str(what_to_test(TUB))
    assert "bromine and pH" in str(what_to_test(bromine))
    assert "sensor" not in str(what_to_test(bromine))
    assert "cell" not in str(what_to_test(bromine))


@pytest.mark.parametrize("events", [[], EVENTS, EVENTS * 60], ids=["empty", "usual", "long"])
def test_the_sheet_is_one_page_whatever_the_log_holds(events):
    """Markup in a name is text, not markup."""
    sheet = handover_of(TUB, events, None, {"salt": (1500.0, 2000.0)}, AT)
    drawn = draw_handover(sheet)

    assert drawn.startswith(b"%PDF-")
    assert b"/Count 1" in drawn
    assert draw_handover(sheet) == drawn
