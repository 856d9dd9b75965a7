"""Hypochlorous acid under cyanuric acid: what must hold whatever the constants."""

import pytest
from hypothesis import given, settings, strategies as st

from dosing.chemistry import ChemistryError
from dosing.chlorine import hypochlorous_mg_l, hypochlorous_share


def test_without_cyanuric_acid_the_share_is_the_plain_one():
    plain = 4.0 * hypochlorous_share(7.4, 38.0)

    assert hypochlorous_mg_l(4.0, 0.0, 7.4, 38.0) == pytest.approx(plain, rel=1e-9)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.1, 10.0), st.floats(0.0, 100.0), st.floats(1.0, 50.0), st.floats(6.8, 8.2))
def test_more_cyanuric_acid_leaves_less(free, cyanuric, more, ph):
    before = hypochlorous_mg_l(free, cyanuric, ph, 38.0)
    now = hypochlorous_mg_l(free, cyanuric + more, ph, 38.0)

    assert 0.0 < now < before <= free


def test_a_negative_reading_is_refused():
    with pytest.raises(ChemistryError, match="cannot be negative"):
        hypochlorous_mg_l(-1.0, 0.0, 7.5, 38.0)
