"""Our median is numpy's, to the last bit."""

import numpy as np
import pytest

from reader.median import median


@pytest.mark.parametrize(
    ("shape", "axis"), [((9, 26), 0), ((9, 50, 3), 0), ((7, 16, 3), 1), ((5, 4), 1), ((1,), 0)]
)
@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_the_median_is_that_of_numpy(shape, axis, kind):
    values = np.random.default_rng(5).standard_normal(shape).astype(kind)
    before = values.copy()

    assert np.array_equal(median(values, axis), np.median(values, axis=axis))
    assert np.array_equal(values, before)
