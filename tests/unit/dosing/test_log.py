"""The log is read whole or refused with one sentence that names place and cure."""

import json
from datetime import UTC, datetime, timedelta
from time import perf_counter

import pytest

from dosing.log import Done, Dose, LogError, Reading, ReplacedWater, load_log

AT = datetime(2025, 6, 1, 12, tzinfo=UTC)
TUB = {
    **{"name": "Garden", "volume_l": 1250, "temperature_c": 38.0},
    **{"sanitizer": "salt_chlorine", "has_sensor": True},
}
PH = {
    **{"at": "2025-06-01T09:00:00+02:00", "type": "reading", "analyte": "ph", "value": 7.9},
    **{"low": 7.7, "high": 8.1, "unit": "pH", "source": "photo", "sample": "tub"},
}


def log_of(*events, **changes):
    whole = {"tub": TUB, "procedure": "salt_startup", "products": [], "events": list(events)}
    return load_log(json.dumps(whole | changes), "tub.json", AT)


def refusal(*events, **changes):
    with pytest.raises(LogError) as refused:
        log_of(*events, **changes)
    return str(refused.value)


def test_events_become_what_they_are_in_order_of_time():
    dose = {"at": "2025-06-01T09:30:00+02:00", "type": "dose", "product": "a", "amount_g": 35}
    water = {"at": "2025-06-01T05:00:00+00:00", "type": "replaced_water", "fraction": 0.4}
    done = {"at": "2025-06-01T04:00:00Z", "type": "done", "step": "fill"}

    log = log_of(PH, dose, water, done)

    assert log.tub.volume_l == 1250.0
    assert log.events == (
        Done(datetime(2025, 6, 1, 4, tzinfo=UTC), "fill"),
        ReplacedWater(datetime(2025, 6, 1, 5, tzinfo=UTC), 0.4),
        Reading(datetime(2025, 6, 1, 7, tzinfo=UTC), "ph", 7.9, 7.7, 8.1, "photo"),
        Dose(datetime(2025, 6, 1, 7, 30, tzinfo=UTC), "a", 35.0),
    )


def test_the_order_in_the_file_does_not_matter():
    later = PH | {"at": "2025-06-01T10:00:00+02:00"}
    assert log_of(PH, later).events == log_of(later, PH).events


def test_clock_offsets_are_the_same_moment():
    same = PH | {"at": "2025-06-01T07:00:00Z"}
    assert log_of(PH).events == log_of(same).events


def test_a_missing_band_is_that_of_the_method_and_a_null_side_stays_open():
    bare = {key: value for key, value in PH.items() if key not in ("low", "high")}
    assert log_of(bare).events[0].low == pytest.approx(7.7)  # strip photo +-0.2, references g5
    assert log_of(bare | {"source": "hand"}).events[0].high == pytest.approx(8.15)
    assert log_of(PH | {"high": None}).events[0].high is None


def test_an_event_entered_twice_counts_once_and_is_told():
    log = log_of(PH, PH)
    assert len(log.events) == 1
    assert log.cautions[0].startswith("events[1] is the same as events[0]: it counts once.")


