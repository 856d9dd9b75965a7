"""Colour to value: does the band hold, and is the reason named where it cannot."""

import math
import subprocess
import sys

import numpy as np
import pytest

from calibration.curve import RESPONSE_PH, RESPONSE_SHARE, fit_curve, steps_at, value_at
from calibration.estimate import WIDE_STEPS, estimate, posterior
from calibration.table import FROM_CHART, Block
from tests.unit.calibration.dyes import ALKALINITY, CHLORINE, DYES, HARDNESS, PH, chart, colours

SHARP = np.diag([0.2, 0.3, 0.3]) ** 2
USUAL = np.diag([0.8, 1.5, 1.5]) ** 2


def holds(band, value):
    return (band.low is None or band.low <= value) and (band.high is None or value <= band.high)


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
@pytest.mark.parametrize("dof", [math.inf, 5.0])
def test_the_95_percent_band_holds_95_percent(dye, dof):
    """1200 pads drawn as is told, strips that turn elsewhere too: within 3 errors of 0.95."""
    curve, rng = fit_curve(chart(dye)), np.random.default_rng(7)
    strips, held = np.random.default_rng(8), 0
    for step in rng.uniform(0, curve.last, 1200):
        value = float(value_at(curve, step))
        heat = 1.0 if math.isinf(dof) else dof / rng.chisquare(dof)
        turns = strips.normal()
        shown = value + RESPONSE_PH * turns if dye is PH else value * (1 + RESPONSE_SHARE * turns)
        lab = rng.multivariate_normal(colours(dye, shown), heat * USUAL)
        held += holds(estimate(curve, lab, USUAL, dof=dof), value)

    assert held / 1200 == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / 1200))


def test_the_band_from_few_repeats_holds_too():
    """Tables from four strips a value, strips varying: the small n is in the tails."""
    rng, held, asked = np.random.default_rng(11), 0, 0
    scatter = np.array([[0.8, 0.5, -0.3], [0.5, 2.2, -1.0], [-0.3, -1.0, 2.8]])
    for _ in range(60):
        blocks = []
        for v in CHLORINE.values:
            strips = rng.multivariate_normal(colours(CHLORINE, v), scatter, 4)
            blocks.append(Block(v, strips.mean(axis=0), 4, np.cov(strips.T)))
        curve = fit_curve(chart(CHLORINE, blocks=blocks))
        for step in rng.uniform(0, curve.last, 20):
            value = float(value_at(curve, step))
            lab = rng.multivariate_normal(colours(CHLORINE, value), scatter)
            held += holds(estimate(curve, lab, 0.01 * np.eye(3)), value)
            asked += 1

    assert 0.93 <= held / asked <= 0.98


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_a_block_reads_as_its_own_value(dye):
    curve = fit_curve(chart(dye))
    for value in dye.values[1:-1]:
        found = estimate(curve, colours(dye, value), SHARP)

        assert found.value == pytest.approx(value, abs=0.03 * max(value, 1.0))
        assert found.reasons == ()


def test_the_band_is_the_shortest_interval_of_values():
    curve = fit_curve(chart(ALKALINITY))
    lab = colours(ALKALINITY, 100.0)

    found, seen = estimate(curve, lab, USUAL), posterior(curve, lab, USUAL)

    held = np.interp([found.low, found.high], seen.values, seen.cumulative)
    assert held[1] - held[0] == pytest.approx(0.95, abs=1e-6)
    starts = np.linspace(0.0, 0.049, 200)
    lows = np.interp(starts, seen.cumulative, seen.values)
    highs = np.interp(starts + 0.95, seen.cumulative, seen.values)
    assert found.high - found.low <= (highs - lows).min() * 1.002


def test_value_zero_has_a_band_that_begins_at_zero():
    found = estimate(fit_curve(chart(CHLORINE)), colours(CHLORINE, 0.0), USUAL)

    assert found.low == 0.0
    assert found.high < 0.5
    assert found.value < 0.15
    assert found.reasons == ()


