"""The way from codes to CIELAB: right on photos it never saw, robust, and honest about itself."""

from dataclasses import replace

import numpy as np
import pytest

from reader.colour_fit import Samples, solve
from reader.lab import delta_e00
from reader.light import Light
from reader.tone import srgb_decode, srgb_encode
from tests.bench.colour_study import shoot

PHOTOS = 6


def samples_of(shot):
    good = (shot.patch_code.max(axis=1) < 0.993) & (shot.patch_code.min(axis=1) > 0.003)
    light = Light(shot.white_mm, shot.white_code)
    return Samples(shot.patch_code, light.code_at(shot.patch_mm), shot.patch_lab, good), light


@pytest.fixture(scope="module")
def shots():
    return [shoot(np.random.default_rng([11, i]), "daylight", held_out=True) for i in range(PHOTOS)]


@pytest.fixture(scope="module")
def fits(shots):
    return [solve(*samples_of(shot)) for shot in shots]


def patch_errors(fit):
    return delta_e00(fit.loo_lab, fit.samples.lab)


def test_left_out_patches_are_told_from_the_others(fits):
    medians = [np.median(patch_errors(fit)[fit.used]) for fit in fits]

    assert np.median(medians) < 0.9
    assert max(medians) < 1.3


def test_leaving_a_patch_out_in_closed_form_is_leaving_it_out(shots):
    """The closed form keeps curve, weights and scatter; a fit without the patch finds its own."""
    samples, light = samples_of(shots[0])
    whole = solve(samples, light)
    for patch in (5, 21, 40):
        good = samples.good.copy()
        good[patch] = False
        without = solve(replace(samples, good=good), light)
        lab, _ = without.read(samples.code[[patch]], shots[0].patch_mm[[patch]])

        assert delta_e00(lab[0], whole.loo_lab[patch]) < 0.25


def test_dyes_are_read_about_as_well_as_their_metamerism_allows(shots, fits):
    errors = [
        delta_e00(fit.read(shot.pad_code, shot.pad_mm)[0], shot.pad_lab)
        for shot, fit in zip(shots, fits, strict=True)
    ]

    assert np.median(np.concatenate(errors)) < 1.8


def test_the_covariance_is_one(shots, fits):
    _, cov = fits[0].read(shots[0].pad_code, shots[0].pad_mm)

    assert np.linalg.eigvalsh(cov).min() > 0
    assert np.sqrt(cov[:, [0, 1, 2], [0, 1, 2]]).max() < 2.0


def test_a_finger_over_some_patches_changes_little(shots):
    samples, light = samples_of(shots[1])
    spoiled = samples.code.copy()
    covered = [3, 4, 18, 19, 33]
    spoiled[covered] = [0.75, 0.55, 0.45]
    clean, touched = solve(samples, light), solve(replace(samples, code=spoiled), light)
    there = shots[1].pad_code, shots[1].pad_mm

    assert not touched.used[covered].any()
    assert np.median(delta_e00(clean.read(*there)[0], touched.read(*there)[0])) < 0.3


def test_a_clean_card_keeps_nearly_all_patches(fits):
    assert min(fit.used.mean() for fit in fits) > 0.75


def test_exposure_does_not_matter(shots):
    samples, light = samples_of(shots[2])
    there = shots[2].pad_code, shots[2].pad_mm
    usual = solve(samples, light).read(*there)[0]

    def dimmed(code):
        return srgb_encode(0.8 * srgb_decode(code))

    dark_light = Light(light.white_mm, dimmed(light.white_code))
    white = dark_light.code_at(shots[2].patch_mm)
    dark = Samples(dimmed(samples.code), white, samples.lab, samples.good)
    read = solve(dark, dark_light).read(dimmed(there[0]), there[1])[0]

    assert np.median(delta_e00(usual, read)) < 0.4


def test_with_few_patches_left_it_still_answers(shots):
    samples, light = samples_of(shots[3])
    few = samples.good & (np.arange(len(samples.good)) % 4 == 0)
    fit = solve(replace(samples, good=few), light)
    lab, cov = fit.read(shots[3].pad_code, shots[3].pad_mm)
    _, cov_of_all = solve(samples, light).read(shots[3].pad_code, shots[3].pad_mm)

    assert np.isfinite(lab).all()
    assert np.median(np.trace(cov, axis1=1, axis2=2)) > np.median(
        np.trace(cov_of_all, axis1=1, axis2=2)
    )
