"""Many looks at a gate's edge: they decide in the end, mostly rightly, and never lightly."""

import math

import numpy as np
import pytest

from dosing.bands import Band
from dosing.edge import FEW, on_the_edge
from dosing.gates import GateState


def seen(low=60.0, high=150.0):
    return GateState("alkalinity", "total_alkalinity", low, high, "mg/L", "undecided", 0.5)


def looks(*values, sd=5.0):
    return [Band(value, sd, sd) for value in values]


def test_few_looks_are_left_to_the_pool():
    assert on_the_edge(seen(), looks(*[70.0] * FEW)).state == "undecided"


def test_the_odds_are_those_of_two_normal_distributions():
    values = [61.0, 66.0, 59.0, 64.0, 68.0]
    up, down = (
        math.prod(math.exp(-0.5 * ((value - at) / 5.0) ** 2) for value in values)
        for at in (62.5, 57.5)
    )
    found = on_the_edge(seen(high=None), looks(*values))
    assert found.state == "open"
    assert found.probability == pytest.approx(up / (up + down), abs=1e-4)


@pytest.mark.parametrize(("level", "said"), [(63.0, "open"), (57.0, "shut"), (155.0, "shut")])
def test_what_is_a_little_off_the_edge_is_decided(level, said):
    assert on_the_edge(seen(), looks(*[level] * 9)).state == said


def test_a_gross_error_with_its_wide_band_weighs_little():
    bands = [*looks(*[57.5] * 8), Band(120.0, 60.0, 60.0)]
    assert on_the_edge(seen(), bands).state == "shut"


@pytest.mark.parametrize(
    ("off", "wrong", "most"), [(0.0, 0.6, 14), (0.5, 0.16, 12), (1.0, 0.04, 9)]
)
def test_it_ends_soon_and_errs_seldom(off, wrong, most):
    """`off` is how far outside the truth lies, in standard deviations of a reading."""
    rng = np.random.default_rng(20261125)
    took, opened = [], 0
    for _ in range(400):
        bands, state = [], "undecided"
        while state == "undecided" and len(bands) < 60:
            bands += looks(60.0 - 5.0 * (off + rng.normal()))
            state = on_the_edge(seen(high=None), bands).state
        took.append(len(bands))
        opened += state == "open"
    assert opened / 400 <= wrong
    assert np.percentile(took, 95) <= most
