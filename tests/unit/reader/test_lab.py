"""The formulas written out are colour-science's, and what is no colour is refused."""

import numpy as np
import pytest

from reader.lab import (
    SRGB_TO_XYZ_D50,
    LabRangeError,
    checked,
    colour_science,
    delta_e00,
    fast_lab,
    lab_from_xyz,
    lab_slopes,
    srgb_from_lab,
    tolerance_scale,
    xyz_from_lab,
)

ANY = np.random.default_rng(1)
XYZ = ANY.random((200, 3)) * np.array([0.9, 0.95, 0.8]) + 0.02


def test_the_fast_lab_is_colour_sciences():
    dark = np.vstack([XYZ, XYZ * 0.01])

    assert fast_lab(dark) == pytest.approx(lab_from_xyz(dark), abs=1e-9)


def test_lab_slopes_are_the_slopes_of_lab():
    for scale in (1.0, 0.005):
        xyz, small = XYZ[:20] * scale, 1e-7
        steps = [
            (fast_lab(xyz + small * e) - fast_lab(xyz - small * e)) / (2 * small) for e in np.eye(3)
        ]

        assert lab_slopes(xyz) == pytest.approx(np.stack(steps, axis=-1), rel=1e-4, abs=1e-3)


def test_tolerance_scaled_differences_are_nearly_ciede2000():
    lab = np.column_stack([ANY.uniform(25, 95, 300), ANY.normal(0, 30, (300, 2))])
    lab = lab[np.hypot(lab[:, 1], lab[:, 2]) > 8]
    step = ANY.normal(0, 0.3, lab.shape)
    scaled = np.linalg.norm(np.einsum("kij,kj->ki", tolerance_scale(lab), step), axis=1)

    ratio = scaled / delta_e00(lab - step / 2, lab + step / 2)
    assert np.median(ratio) == pytest.approx(1.0, abs=0.05)
    assert np.quantile(ratio, [0.05, 0.95]) == pytest.approx([1.0, 1.0], abs=0.35)


def test_srgb_matrix_is_colour_sciences():
    colour = colour_science()
    to_d50 = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ([0.3127, 0.3290]), colour.xy_to_XYZ([0.3457, 0.3585]), transform="Bradford"
    )
    matrix = to_d50 @ colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ

    assert pytest.approx(matrix, abs=1e-9) == SRGB_TO_XYZ_D50


def test_there_and_back():
    assert xyz_from_lab(lab_from_xyz(XYZ)) == pytest.approx(XYZ, abs=1e-12)


def test_white_and_black_on_a_screen():
    shown = srgb_from_lab(np.array([[100.0, 0.0, 0.0], [0.0, 0.0, 0.0]]))

    assert shown == pytest.approx(np.array([[1.0, 1.0, 1.0], [0.0, 0.0, 0.0]]), abs=2e-3)


@pytest.mark.parametrize("lab", [[50, 0, np.nan], [50, 0, np.inf], [50, 0], [5000, 0, 0]])
def test_what_is_no_colour_is_refused(lab):
    with pytest.raises(LabRangeError, match="is no CIELAB colour; give L, a, b as three finite"):
        checked(np.array(lab, float))
