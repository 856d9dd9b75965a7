"""Any log that can be read leaves a belief that makes sense."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from dosing.analytes import ANALYTES
from dosing.log import Dose, Log, Reading, ReplacedWater, Tub
from dosing.products import generic_products
from dosing.water import Course, Filled, believe

START = datetime(2025, 6, 1, 9, tzinfo=UTC)
PRODUCTS = generic_products()
HOURS = st.floats(0.0, 2000.0)


def at(hours):
    return START + timedelta(hours=hours)


@st.composite
def readings(draw):
    analyte = ANALYTES[draw(st.sampled_from(sorted(ANALYTES)))]
    value = draw(st.floats(0.0, analyte.most))
    low = draw(st.one_of(st.none(), st.floats(0.0, 1.0).map(lambda share: share * value)))
    high = draw(st.one_of(st.none(), st.floats(1.0, 2.0).map(lambda share: share * value)))
    source = draw(st.sampled_from(["photo", "hand", "lab", "sensor"]))
    sample = draw(st.sampled_from(["tub", "tub", "fill"]))
    return Reading(at(draw(HOURS)), analyte.name, value, low, high, source, sample)


DOSES = st.builds(Dose, HOURS.map(at), st.sampled_from(sorted(PRODUCTS)), st.floats(0.0, 20_000.0))
CHANGES = st.builds(ReplacedWater, HOURS.map(at), st.floats(0.0, 1.0))
COURSES = st.builds(
    Course,
    filled=st.lists(st.builds(Filled, HOURS.map(at), st.floats(0.0, 1.0)), max_size=2).map(tuple),
    outputs=st.lists(st.tuples(HOURS.map(at), st.floats(0.0, 1.0)), max_size=3).map(tuple),
    aerated=st.lists(
        st.tuples(HOURS, st.floats(0.0, 50.0)).map(lambda two: (at(two[0]), at(sum(two)))),
        max_size=3,
    ).map(tuple),
    prefiltered=st.lists(HOURS.map(at), max_size=1).map(tuple),
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.one_of(readings(), DOSES, CHANGES), max_size=14),
    COURSES,
    st.floats(50.0, 100_000.0),
    st.floats(0.0, 45.0),
    st.sampled_from(["salt_chlorine", "bromine"]),
)
def test_no_log_breaks_the_belief(events, course, litres, celsius, sanitizer):
    tub = Tub("garden", litres, celsius, sanitizer, False)
    log = Log(tub, "upkeep", (), tuple(sorted(events, key=lambda event: event.at)))
    water = believe(log, PRODUCTS, at(2001), course)

    assert np.isfinite(water.state.belief.mean).all()
    assert np.isfinite(water.state.belief.cov).all()
    for analyte in ANALYTES:
        low, high = water.band(analyte)
        assert 0.0 <= low <= water.value(analyte) <= high < math.inf
        assert 0.0 <= water.probability(analyte, low, high) <= 1.0
    assert 0.0 < water.volume_l < math.inf
    assert water.later(24.0, aerated=True).value("ph") < 10.5


@settings(max_examples=30, deadline=None)
@given(st.sampled_from(sorted(PRODUCTS)), st.floats(0.0, 3000.0))
def test_a_foreseen_dose_moves_its_analyte_its_own_way(product, grams):
    tub = Tub("garden", 1250.0, 38.0, "salt_chlorine", False)
    events = (
        Reading(START, "ph", 7.6, 7.5, 7.7, "photo"),
        Reading(START, "total_alkalinity", 100.0, 90.0, 110.0, "photo"),
    )
    water = believe(Log(tub, "upkeep", (), events), PRODUCTS, START)
    kind = PRODUCTS[product]
    then = water.after_dose(kind, grams)

    if kind.analyte == "ph":
        rises = then.value("ph") - water.value("ph")
        assert rises * (1.0 if kind.kind == "base_carbonate" else -1.0) >= -0.02
    elif kind.analyte and not kind.is_slow and kind.kind != "dechlorinating":
        assert then.value(kind.analyte) >= water.value(kind.analyte) - 1e-6


def test_the_order_of_simultaneous_readings_hardly_matters():
    tub = Tub("garden", 1250.0, 38.0, "salt_chlorine", False)
    events = [
        Reading(START, "ph", 7.6, 7.4, 7.8, "photo"),
        Reading(START, "total_alkalinity", 100.0, 85.0, 115.0, "photo"),
        Reading(START, "free_chlorine", 3.0, 2.5, 3.5, "photo"),
    ]
    forth, back = (
        believe(Log(tub, "upkeep", (), tuple(order)), PRODUCTS, START)
        for order in (events, events[::-1])
    )

    for analyte in ("ph", "total_alkalinity", "free_chlorine"):
        assert forth.band(analyte) == pytest.approx(back.band(analyte), rel=0.02)
