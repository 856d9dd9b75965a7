"""The renderer's colour against published values."""

import numpy as np
import pytest

from tests.render import light
from tests.render.spectra import WAVES_NM, colour, d50, lab_d50, observer


def test_the_perfect_diffuser_is_white():
    assert lab_d50(np.ones(len(WAVES_NM))) == pytest.approx([100.0, 0.0, 0.0], abs=1e-9)


def test_daylight_has_the_chromaticity_of_d50():
    """colour-science 0.4.7, CCS_ILLUMINANTS; our grid is coarser than the standard's."""
    xyz = d50() @ observer()
    tabled = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    assert xyz[:2] / xyz.sum() == pytest.approx(tabled, abs=0.0005)


def test_lab_agrees_with_the_reference_library():
    """colour-science 0.4.7, XYZ_to_Lab on the same tristimulus values."""
    rng = np.random.default_rng(4)
    reflectance = rng.uniform(0.02, 0.9, (20, 1)) * np.exp(-(((WAVES_NM - 550) / 90) ** 2))
    white = d50() @ observer()
    xyz = (reflectance * d50()) @ observer()
    expected = colour.XYZ_to_Lab(xyz / white[1], colour.XYZ_to_xy(white))
    assert lab_d50(reflectance) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("kind", light.KINDS)
@pytest.mark.parametrize("other", [False, True])
def test_every_lamp_is_a_spectrum_of_the_same_brightness(kind, other):
    for seed in range(8):
        lamp = light.make(kind, seed, other)
        assert (lamp.power >= 0).all()
        assert lamp.power @ observer()[:, 1] == pytest.approx(1.0)
        assert 0.0 <= lamp.near_uv < 5.0


def test_a_seed_gives_the_same_lamp_again():
    first, again = light.make("led", 5), light.make("led", 5)
    assert first.name == again.name
    assert (first.power == again.power).all()
