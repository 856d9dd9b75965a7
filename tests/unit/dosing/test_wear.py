"""What returns by the clock and by use: filter, cell, sensor, the change of water."""

from datetime import UTC, datetime, timedelta

import pytest

from dosing.answer import as_dict
from dosing.log import LogError, load_log
from dosing.next_step import next_step
from dosing.procedure import load_builtin
from dosing.products import generic_products
from dosing.situation import Situation
from dosing.wear import dissolved_since
from tests.unit.dosing.test_next_step import TUB

START = datetime(2025, 6, 1, 8, tzinfo=UTC)
GOOD = (
    *(("calcium_hardness", 50, 10, "mg/L"), ("total_alkalinity", 90, 12, "mg/L")),
    *(("ph", 7.4, 0.15, "pH"), ("free_chlorine", 5, 0.6, "mg/L")),
    *(("phosphate", 80, 30, "ug/L"), ("salt", 1750, 90, "mg/L")),
)


def day(days):
    return (START + timedelta(days=days)).isoformat()


def readings(days):
    return [
        {"at": day(days), "type": "reading", "analyte": name, "value": value, "unit": unit}
        | {"low": value - half, "high": value + half, "source": "drop_test"}
        for name, value, half, unit in GOOD
    ]


def cleaned(*days):
    return [
        {"at": day(one), "type": "done", "step": f"clean_filter-{place}" if place > 1 else
         "clean_filter"} for place, one in enumerate(days, 1)
    ]  # fmt: skip


def dose(days, product, grams):
    return {"at": day(days), "type": "dose", "product": product, "amount_g": grams}


def ask(events, days, **tub):
    import json

    whole = {"tub": TUB | tub, "procedure": "upkeep", "events": events}
    at = START + timedelta(days=days)
    log = load_log(json.dumps(whole), "case", at)
    return as_dict(next_step(log, load_builtin("upkeep"), generic_products(), at))


def test_the_water_is_changed_after_ninety_days_when_nobody_counts_bathers():
    sensor = {"at": day(89), "type": "done", "step": "sensor_checked"}
    events = [*readings(0), *cleaned(13, 27, 41, 55, 69, 83), sensor, *readings(89.9)]
    assert ask(events, 89.92)["step"]["action"] != "drain"
    found = ask(events, 90.1)
    assert found["step"]["action"] == "drain"
    assert any("90 days" in why for why in found["why"])


def test_bathers_bring_the_change_of_water_forward():
    # Montana ARM 37.115: days = litres / 11.4 / bathers a day; 1250 L and 3 a day: 37 days.
    events = [*readings(0), *cleaned(13, 27), *readings(36.5)]
    assert ask(events, 36.52, bathers_per_day=3)["step"]["kind"] == "wait"
    found = ask(events, 37.2, bathers_per_day=3)
    assert found["step"]["action"] == "drain"
    assert any("3 bathers a day" in why for why in found["why"])


def test_dissolved_solids_bring_it_forward_too():
    heavy = [dose(one, "liquid-chlorine", 950) for one in range(1, 13)]
    found = ask([*readings(0), *heavy, *readings(12.9)], 12.92)
    assert found["step"]["action"] == "drain"
    assert any("dissolved solids" in why for why in found["why"])


def test_dissolved_solids_are_counted_by_stoichiometry():
    """100 g of pure bicarbonate in 1000 L are 100 mg/L; 1 g of Cl2 ends as 1.65 g of NaCl."""
    import json

    events = [dose(1, "bicarbonate", 101.01), dose(2, "liquid-chlorine", 1000 / 10.5)]
    whole = {"tub": TUB | {"volume_l": 1000}, "procedure": "upkeep", "events": events}
    at = START + timedelta(days=3)
    log = load_log(json.dumps(whole), "case", at)
    now = Situation(log, load_builtin("upkeep"), generic_products(), at)
    assert dissolved_since(now, START) == pytest.approx(100 + 16.5, rel=0.01)
    assert dissolved_since(now, START + timedelta(days=1.5)) == pytest.approx(16.5, rel=0.01)


def test_a_drained_tub_asks_for_its_start_up_and_goes_on_with_a_reading():
    drained = [*readings(0), {"at": day(40), "type": "done", "step": "drain"}]
    found = ask(drained, 41)
    assert (found["step"]["kind"], found["step"]["id"]) == ("ask", "ask_new_water")
    again = ask([*drained, *readings(42)], 42.01)
    assert again["step"]["kind"] == "wait"
    assert again["step"]["action"] is None


def test_the_cell_keeps_its_age_through_a_change_of_water():
    renewed = {"at": day(0.1), "type": "done", "step": "cell_renewed"}
    drained = {"at": day(80), "type": "done", "step": "drain"}
    events = [*readings(0), renewed, drained, *readings(119.9)]
    events += [{"at": day(119.95), "type": "done", "step": "sensor_checked"}]
    events += [{"at": day(119.95), "type": "done", "step": "clean_filter"}]
    found = ask(events, 120.2)
    assert found["step"]["action"] == "cell_in"


@pytest.mark.parametrize(("value", "says"), [(-1, "0 to 1000"), ("many", "number")])
def test_bathers_that_are_no_number_are_named(value, says):
    with pytest.raises(LogError, match=r"tub\.bathers_per_day") as fault:
        ask([], 1, bathers_per_day=value)
    assert says in str(fault.value)
