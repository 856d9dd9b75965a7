"""Where things stand on a band bar."""

import pytest

from api.bands import MARGIN, WIDTH, band_bar, share_of

SCALE = [0, 1, 3, 5, 10]


@pytest.mark.parametrize(
    ("value", "share"),
    [(-1, 0), (0, 0), (1, 0.25), (2, 0.375), (3, 0.5), (7.5, 0.875), (10, 1), (99, 1)],
)
def test_the_charts_blocks_stand_evenly_apart(value, share):
    assert share_of(value, SCALE) == pytest.approx(share)


def test_a_bar_shows_wanted_range_band_and_value():
    pad = {"value": 3.0, "low": 1.0, "high": 5.0, "scale": SCALE, "unit": "mg/L"}
    bar = band_bar(pad, (3.0, 10.0))

    assert bar.value == MARGIN + WIDTH / 2
    assert (bar.band.start, bar.band.end) == (MARGIN + WIDTH / 4, MARGIN + 0.75 * WIDTH)
    assert (bar.wanted.start, bar.wanted.end) == (MARGIN + WIDTH / 2, MARGIN + WIDTH)
    assert bar.words == "3.00 mg/L, 95 % band 1.00 to 5.00; wanted 3 to 10"


def test_an_open_end_reaches_the_end_of_the_scale():
    pad = {"value": 9.0, "low": 8.0, "high": None, "scale": SCALE, "unit": "mg/L"}
    bar = band_bar(pad, None)

    assert bar.band.end == MARGIN + WIDTH
    assert bar.band.open_high
    assert bar.wanted is None


def test_an_unread_pad_has_a_scale_and_no_band():
    pad = {"value": None, "low": None, "high": None, "scale": SCALE, "unit": "mg/L"}
    bar = band_bar(pad, (3.0, None))

    assert bar.band is None
    assert bar.value is None
    assert bar.wanted.open_high
