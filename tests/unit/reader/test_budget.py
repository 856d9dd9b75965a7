"""What is added for dye beside ink: it grows with the card's error and with the lamp."""

from dataclasses import replace

import numpy as np
import pytest

from reader.budget import GLOW_SD, _by_ln_z, _roots, budget_of, departure, mixing
from reader.card import standard_card
from reader.card_check import check_card
from reader.colour_fit import ColourFit
from reader.colour_model import Model
from reader.lab import SRGB_TO_XYZ_D50, delta_e00, lab_slopes, xyz_from_lab
from reader.light import Light
from tests.bench.colour_study import shoot
from tests.unit.reader.test_colour_fit import samples_of, solve

NOMINAL = standard_card()
MEASURED = replace(NOMINAL, measured=True)
PAD = np.array([65.0, 25.0, -10.0])


@pytest.fixture(scope="module")
def fit() -> ColourFit:
    return solve(*samples_of(shoot(np.random.default_rng([21, 3]), "daylight", held_out=True)))


def scaled(fit, factor):
    """Return the fit with its leave-one-out errors multiplied."""
    return replace(fit, loo_lab=fit.samples.lab + factor * (fit.loo_lab - fit.samples.lab))


def mixed(fit, by):
    """Return the fit with another 3x3, given in linear sRGB."""
    matrix = np.hstack([SRGB_TO_XYZ_D50 @ by, np.zeros((3, 3))])
    return replace(fit, model=Model(fit.model.tone, matrix))


def size(budget):
    return np.sqrt(np.trace(budget.at(PAD)))


def test_it_grows_with_the_cards_error(fit):
    small, large = (size(budget_of(scaled(fit, f), MEASURED)) for f in (1.0, 3.0))

    assert large / small == pytest.approx(3.0**0.82, rel=0.15)


def test_warm_and_odd_lamps_widen_it(fit):
    plain = mixed(fit, 0.87 * np.eye(3))
    warm = mixed(fit, np.array([[0.8, 0.3, 0.0], [0.0, 1.0, 0.0], [0.0, -0.15, 1.1]]))
    odd = mixed(fit, np.array([[1.9, -0.9, 0.0], [-0.3, 1.3, 0.0], [0.0, 0.3, 0.7]]))

    assert departure(plain) == pytest.approx(0.0, abs=1e-9)
    assert mixing(warm) > 0.8 > mixing(plain)
    assert size(budget_of(warm, MEASURED)) > size(budget_of(plain, MEASURED))
    assert size(budget_of(odd, MEASURED)) > 1.5 * size(budget_of(plain, MEASURED))


def test_it_is_a_covariance_for_every_colour(fit):
    budget = budget_of(fit, NOMINAL)
    for lab in ([5, 0, 0], [95, 0, 2], [60, 80, 60], [-3, 200, 0]):
        for added in (budget.at(np.array(lab, float)), budget.print_at(np.array(lab, float))):
            assert np.linalg.eigvalsh(added).min() > -1e-9


def test_an_unmeasured_print_adds_its_own(fit):
    assert np.all(budget_of(fit, MEASURED).print_at(PAD) == 0)
    assert np.trace(budget_of(fit, NOMINAL).print_at(PAD)) > 1.0


def check(fit, card=MEASURED, **light):
    white = fit.light
    return check_card(fit, replace(white, **light), card)


def test_the_check_tells_the_cards_error(fit):
    error = delta_e00(fit.loo_lab, fit.samples.lab)[fit.used]
    found = check(fit)

    assert found.delta_e00_median == pytest.approx(np.median(error))
    assert found.delta_e00_p95 == pytest.approx(np.quantile(error, 0.95))


@pytest.mark.parametrize(
    ("factor", "code"), [(1.9, "card_colours_off"), (4.0, "card_colours_wrong")]
)
def test_a_card_that_does_not_fit_is_named(fit, factor, code):
    at = 0.6 * factor / check(fit).delta_e00_median

    assert code in check(scaled(fit, at)).reasons


