"""A pad's colour on a screen."""

import colour
import numpy as np
import pytest

from api.swatch import hex_of


@pytest.mark.parametrize("lab", [(50, 0, 0), (100, 0, 0), (0, 0, 0), (60, 20, 30), (75, -25, 10)])
def test_it_agrees_with_the_reference_library(lab):
    """Against colour-science 0.4.7, Bradford from D50 to D65."""
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    xyz = colour.Lab_to_XYZ(np.array(lab, float), white)
    rgb = colour.XYZ_to_sRGB(xyz, illuminant=white, chromatic_adaptation_transform="Bradford")
    own = [int(hex_of(lab)[i : i + 2], 16) for i in (1, 3, 5)]

    assert own == pytest.approx(list(np.clip(rgb, 0, 1) * 255), abs=1.0)


def test_colours_no_screen_shows_are_brought_in():
    assert hex_of((50, 120, -120)).startswith("#")
    assert len(hex_of((110, -90, 90))) == 7
