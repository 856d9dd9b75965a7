"""Readings of one analyte together: what is pooled, what moved on, what the belief takes back."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from dosing.gates import GateState
from dosing.log import Reading
from dosing.standing import Standing, as_it_moves

START = datetime(2025, 6, 1, 8, tzinfo=UTC)


def read(standing, minutes, value, analyte="ph", half=0.2):
    at = START + timedelta(minutes=minutes)
    standing.read(Reading(at, analyte, value, value - half, value + half, "photo", "tub"))


def test_readings_of_one_dip_are_pooled():
    standing = Standing()
    read(standing, 0, 7.0)
    read(standing, 5, 7.2)
    assert standing.band.mode == pytest.approx(7.1, abs=0.02)
    assert standing.count == 2


def test_a_ph_from_before_an_hour_of_air_is_left_behind():
    standing = Standing()
    for minute in (0, 3, 6):
        read(standing, minute, 7.0)
    read(standing, 70, 7.9)
    assert standing.band.mode == pytest.approx(7.9, abs=0.01)
    assert standing.count == 4, "the looks still count: the next answer is no fourth dip in a row"


def test_the_looks_begin_anew_with_the_next_visit():
    standing = Standing()
    for minute in (0, 3, 6, 60 * 24):
        read(standing, minute, 7.8)
    assert standing.count == 1


def test_what_does_not_move_by_itself_stays_pooled():
    standing = Standing()
    read(standing, 0, 80, "total_alkalinity", 10)
    read(standing, 300, 90, "total_alkalinity", 10)
    assert standing.band.mode == pytest.approx(85, abs=0.5)


@dataclass
class Believed:
    """A belief that says one probability for whatever it is asked."""

    share: float

    def probability(self, *_):
        return self.share


def gate(state, probability):
    return GateState("ph", "ph", 7.2, 7.8, "pH", state, probability)


@pytest.mark.parametrize(
    ("seen", "believed", "minutes", "said"),
    [
        (gate("open", 0.98), 0.99, 60, "open"),
        (gate("open", 0.98), 0.30, 60, "undecided"),
        (gate("open", 0.98), 0.30, 5, "undecided"),
        (gate("open", 0.98), 0.85, 5, "open"),
        (gate("shut", 0.01), 0.90, 60, "undecided"),
        (gate("shut", 0.01), 0.10, 60, "shut"),
        (gate("undecided", 0.5), 0.99, 60, "undecided"),
    ],
)
def test_an_aged_reading_must_be_borne_out_by_the_belief(seen, believed, minutes, said):
    standing = Standing(at=START, count=1)
    now = START + timedelta(minutes=minutes)
    assert as_it_moves(seen, standing, Believed(believed), now).state == said


def test_a_reading_of_last_week_is_left_to_the_belief():
    standing = Standing()
    read(standing, 0, 80, "total_alkalinity", 10)
    read(standing, 60 * 24 * 10, 100, "total_alkalinity", 10)
    assert standing.band.mode == pytest.approx(100, abs=0.5)
    assert standing.count == 1


def test_looks_at_the_alkalinity_add_up_from_day_to_day():
    standing = Standing()
    for day in range(6):
        read(standing, 60 * 24 * day, 60, "total_alkalinity", 10)
    assert len(standing.looks) == standing.count == 6
