"""The calibration's own colour formulas against published values and the reference library."""

import colour
import numpy as np
import pytest

from calibration.lab import delta_e00, hex_from_lab, is_possible, lab_from_hex

SHARMA_2005 = [
    # G. Sharma, W. Wu, E. N. Dalal, Color Res. Appl. 30 (1), 21-30, 2005, Table 1:
    # pairs 1, 2, 3, 7, 9, 17, 25; printed to 4 decimals
    ((50.0000, 2.6772, -79.7751), (50.0000, 0.0000, -82.7485), 2.0425),
    ((50.0000, 3.1571, -77.2803), (50.0000, 0.0000, -82.7485), 2.8615),
    ((50.0000, 2.8361, -74.0200), (50.0000, 0.0000, -82.7485), 3.4412),
    ((50.0000, 0.0000, 0.0000), (50.0000, -1.0000, 2.0000), 2.3669),
    ((50.0000, 2.4900, -0.0010), (50.0000, -2.4900, 0.0009), 7.1792),
    ((50.0000, 2.5000, 0.0000), (73.0000, 25.0000, -18.0000), 27.1492),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
]


@pytest.mark.published("sharma2005")
@pytest.mark.parametrize(("first", "second", "printed"), SHARMA_2005)
def test_ciede2000_agrees_with_the_published_pairs(first, second, printed):
    assert float(delta_e00(first, second)) == pytest.approx(printed, abs=0.00005)
    assert float(delta_e00(second, first)) == pytest.approx(printed, abs=0.00005)


def test_ciede2000_agrees_with_the_reference_library():
    rng = np.random.default_rng(2)
    first, second = rng.uniform([0, -90, -90], [100, 90, 90], (2, 500, 3))

    theirs = colour.delta_E(first, second, method="CIE 2000")

    assert delta_e00(first, second) == pytest.approx(theirs, abs=1e-6)


@pytest.mark.parametrize("text", ["#c05a3c", "8fb4d0", "#ffffff", "#204030", "#e0d060"])
def test_hex_agrees_with_the_reference_library(text):
    """colour-science: sRGB to XYZ with Bradford to D50, then CIELAB under D50."""
    rgb = [int(text.lstrip("#")[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    xyz = colour.RGB_to_XYZ(rgb, "sRGB", d50, "Bradford", apply_cctf_decoding=True)

    assert lab_from_hex(text) == pytest.approx(colour.XYZ_to_Lab(xyz, d50), abs=0.05)
    assert hex_from_lab(lab_from_hex(text)) == "#" + text.lstrip("#")


def test_colours_no_surface_can_have_are_told():
    assert is_possible((95, -2, 90))
    assert is_possible((5, 1, 2))
    assert not is_possible((5, 0, 60))
    assert not is_possible((101, 0, 0))
