"""Gates open from 0.95, shut to 0.05, undecided between; the printed number fits the state."""

import pytest

from dosing.bands import Band
from dosing.gates import judged, needs, side, standing_gate, state_of
from dosing.procedure import load_builtin

GATES = {gate.id: gate for _, gate in load_builtin("salt_startup").gates()}


@pytest.mark.parametrize(
    ("probability", "state"),
    [(1.0, "open"), (0.95, "open"), (0.9499, "undecided"), (0.0501, "undecided"), (0.05, "shut")],
)
def test_a_probability_has_one_state(probability, state):
    assert state_of(probability) == state


def test_a_ph_in_the_middle_is_open_and_one_far_off_is_shut():
    assert judged(GATES["ph"], Band(7.5, 0.1, 0.1)) == ("open", pytest.approx(0.9973, abs=1e-4))
    assert judged(GATES["ph"], Band(8.2, 0.1, 0.1))[0] == "shut"
    assert side(GATES["ph"], Band(8.2, 0.1, 0.1)) == "high"
    assert side(GATES["ph"], Band(6.9, 0.1, 0.1)) == "low"


def test_no_band_waits_and_a_contradiction_decides_nothing():
    assert standing_gate(GATES["ph"], None).state == "waiting"
    assert standing_gate(GATES["ph"], None).probability is None
    contradicted = standing_gate(GATES["ph"], Band(7.5, 0.05, 0.05), contradicts=True)
    assert contradicted.state == "undecided"
    assert 0.05 < contradicted.probability < 0.95


def test_needs_in_words():
    assert needs(7.2, 7.8, "pH") == "7.2 to 7.8"
    assert needs(None, 300.0, "ug/L") == "at most 300 ug/L"
    assert needs(3.0, None, "mg/L") == "at least 3 mg/L"
