"""What a person says of a tub: bathers a day, and the units doses are told in."""

import pytest

from tests.whole.shop import TUB

READINGS = (
    *(("calcium_hardness", 48, "mg/L"), ("total_alkalinity", 95, "mg/L"), ("ph", 8.1, "pH")),
    *(("free_chlorine", 3.5, "mg/L"), ("phosphate", 100, "ug/L"), ("salt", 1750, "mg/L")),
)
FORM = {
    "name": "Quay House",
    "volume_l": "900",
    "temperature_c": "38",
    "sanitizer": "salt_chlorine",
    "procedure": "upkeep",
    "has_sensor": "on",
}


def send(shop, path, **changes):
    fields = {name: (None, value) for name, value in {**FORM, **changes}.items()}
    return shop.client.post(path, files=fields, follow_redirects=False)


@pytest.fixture
def tub(shop):
    made = send(shop, "/tubs", bathers_per_day="2,5", units="us")
    assert made.status_code == 303
    return made.headers["Location"].rsplit("/", 1)[1]


def enter(shop, tub):
    for analyte, value, unit in READINGS:
        event = {"at": shop.clock().isoformat(), "type": "reading", "analyte": analyte}
        given = {**event, "value": value, "unit": unit, "source": "drop_test"}
        assert shop.client.post(f"/api/tubs/{tub}/events", json=given).status_code == 201


def page(shop, tub):
    return shop.client.get(f"/tubs/{tub}", headers={"Accept": "text/html"}).text


def test_bathers_reach_the_log_and_can_be_taken_back(shop, tub):
    log = f"/api/tubs/{tub}/log"
    assert shop.client.get(log).json()["tub"]["bathers_per_day"] == 2.5
    assert "units" not in shop.client.get(log).json()["tub"]
    assert 'name="bathers_per_day" inputmode="decimal" value="2.5"' in page(shop, tub)

    send(shop, f"/tubs/{tub}", bathers_per_day="")
    assert "bathers_per_day" not in shop.client.get(log).json()["tub"]


def test_a_wrong_number_of_bathers_is_told_and_nothing_is_kept(shop, tub):
    refused = send(shop, f"/tubs/{tub}", bathers_per_day="many")

    assert refused.status_code == 422
    assert "bathers_per_day" in refused.text
    assert shop.client.get(f"/api/tubs/{tub}").json()["bathers_per_day"] == 2.5


def test_a_dose_is_told_in_ounces_too_where_the_tub_says_so(shop, tub):
    enter(shop, tub)
    assert " oz" in page(shop, tub)
    send(shop, f"/tubs/{tub}", units="metric")
    assert " oz" not in page(shop, tub)

    asked = shop.client.get(f"/api/tubs/{tub}/next?units=us").json()["step"]
    assert {one["unit"] for one in asked["amounts"]} >= {"g", "oz"}
    assert "amounts" not in shop.client.get(f"/api/tubs/{tub}/next").json()["step"]


def test_programs_may_say_the_same(shop):
    made = shop.client.post("/api/tubs", json={**TUB, "bathers_per_day": 3, "units": "us"})
    assert made.status_code == 201
    assert made.json()["bathers_per_day"] == 3
    wrong = shop.client.post("/api/tubs", json={**TUB, "units": "stone"})
    assert wrong.status_code == 422
    assert "units: 'stone' is unknown" in wrong.json()["detail"]