def test_keys_of_other_programs_do_no_harm():
    assert log_of(PH | {"note": "window shade", "id": 7}).events == log_of(PH).events


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"analyte": "pH"}, "tub.json: events[0].analyte: 'pH' is unknown; known are: ph, "),
        ({"analyte": "calcium_hardnes"}, "did you mean 'calcium_hardness'?"),
        ({"type": "redaing"}, "events[0].type: 'redaing' is unknown; did you mean 'reading'?"),
        ({"unit": "mg/L"}, "events[0].unit: ph is logged in pH, not 'mg/L'; convert the value"),
        ({"value": -1}, "events[0].value: -1 is not possible (from 0 to 14)"),
        ({"value": 15}, "events[0].value: 15 is not possible (from 0 to 14)"),
        ({"value": "7,9"}, "events[0].value: text is not a number; write it in pH"),
        ({"value": True}, "events[0].value: true or false is not a number"),
        ({"value": None}, "events[0].value: null is not a number"),
        ({"value": float("nan")}, "events[0].value: is not a finite number; write it in pH"),
        ({"high": float("inf")}, "events[0].high: is not a finite number"),
        ({"value": 10**400}, "events[0].value: is not a finite number"),
        ({"low": 8.0}, "the band 8 to 8.1 does not hold its value 7.9"),
        ({"high": 7.8}, "the band 7.7 to 7.8 does not hold its value 7.9"),
        ({"low": -0.1}, "events[0].low: -0.1 is not possible"),
        ({"at": "2025-06-01T09:00:00"}, "events[0].at: '2025-06-01T09:00:00' has no offset;"),
        ({"at": "yesterday"}, "events[0].at: 'yesterday' is not a time; write it like 2025-"),
        ({"at": 5}, "events[0].at: 5 is not a time"),
        ({"at": "0001-01-01T00:00:00+02:00"}, "is not a time"),
        ({"at": "2025-06-01T15:00:00+02:00"}, "lies later than the moment asked about"),
        ({"source": "guess"}, "events[0].source: 'guess' is unknown; known are: photo, hand"),
        ({"sample": "pond"}, "events[0].sample: 'pond' is unknown; known are: tub, fill"),
        ({"samplee": "fill"}, "the key 'samplee' is unknown; did you mean 'sample'?"),
    ],
)
def test_a_wrong_reading_is_refused(change, sentence):
    assert sentence in refusal(PH | change)


@pytest.mark.parametrize("key", ["at", "type", "analyte", "value", "unit", "source"])
def test_a_missing_key_is_named(key):
    event = {name: value for name, value in PH.items() if name != key}
    assert f"events[0]: the key '{key}' is missing" in refusal(event)


@pytest.mark.parametrize(
    ("event", "sentence"),
    [
        ({"type": "dose", "product": "a", "amount_g": -5}, "amount_g: -5 is not possible"),
        ({"type": "dose", "product": "", "amount_g": 5}, "product: must be a text"),
        ({"type": "replaced_water", "fraction": 40}, "fraction: 40 is not possible (from 0 to 1)"),
        ({"type": "done", "stepp": "fill"}, "the key 'step' is missing (there is 'stepp'); add it"),
        ([], "events[0]: must be an object in braces, not a list"),
    ],
)
def test_other_wrong_events_are_refused(event, sentence):
    if isinstance(event, dict):
        event = {"at": "2025-06-01T07:00:00Z"} | event
    assert sentence in refusal(event)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"tub": TUB | {"volume_l": 0}}, "tub.volume_l: 0 is not possible"),
        ({"tub": TUB | {"temperature_c": 104}}, "tub.temperature_c: 104 is not possible"),
        ({"tub": TUB | {"sanitizer": "salt"}}, "tub.sanitizer: 'salt' is unknown"),
        ({"tub": TUB | {"has_sensor": 1}}, "tub.has_sensor: 1 must be true or false"),
        ({"tub": None}, "tub: must be an object in braces, not null"),
        ({"procedure": 5}, "procedure: must be a text"),
        ({"events": {}}, "events: must be a list"),
        ({"products": {"id": "a"}}, "products: must be a list of objects"),
        ({"product": []}, "the key 'product' is unknown; did you mean 'products'?"),
    ],
)
def test_a_wrong_frame_is_refused(changes, sentence):
    assert sentence in refusal(**changes)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "tub.json: line 1, column 1: this is not JSON"),
        ('{"tub": {', "tub.json: line 1, column 10: this is not JSON"),
        ("[" * 100_000, "brackets are nested too deeply"),
        ('{"tub": 1, "tub": 2}', "the key 'tub' stands twice"),
        ("[" + "9" * 5000 + "]", "a number has too many digits"),
        ("7", "the log: must be an object in braces"),
    ],
)
def test_what_is_no_log_at_all_is_refused(text, sentence):
    with pytest.raises(LogError, match=r"^tub") as refused:
        load_log(text, "tub.json", AT)
    assert sentence in str(refused.value)


def test_ten_thousand_events_are_read_quickly():
    start = AT - timedelta(days=400)
    events = [PH | {"at": (start + timedelta(minutes=place)).isoformat()} for place in range(10000)]
    text = json.dumps({"tub": TUB, "procedure": "upkeep", "events": events})
    began = perf_counter()
    assert len(load_log(text, "tub.json", AT).events) == 10_000
    assert perf_counter() - began < 10.0  # a wall against quadratic work, not a benchmark
