"""Interpolants of a chart's path: what their slopes must bear."""

import numpy as np

from calibration.splines import pchip_slopes


def test_slopes_of_nearly_flat_chords_do_not_overflow():
    labs = np.array([[0.0], [1e-300], [3e-300], [1.0]])

    assert np.isfinite(pchip_slopes(np.array([0.0, 1.0, 2.0, 3.0]), labs)).all()
