"""The curve undone: plain sRGB for zeros, always rising, and each number undoes its own fault."""

import numpy as np
import pytest

from reader.lab import colour_science
from reader.tone import (
    HIGHEST,
    LOWEST,
    PRIOR_SD,
    linear_from_code,
    linear_with_slopes,
    srgb_decode,
)

PLAIN = np.zeros(6)
GREY = np.repeat(np.linspace(0.02, 1.0, 60)[:, None], 3, axis=1)


def test_zeros_are_plain_srgb():
    colour = colour_science()
    code = np.random.default_rng(2).uniform(0.05, 1.0, (50, 3))

    assert linear_from_code(code, PLAIN) == pytest.approx(colour.models.eotf_sRGB(code), abs=1e-9)


def test_codes_below_zero_go_straight_on():
    assert srgb_decode(np.array([-0.02])) == pytest.approx([-0.02 / 12.92])


def test_a_shoulder_is_undone():
    light = np.linspace(0.05, 1.0, 30)
    pressed = light * 1.4 / (1 + 0.4 * light)
    code = np.repeat((1.055 * pressed ** (1 / 2.4) - 0.055)[:, None], 3, axis=1)
    tone = PLAIN.copy()
    tone[1] = 0.4

    undone = linear_from_code(code, tone)[:, 0]
    assert undone / undone[-1] == pytest.approx(light / light[-1], rel=1e-6)


def test_saturation_is_undone_about_the_luma():
    code = np.array([[0.7, 0.4, 0.3]])
    luma = code @ np.array([0.299, 0.587, 0.114])
    vivid = luma[:, None] + 1.2 * (code - luma[:, None])
    tone = PLAIN.copy()
    tone[4] = np.log(1.2)

    assert linear_from_code(vivid, tone) == pytest.approx(linear_from_code(code, PLAIN))


@pytest.mark.parametrize("number", range(4))
@pytest.mark.parametrize("sign", [-1, 1])
def test_the_curve_keeps_rising_for_likely_phones(number, sign):
    tone = PLAIN.copy()
    tone[number] = np.clip(sign * 2 * PRIOR_SD, LOWEST, HIGHEST)[number]

    assert np.all(np.diff(linear_from_code(GREY, tone)[:, 0]) > 0)


def test_several_tones_at_once_give_what_each_gives_alone():
    tones = np.random.default_rng(3).normal(0, 0.1, (4, 6))
    together = linear_from_code(GREY, tones)

    for tone, one in zip(tones, together, strict=True):
        assert one == pytest.approx(linear_from_code(GREY, tone))


@pytest.mark.parametrize("seed", range(5))
def test_the_slopes_are_what_small_steps_show(seed):
    rng = np.random.default_rng(seed)
    code, tone = rng.uniform(0.02, 1.0, (40, 3)), rng.normal(0, 0.5, 6) * PRIOR_SD
    linear, slopes = linear_with_slopes(code, tone)

    assert linear == pytest.approx(linear_from_code(code, tone))
    for number in range(5):
        step = np.eye(6)[number] * 1e-6
        moved = linear_from_code(code, tone + step) - linear_from_code(code, tone - step)
        assert slopes[number] == pytest.approx(moved / 2e-6, rel=1e-4, abs=1e-6)
