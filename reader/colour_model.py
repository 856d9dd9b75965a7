"""The parametric part of the way from camera codes to CIELAB: curve, veil, 3x3 and root bend.

Its derivatives are written out, since the fit asks for them twenty times a photo.

References
----------
.. [1] G. D. Finlayson, M. Mackiewicz, A. Hurlbert, "Color correction using root-polynomial
   regression", IEEE Trans. Image Process. 24 (5), 1460-1470, 2015.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.lab import SRGB_TO_XYZ_D50, fast_lab, lab_slopes
from reader.tone import HIGHEST, LOWEST, PRIOR_SD, linear_from_code, linear_with_slopes

Array = NDArray[np.float64]

TONES = len(PRIOR_SD)
BEND_SD = 0.12
"""Prior spread of a root term's coefficient, white being 1: the ridge of the bend."""

MATRIX_SD = 2.0
"""Prior spread of a 3x3's coefficient about plain sRGB: as good as free."""


@dataclass(frozen=True, eq=False)
class Model:
    """The parametric part: curve, 3x3 and bend; the light is given with each call."""

    tone: Array
    """(6,), see `reader.tone`."""
    matrix: Array
    """(3, 6): 3x3 of linear values, then of the bends."""

    @property
    def vector(self) -> Array:
        """Return the parameters as one vector (24,)."""
        return np.concatenate([self.tone, self.matrix.ravel()])

    def moved(self, step: Array) -> Model:
        """Return the model a step (24,) further, within the bounds of the curve."""
        tone = np.clip(self.tone + step[:TONES], LOWEST, HIGHEST)
        return Model(tone, self.matrix + step[TONES:].reshape(3, 6))


PRIOR = Model(np.zeros(TONES), np.hstack([0.87 * SRGB_TO_XYZ_D50, np.zeros((3, 3))]))
PRIOR_SPREAD = np.concatenate([PRIOR_SD, np.tile([MATRIX_SD] * 3 + [BEND_SD] * 3, 3)])


def over_white(code: Array, white: Array, tones: Array, middle: Array) -> Array:
    """Return linear values over the local white (..., k, 3), less the veil, for tones (..., 6).

    `code` and `white`, the codes white has at the same places, have shape (k, 3); `middle` is the
    white's usual code (3,), which the veil is a part of.
    """
    count = len(code)
    every = linear_from_code(np.concatenate([code, white, middle[None]]), tones)
    veil = tones[..., 5, None, None] * every[..., 2 * count :, :].mean(axis=-1, keepdims=True)
    top, ground = every[..., :count, :] - veil, every[..., count : 2 * count, :] - veil
    return np.asarray(np.maximum(top / ground, 1e-5), np.float64)


def features(rgb: Array) -> Array:
    """Return (..., 6): R, G, B and how far the root of each product lies under the pair's mean."""
    r, g, b = rgb[..., 0], rgb[..., 1], rgb[..., 2]
    bends = [np.sqrt(p * q) - (p + q) / 2 for p, q in ((r, g), (g, b), (r, b))]
    return np.stack([r, g, b, *bends], axis=-1)


def _over_white_with_slopes(
    code: Array, white: Array, tone: Array, middle: Array
) -> tuple[Array, Array]:
    """Return `over_white` (k, 3) for one tone, and its derivatives (6, k, 3) by the tone."""
    count = len(code)
    every, moved = linear_with_slopes(np.concatenate([code, white, middle[None]]), tone)
    usual = every[-1].mean()
    moved[:, :-1] -= tone[5] * moved[:, -1].mean(axis=1)[:, None, None]
    every[:-1] -= tone[5] * usual
    ground = every[count:-1]
    share = every[:count] / ground
    slopes = np.empty((TONES, count, 3))
    slopes[:5] = moved[:, :count] - share * moved[:, count:-1]
    slopes[5] = usual * (share - 1.0)
    slopes *= (share > 1e-5) / ground
    return np.maximum(share, 1e-5), slopes


def _bent_matrix(rgb: Array, matrix: Array) -> Array:
    """Return the derivative (k, 3, 3) of XYZ by RGB (k, 3): the 3x3 and its bends' slopes."""
    root = np.sqrt(rgb)
    r, g, b = root[:, 0], root[:, 1], root[:, 2]
    bends = np.zeros((len(rgb), 3, 3))
    for row, (p, q, first, second) in enumerate(((r, g, 0, 1), (g, b, 1, 2), (r, b, 0, 2))):
        bends[:, row, first] = 0.5 * (q / p - 1.0)
        bends[:, row, second] = 0.5 * (p / q - 1.0)
    return np.asarray(matrix[:, :3] + matrix[:, 3:] @ bends)


def predicted(model: Model, code: Array, white: Array, middle: Array) -> tuple[Array, Array]:
    """Return CIELAB (k, 3) of codes (k, 3) and its derivative (k, 3, 24) by the parameters."""
    rgb, moved = _over_white_with_slopes(code, white, model.tone, middle)
    terms = features(rgb)
    xyz = terms @ model.matrix.T
    by_xyz = lab_slopes(xyz)
    slopes = np.empty((len(code), 3, TONES + 18))
    slopes[:, :, :TONES] = by_xyz @ _bent_matrix(rgb, model.matrix) @ moved.transpose(1, 2, 0)
    by_matrix = by_xyz[:, :, :, None] * terms[:, None, None, :]
    slopes[:, :, TONES:] = by_matrix.reshape(len(code), 3, 18)
    return fast_lab(xyz), slopes
