"""Pictures are well-formed, hold what they show and escape what they are given."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from calibration.curve import fit_curve
from calibration.estimate import estimate, posterior
from calibration.picture import draw_path
from calibration.value_picture import draw_posterior, draw_untold
from tests.unit.calibration.dyes import CHLORINE, DYES, PH, chart, colours

SVG = "{http://www.w3.org/2000/svg}"


def words(svg):
    return [x.text for x in ElementTree.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314 - our own


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_the_path_shows_every_block(dye):
    found = words(draw_path(fit_curve(chart(dye))))

    for value in dye.values:
        assert found.count(f"{value:g}") >= 2


def test_a_colour_seen_is_marked_and_names_are_escaped():
    odd = replace(chart(PH), analyte="<ph> & 'co'")

    svg = draw_path(fit_curve(odd), colours(PH, 7.3), np.eye(3))

    assert "this pad" in words(svg)
    assert "pad 1: <ph> & 'co'" in words(svg)


@pytest.mark.parametrize(("value", "says"), [(2.0, " to "), (20.0, "at least 10 mg/L")])
def test_the_posterior_says_value_and_band(value, says):
    curve, lab, cov = fit_curve(chart(CHLORINE)), colours(CHLORINE, value), 0.3 * np.eye(3)

    svg = draw_posterior(curve, posterior(curve, lab, cov), estimate(curve, lab, cov))

    assert any(says in line for line in words(svg))


def test_a_pad_that_cannot_be_told_has_neither_value_nor_band_in_words():
    curve, lab, cov = fit_curve(chart(CHLORINE)), colours(CHLORINE, 2.0), 0.3 * np.eye(3)
    seen, read = posterior(curve, lab, cov), estimate(curve, lab, cov)
    found = words(draw_posterior(curve, seen, read, is_told=False))

    assert found[0].endswith("cannot be told")
    assert not any("sure" in line for line in found)


def test_what_speaks_against_a_reading_stands_below_its_band():
    curve, lab, cov = fit_curve(chart(CHLORINE)), colours(CHLORINE, 2.0), 0.3 * np.eye(3)
    seen, read = posterior(curve, lab, cov), estimate(curve, lab, cov)
    found = words(draw_posterior(curve, seen, read, remark="Check by hand. Not sharp."))

    assert found[2] == "Check by hand. Not sharp."


def test_a_pad_without_a_colour_shows_its_chart_and_why():
    why = "A pad is covered. Take what lies over the strip away, and take the photo again."
    found = words(draw_untold(fit_curve(chart(PH)), why, (7.2, 7.8)))

    assert found[0] == "pH: cannot be told"
    assert " ".join(found[1:]).startswith(why)
    assert {f"{value:g}" for value in PH.values} < set(found)
    assert "wanted 7.2 to 7.8" in found


def test_thousands_are_written_out():
    curve, lab, cov = fit_curve(chart(CHLORINE)), colours(CHLORINE, 2.0), 0.3 * np.eye(3)
    read = replace(estimate(curve, lab, cov), value=2520.4, low=999.7, high=None)
    found = words(draw_posterior(curve, posterior(curve, lab, cov), read))

    assert found[0].endswith("2520 mg/L")
    assert "at least 1000 mg/L" in found[1]
