"""A reading becomes events of a log."""

import json
from datetime import UTC, datetime

from api.entries import events_of, loggable, with_reading

AT = datetime(2026, 6, 1, 12, tzinfo=UTC)


def pad(**other):
    usual = {"analyte": "ph", "unit": "pH", "value": 7.4, "low": 7.2, "high": 7.6}
    return {**usual, "status": "accepted", "reasons": [], **other}


def test_only_accepted_pads_enter():
    reading = {"readings": [pad(), pad(status="recheck"), pad(status="unreadable", value=None)]}

    assert events_of(reading, AT) == [
        {
            "at": "2026-06-01T12:00:00+00:00",
            "type": "reading",
            "analyte": "ph",
            "value": 7.4,
            "low": 7.2,
            "high": 7.6,
            "unit": "pH",
            "source": "photo",
            "sample": "tub",
        }
    ]


def test_an_open_end_stays_open():
    assert events_of({"readings": [pad(high=None)]}, AT)[0]["high"] is None


def test_nothing_is_converted_by_guess():
    assert not loggable(pad(analyte="free_chlorine", unit="ppm"))
    assert not loggable(pad(analyte="moon_dust", unit="mg/L"))


def test_a_broken_log_is_left_for_the_engine_to_judge():
    for text in ("{", "[]", '{"events": 3}', "{}"):
        assert with_reading(text, {"readings": [pad()]}, AT) == text


def test_a_logs_own_words_stay():
    text = json.dumps({"tub": {"name": "x"}, "events": [{"at": "then"}]})
    log = json.loads(with_reading(text, {"readings": [pad()]}, AT))

    assert log["tub"] == {"name": "x"}
    assert [event["at"] for event in log["events"]] == ["then", "2026-06-01T12:00:00+00:00"]