def test_past_the_last_block_the_band_is_open_and_says_so():
    curve = fit_curve(chart(CHLORINE))

    found = estimate(curve, colours(CHLORINE, 16.0), SHARP)

    assert found.reasons == ("beyond_chart",)
    assert (found.value, found.low, found.high) == (10.0, 10.0, None)


def test_before_the_first_block_the_band_is_open_below():
    curve = fit_curve(chart(PH))

    found = estimate(curve, colours(PH, 5.6), SHARP)

    assert found.reasons == ("beyond_chart",)
    assert (found.value, found.low, found.high) == (6.2, None, 6.2)


def test_a_colour_far_from_the_path_is_not_this_pad():
    found = estimate(fit_curve(chart(CHLORINE)), [60.0, -40.0, 30.0], USUAL)

    assert "off_curve" in found.reasons
    assert found.distance > 10.0


def test_a_chart_that_comes_back_has_two_values():
    """Blocks run out to red and back to nearly the first colour: a fold."""
    labs = [(80, 0, 10), (70, 25, 20), (62, 40, 25), (70, 26, 22), (80, 2, 12)]
    blocks = [
        Block(v, np.array(lab, dtype=float)) for v, lab in zip((0, 1, 2, 4, 8), labs, strict=True)
    ]

    found = estimate(fit_curve(chart(CHLORINE, blocks=blocks)), [70, 25.5, 21], USUAL)

    assert "two_values" in found.reasons
    assert found.low < 1.0
    assert found.high > 4.0


def test_a_wide_band_is_doubted():
    found = estimate(fit_curve(chart(HARDNESS)), colours(HARDNESS, 100.0), 25.0 * USUAL)

    assert "wide_band" in found.reasons
    assert found.steps > WIDE_STEPS


def test_a_flat_end_gives_an_open_or_wide_band_never_a_sharp_one():
    """The last two blocks look the same."""
    blocks = [Block(v, colours(CHLORINE, min(v, 5.0))) for v in CHLORINE.values[:-1]]
    blocks.append(Block(10.0, colours(CHLORINE, 5.0) + 0.2))

    found = estimate(fit_curve(chart(CHLORINE, blocks=blocks)), colours(CHLORINE, 5.0), USUAL)

    assert {"wide_band", "beyond_chart"} & set(found.reasons)
    assert found.high is None or found.high - found.low > 4.0


def test_a_table_from_the_printed_chart_says_so():
    found = estimate(fit_curve(chart(PH, kind=FROM_CHART)), colours(PH, 7.2), USUAL)

    assert "from_chart" in found.reasons


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_a_band_always_holds_its_own_value(dye):
    curve, rng = fit_curve(chart(dye)), np.random.default_rng(5)
    for _ in range(300):
        lab = rng.uniform([0, -60, -60], [100, 60, 60])
        found = estimate(curve, lab, np.diag(rng.uniform(0.1, 30, 3)), dof=rng.uniform(1, 30))

        assert holds(found, found.value)
        assert 0.0 <= float(steps_at(curve, found.value)) <= curve.last + 2.0
        assert math.isfinite(found.steps)


@pytest.mark.parametrize(
    ("lab", "cov", "confidence", "words"),
    [
        ([1, 2], np.eye(3), 0.95, "shapes"),
        ([1, 2, math.nan], np.eye(3), 0.95, "not finite"),
        ([1, 2, 3], -np.eye(3), 0.95, "negative variance"),
        ([1, 2, 3], np.eye(3), 1.0, "between 0 and 1"),
    ],
)
def test_wrong_arguments_are_refused(lab, cov, confidence, words):
    with pytest.raises(ValueError, match=words):
        estimate(fit_curve(chart(PH)), lab, cov, confidence)


def test_the_reading_path_starts_without_scipy():
    """Importing it costs about as long as reading a photo."""
    heavy = "any(m.startswith(('scipy', 'colour')) for m in sys.modules)"
    code = f"import sys, calibration; print({heavy})"

    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert out.stdout.strip() == "False"
