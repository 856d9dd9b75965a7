"""Kept replays: the same answer as a replay from the start, whatever was asked before."""

import json
import random
import threading
from datetime import timedelta

import pytest

from api.advise import advise
from api.replay import Replays
from dosing.errors import LogError
from tests.tubs.long_logs import long_log
from tests.whole.shop import NOON

TUB = {
    "name": "Garden tub",
    "volume_l": 1250,
    "temperature_c": 38.0,
    "sanitizer": "salt_chlorine",
    "has_sensor": True,
}
VALUES = {
    "ph": (7.5, 0.25, "pH"),
    "free_chlorine": (3.0, 1.5, "mg/L"),
    "total_alkalinity": (90.0, 30.0, "mg/L"),
    "calcium_hardness": (55.0, 20.0, "mg/L"),
    "salt": (1500.0, 250.0, "mg/L"),
    "phosphate": (250.0, 120.0, "ug/L"),
}
DOSES = {"dry-acid": 25.0, "salt": 400.0, "bicarbonate": 40.0, "chlorine-granules": 4.0}


def plain(name):
    return None


def asked(log, at, replays=None):
    return advise(json.dumps(log), "log.json", at, plain, replays=replays)[0]


def drawn(chance, at):
    """Return an event as a technician could enter it."""
    head = {"at": at.isoformat()}
    kind = chance.random()
    if kind < 0.7:
        name = chance.choice(list(VALUES))
        middle, spread, unit = VALUES[name]
        value = round(max(middle + chance.uniform(-spread, spread), 0.0), 2)
        reading = {"type": "reading", "analyte": name, "value": value, "unit": unit}
        return {**head, **reading, "source": chance.choice(("photo", "drop_test"))}
    if kind < 0.9:
        product = chance.choice(list(DOSES))
        return {**head, "type": "dose", "product": product, "amount_g": DOSES[product]}
    if kind < 0.95:
        return {**head, "type": "replaced_water", "fraction": 0.2}
    return {**head, "type": "done", "step": chance.choice(("fill", "heat", "drain"))}


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("procedure", ["salt_startup", "upkeep"])
def test_a_log_that_grows_is_answered_as_if_replayed_from_the_start(procedure, seed):
    """Events now and then lie before the last one, and now and then one is taken out."""
    chance, replays = random.Random(seed), Replays()
    log, at = {"tub": TUB, "procedure": procedure, "events": []}, NOON - timedelta(days=30)
    for _ in range(16):
        at += timedelta(minutes=chance.choice((1, 8, 20, 75, 400, 2000)))
        log["events"] = [*log["events"], drawn(chance, at - timedelta(minutes=2))]
        if chance.random() < 0.1:
            log["events"] = [*log["events"], drawn(chance, at - timedelta(hours=30))]
        if chance.random() < 0.1:
            log["events"] = log["events"][:-1]
        for later in (timedelta(0), timedelta(minutes=chance.choice((1, 40, 600)))):
            assert asked(log, at + later, replays) == asked(log, at + later)


def test_other_tubs_products_and_procedures_are_never_mixed_up():
    event = drawn(random.Random(1), NOON)
    log = {"tub": TUB, "procedure": "upkeep", "events": [event]}
    strong = {"id": "a", "kind": "acid", "formula": "NaHSO4", "purity": 0.93}
    acid = {**event, "type": "reading", "analyte": "ph", "value": 8.3, "unit": "pH"}
    logs = [
        log,
        {**log, "tub": {**TUB, "volume_l": 900}},
        {**log, "procedure": "salt_startup"},
        {**log, "products": [strong], "events": [event, acid]},
        {**log, "products": [{**strong, "purity": 0.5}], "events": [event, acid]},
    ]
    replays = Replays()
    for _ in range(2):
        for one in logs:
            assert asked(one, NOON, replays) == asked(one, NOON)


def test_a_log_that_cannot_be_used_is_refused_each_time():
    replays = Replays()
    good = drawn(random.Random(1), NOON)
    bad = {"at": NOON.isoformat(), "type": "dose", "product": "nothing", "amount_g": 3.0}
    log = {"tub": TUB, "procedure": "upkeep", "events": [good]}
    asked(log, NOON, replays)
    for _ in range(2):
        with pytest.raises(LogError, match="nothing"):
            asked({**log, "events": [good, bad]}, NOON, replays)
    assert asked(log, NOON, replays) == asked(log, NOON)


def test_only_so_many_events_are_kept():
    replays = Replays(most_events=300)
    text, at = long_log(100)
    log = json.loads(text)
    for place in range(6):
        asked({**log, "tub": {**log["tub"], "name": f"Tub {place}"}}, at, replays)
    assert len(replays) == 2


def test_several_may_ask_for_one_tub_at_once():
    text, at = long_log(60)
    log, replays = json.loads(text), Replays()
    expected = asked(log, at)
    told = []
    threads = [
        threading.Thread(target=lambda: told.extend(asked(log, at, replays) for _ in range(5)))
        for _ in range(4)
    ]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert told == [expected] * 20
