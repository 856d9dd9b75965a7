"""Looking ahead: the van is packed once, the same seed gives the same plan."""

import json
from datetime import UTC, datetime, timedelta
from random import Random

from dosing.log import load_log
from dosing.plan import as_dict, plan
from dosing.procedure import load_builtin
from dosing.products import generic_products

START = datetime(2025, 6, 1, 8, tzinfo=UTC)


def read(analyte, value, half, unit="mg/L", sample="tub"):
    band = {"value": value, "low": max(value - half, 0), "high": value + half, "unit": unit}
    about = {"at": START.isoformat(), "type": "reading", "analyte": analyte, "sample": sample}
    return about | band | {"source": "photo"}


def plan_of(events, runs=2):
    tub = {"name": "Case", "volume_l": 1000, "temperature_c": 38.0}
    tub |= {"sanitizer": "salt_chlorine", "has_sensor": False}
    text = json.dumps({"tub": tub, "procedure": "salt_startup", "events": events})
    at = START + timedelta(minutes=5)
    log = load_log(text, "case", at)
    return plan(log, load_builtin("salt_startup"), generic_products(), at, Random(1), runs)


BALANCED = [
    *(
        read("calcium_hardness", 50, 8),
        read("total_alkalinity", 90, 10),
        read("ph", 7.5, 0.2, "pH"),
    ),
    *(read("phosphate", 60, 30, "ug/L"), read("salt", 50, 20), read("free_chlorine", 0, 0.2)),
]


def test_a_balanced_tub_needs_its_salt_and_its_days():
    found = plan_of(BALANCED)
    assert 1500 <= found.products["salt"].middle <= 1900
    assert found.days.middle >= 1.0
    assert found.visits.middle >= 2
    assert found.done_within[21] == 1.0
    json.dumps(as_dict(found), allow_nan=False)


def test_the_same_seed_gives_the_same_plan():
    assert as_dict(plan_of(BALANCED, 1)) == as_dict(plan_of(BALANCED, 1))


def test_hard_and_iron_bearing_hose_water_says_what_to_bring():
    hose = [read("calcium_hardness", 400, 40, sample="fill"), read("iron", 600, 60, "ug/L", "fill")]
    said = " ".join(plan_of([*BALANCED, *hose], 1).fill)
    assert "with 89 % of it softened the tub starts at 50 mg/L" in said
    assert "prefilter" in said
