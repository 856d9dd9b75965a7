"""A phone's curve and taste, undone: from display codes to values proportional to light.

Six numbers describe what a phone adds to the sRGB curve; the colour fit finds them from the
card. All are zero for plain sRGB.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NAMES = ("exponent", "shoulder", "toe", "middle", "saturation", "veil")

PRIOR_SD = np.array([0.30, 0.50, 0.30, 0.25, 0.15, 0.02])
"""How far a phone is expected to depart from plain sRGB in each ."""

LOWEST = np.array([-0.7, -0.45, -1.0, -0.8, -0.35, -0.05])
HIGHEST = np.array([1.2, 3.0, 1.5, 1.0, 0.6, 0.12])
"""Bounds that keep the curve rising."""

LUMA = np.array([0.299, 0.587, 0.114])

FLOOR = 1e-4
"""Least linear value; a code below zero (out of gamut) is read as this."""


def srgb_decode(code: Array) -> Array:
    """Return linear values of sRGB codes; codes below zero go straight on."""
    high = ((np.maximum(code, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.where(code <= 0.04045, code / 12.92, high)


def srgb_encode(linear: Array) -> Array:
    """Return sRGB codes of linear values at or above zero."""
    high = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, high)


LOWEST_LOG, HIGHEST_LOG = -14.0, 4.0
"""Bounds of the logarithm of a linear value."""


def linear_from_code(code: Array, tone: Array) -> Array:
    """Return linear values (..., n, 3) of display codes (n, 3) under tones (..., 6).

    Saturation is undone about the luma, then the curve channel by channel. The shoulder is the
    inverse of x (1 + k) / (1 + k x), the exponent and the bends act on the logarithm. The veil,
    light scattered onto everything, is taken off by whoever knows the white.
    """
    e, k, toe, middle = (tone[..., i, None, None] for i in range(4))
    luma = code @ LUMA
    chroma = code - luma[..., None]
    flat = luma[..., None] + chroma * np.exp(-tone[..., 4, None, None])
    y = np.maximum(srgb_decode(flat), FLOOR)
    c = np.minimum(np.maximum(flat, 0.0), 1.0)
    log = (1.0 + e) * np.log(y) - np.log1p(k * np.maximum(1.0 - y, -0.5))
    log = log + toe * (1.0 - c) ** 3 + middle * (2.0 * c * (1.0 - c))
    return np.asarray(np.exp(np.minimum(np.maximum(log, LOWEST_LOG), HIGHEST_LOG)), np.float64)


def linear_with_slopes(code: Array, tone: Array) -> tuple[Array, Array]:
    """Return linear values (n, 3) of codes (n, 3) under one tone (6,), and their slopes.

    The slopes (5, n, 3) are the derivatives by all numbers of the tone but the veil.
    """
    e, k, toe, middle, saturation, _ = tone.tolist()
    luma = (code @ LUMA)[:, None]
    chroma = (code - luma) * np.exp(-saturation)
    flat = luma + chroma
    low = flat <= 0.04045
    root = (np.maximum(flat, 0.04045) + 0.055) / 1.055
    power = root**1.4
    decoded = np.where(low, flat / 12.92, power * root)
    y = np.maximum(decoded, FLOOR)
    c = np.minimum(np.maximum(flat, 0.0), 1.0)
    dark = 1.0 - c
    log_y, room, toe_bend, bend = np.log(y), np.maximum(1.0 - y, -0.5), dark**3, 2.0 * c * dark
    pressed = 1.0 + k * room
    log = (1.0 + e) * log_y - np.log(pressed) + toe * toe_bend + middle * bend
    y_slope = np.where(low, 1 / 12.92, (2.4 / 1.055) * power) * (decoded > FLOOR)
    by_flat = y_slope * ((1.0 + e) / y + (k / pressed) * (y < 1.5))
    by_flat += (flat == c) * (middle * (2.0 - 4.0 * c) - (3.0 * toe) * dark**2)
    kept = np.minimum(np.maximum(log, LOWEST_LOG), HIGHEST_LOG)
    linear = np.exp(kept)
    slopes = np.empty((5, *code.shape))
    slopes[0], slopes[1], slopes[2], slopes[3] = log_y, -room / pressed, toe_bend, bend
    slopes[4] = -by_flat * chroma
    slopes *= linear * (log == kept)
    return linear, slopes