def test_an_unmeasured_card_is_remarked(fit):
    assert "card_nominal" in check(fit, NOMINAL).reasons


def test_exposure_is_judged_by_the_white(fit):
    dark = Light(fit.light.white_mm, 0.1 * fit.light.white_code)

    assert "overexposed" in check(fit, clipped_share=0.7).reasons
    assert "underexposed" in check_card(fit, dark, MEASURED).reasons


def test_a_print_whose_vivid_patches_fade_is_named_before_its_median_tells(fit):
    lab = fit.samples.lab
    vivid = np.hypot(lab[:, 1], lab[:, 2])
    vivid = (vivid > np.quantile(vivid, 0.75))[:, None]
    off = fit.loo_lab - lab
    small = 0.5 / np.median(delta_e00(fit.loo_lab, lab)) * off
    away = np.where(vivid, 0.12 * lab * np.array([0.0, 1.0, 1.0]), 0.0)
    found = check(replace(fit, loo_lab=lab + small - away))

    assert found.delta_e00_median < 0.8
    assert "card_colours_off" in found.reasons
    assert "card_colours_off" not in check(replace(fit, loo_lab=lab + small)).reasons


def test_spoiled_patches_are_named(fit):
    good = fit.samples.good.copy()
    good[:6] = False
    found = check(replace(fit, samples=replace(fit.samples, good=good)))

    assert "patches_spoiled" in found.reasons
    assert set(found.left_out) >= {patch.id for patch in NOMINAL.patches[:6]}
    few = replace(fit.samples, good=np.arange(len(good)) < 15)
    assert "few_patches" in check(replace(fit, samples=few)).reasons


def test_it_is_largest_along_what_a_phone_confuses(fit):
    """A reddish pad: brighter goes with greener, since an error of Y does both."""
    budget = budget_of(fit, MEASURED).at(np.array([60.0, 40.0, 15.0]))

    assert budget[0, 1] < 0.0
    assert budget[2, 2] > budget[0, 0]


def test_paler_pads_are_known_better(fit):
    pale, dark = (
        np.sqrt(np.trace(budget_of(fit, MEASURED).at(np.array([lightness, 10.0, 20.0]))))
        for lightness in (85.0, 45.0)
    )

    assert pale < dark


@pytest.mark.parametrize("lab", [(65.0, 25.0, -10.0), (20.0, 5.0, 25.0), (95.0, -3.0, 8.0)])
def test_paper_glow_is_the_slope_of_cielab_by_ln_z(lab):
    xyz = xyz_from_lab(np.array(lab))

    assert np.allclose(_by_ln_z(_roots(np.array(lab))), lab_slopes(xyz)[:, 2] * xyz[2])


def with_grey(card, b):
    """Return the card with the b* of its lightest grey measured like this."""
    lightest = max(card.patches, key=lambda p: p.lab[0])
    patches = tuple(
        replace(p, lab=(p.lab[0], 0.0, b)) if p is lightest else p for p in card.patches
    )
    return replace(card, patches=patches)


def test_a_measured_grey_that_is_too_blue_tells_of_paper_that_glows(fit):
    """A LED brings no ultraviolet: where a 4 % glow in Z fails, pads look bluer by about 2.7."""
    plain, glowing = (budget_of(fit, with_grey(MEASURED, b)) for b in (0.5, -2.4))

    assert plain.glow_sd == 0.0
    assert 0.015 < glowing.glow_sd < 0.03
    assert glowing.at(PAD)[2, 2] > plain.at(PAD)[2, 2] + 0.5
    assert np.allclose(glowing.at(PAD)[:2, :2], plain.at(PAD)[:2, :2])


def test_of_a_card_that_tells_nothing_of_its_paper_some_glow_is_feared(fit):
    unknown = replace(MEASURED, patches=tuple(p for p in MEASURED.patches if p.lab[0] < 70.0))

    assert budget_of(fit, unknown).glow_sd == GLOW_SD
    assert budget_of(fit, with_grey(NOMINAL, -6.0)).glow_sd == GLOW_SD
