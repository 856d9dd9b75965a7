"""The path of a pad's colour over its value, against dye models it does not know."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline, PchipInterpolator

from calibration.curve import cov_at, fit_curve, lab_at, pooled_cov, steps_at, value_at
from calibration.splines import hermite, not_a_knot_slopes, pchip_slopes
from calibration.table import FROM_CHART, Block
from tests.unit.calibration.dyes import ALKALINITY, CHLORINE, DYES, PH, chart, colours


@pytest.mark.parametrize("count", [2, 3, 4, 7])
@pytest.mark.parametrize(
    ("slopes", "library"), [(pchip_slopes, PchipInterpolator), (not_a_knot_slopes, CubicSpline)]
)
def test_interpolation_agrees_with_the_library(count, slopes, library):
    rng = np.random.default_rng(3)
    nodes, labs = np.sort(rng.uniform(0, 9, count)), rng.normal(50, 20, (count, 3))
    at = np.linspace(nodes[0], nodes[-1], 101)

    mine = hermite(at, nodes, labs, slopes(nodes, labs))

    assert mine == pytest.approx(library(nodes, labs)(at), abs=1e-9)


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_the_path_goes_through_every_block(dye):
    curve = fit_curve(chart(dye))

    assert lab_at(curve, dye.values) == pytest.approx(colours(dye, dye.values), abs=1e-9)
    assert steps_at(curve, dye.values) == pytest.approx(np.arange(len(dye.values)))


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_steps_and_values_undo_each_other(dye):
    curve = fit_curve(chart(dye))
    steps = np.linspace(0, curve.last + 1, 50)

    assert steps_at(curve, value_at(curve, steps)) == pytest.approx(steps)
    assert (np.diff(curve.grid_values) > 0).all()


@pytest.mark.parametrize("dye", DYES, ids=lambda dye: dye.analyte)
def test_between_blocks_the_path_knows_its_own_error(dye):
    curve = fit_curve(chart(dye))
    steps = np.linspace(0, curve.last, 201)
    off = lab_at(curve, value_at(curve, steps)) - colours(dye, value_at(curve, steps))

    own = np.array([np.sqrt(np.trace(cov_at(curve, s))) for s in steps])

    assert np.linalg.norm(off, axis=1).max() < 2.0
    assert (np.linalg.norm(off, axis=1) < 0.1 + 3.0 * own).all()


def test_the_path_ends_at_value_zero_and_goes_on_past_the_last_block():
    alkalinity, ph = fit_curve(chart(ALKALINITY)), fit_curve(chart(PH))

    assert alkalinity.grid_values[0] == 0.0
    assert alkalinity.grid_values[-1] > 240.0
    assert ph.grid_values[0] < 6.2


def test_repeats_shape_the_covariance_and_few_of_them_are_drawn_to_the_pool():
    wide, narrow = np.diag([1.0, 9.0, 4.0]), np.diag([1.0, 1.0, 1.0])
    blocks = [
        Block(v, colours(CHLORINE, v), 5, wide if v == 1.0 else narrow) for v in CHLORINE.values
    ]

    curve = fit_curve(chart(CHLORINE, blocks=blocks))

    pooled, total = pooled_cov(blocks)
    assert total == 24.0
    assert curve.has_repeats
    at_wide = cov_at(curve, 2.0)[1, 1]
    assert pooled[1, 1] * 1.2 < at_wide < 9.0 * 1.2
    assert at_wide == pytest.approx((4 * 9.0 + 8 * pooled[1, 1]) / 12 * 1.2, rel=1e-6)


def test_a_printed_chart_has_a_wider_covariance_and_no_repeats():
    printed = fit_curve(chart(CHLORINE, kind=FROM_CHART))

    assert not printed.has_repeats
    assert np.trace(cov_at(printed, 2.0)) > 5.0


@pytest.mark.parametrize(("dye", "value", "off"), [(ALKALINITY, 100.0, 4.0), (PH, 7.4, 0.025)])
def test_strips_that_turn_elsewhere_widen_the_path_along_itself(dye, value, off):
    curve = fit_curve(chart(dye))
    ahead = lab_at(curve, value + off) - lab_at(curve, value - off)
    moved = np.linalg.norm(ahead) / 2.0
    ahead /= np.linalg.norm(ahead)

    along = ahead @ cov_at(curve, float(steps_at(curve, value))) @ ahead

    assert np.sqrt(along) == pytest.approx(moved, rel=0.3)


def test_water_without_the_analyte_looks_the_same_on_every_strip():
    assert np.trace(cov_at(fit_curve(chart(ALKALINITY)), 0.0)) < 1e-6
