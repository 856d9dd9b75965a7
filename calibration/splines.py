"""Cubic interpolation of several coordinates at once, in plain numpy."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FLAT = 1e-9
"""A chord less steep than this is flat; harmonic means of such numbers overflow."""


def hermite(at: Array, nodes: Array, labs: Array, slopes: Array) -> Array:
    """Return the cubic through `labs` (n, k) at rising `nodes` (n,) with these slopes, (m, k)."""
    i = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, len(nodes) - 2)
    h = (nodes[i + 1] - nodes[i])[:, None]
    t = ((at - nodes[i]) / h[:, 0])[:, None]
    chord = labs[i + 1] - labs[i]
    bend = (1 - t) * (h * slopes[i] - chord) - t * (h * slopes[i + 1] - chord)
    return np.asarray(labs[i] + t * chord + t * (1 - t) * bend)


def pchip_slopes(nodes: Array, labs: Array) -> Array:
    """Return slopes at the nodes that keep each coordinate monotone between them, (n, k).

    References
    ----------
    .. [1] F. N. Fritsch, J. Butland, "A method for constructing local monotone piecewise cubic
       interpolants", SIAM J. Sci. Stat. Comput. 5 (2), 300-304, 1984. Source key: fritsch1984.
    """
    h = np.diff(nodes)[:, None]
    chord = np.diff(labs, axis=0) / h
    if len(nodes) == 2:
        return np.vstack([chord, chord])
    before, after = chord[:-1], chord[1:]
    w1, w2 = 2 * h[1:] + h[:-1], h[1:] + 2 * h[:-1]
    steep = np.minimum(np.abs(before), np.abs(after)) > FLAT
    same = (before * after > 0) & steep
    safe_before, safe_after = np.where(same, before, 1.0), np.where(same, after, 1.0)
    inner = np.where(same, (w1 + w2) / (w1 / safe_before + w2 / safe_after), 0.0)
    first = _end_slope(h[0], h[1], chord[0], chord[1])
    return np.vstack([first, inner, _end_slope(h[-1], h[-2], chord[-1], chord[-2])])


def _end_slope(h0: Array, h1: Array, chord0: Array, chord1: Array) -> Array:
    """Return the three-point slope at an end, held to the chord's sign and three times it."""
    slope = ((2 * h0 + h1) * chord0 - h0 * chord1) / (h0 + h1)
    slope = np.where(np.sign(slope) != np.sign(chord0), 0.0, slope)
    turns = (np.sign(chord0) != np.sign(chord1)) & (np.abs(slope) > 3 * np.abs(chord0))
    return np.where(turns, 3 * chord0, slope)


def not_a_knot_slopes(nodes: Array, labs: Array) -> Array:
    """Return the slopes at the nodes of the twice smooth cubic, not-a-knot at its ends, (n, k).

    With two nodes it is the straight line, with three the parabola.

    References
    ----------
    .. [1] C. de Boor, "A Practical Guide to Splines", Springer 1978, chapter IV.
       Source key: deboor1978.
    """
    n, h = len(nodes), np.diff(nodes)
    chord = np.diff(labs, axis=0) / h[:, None]
    if n == 2:
        return np.vstack([chord, chord])
    if n == 3:
        bend = (chord[1] - chord[0]) / (h[0] + h[1])
        return np.vstack([chord[0] - h[0] * bend, chord[0] + h[0] * bend, chord[1] + h[1] * bend])
    matrix = np.zeros((n, n))
    right = np.zeros((n, labs.shape[1]))
    for i in range(1, n - 1):
        matrix[i, i - 1 : i + 2] = h[i], 2 * (h[i - 1] + h[i]), h[i - 1]
        right[i] = 3 * (h[i] * chord[i - 1] + h[i - 1] * chord[i])
    matrix[0, :2], right[0] = _knotless(h[0], h[1], chord[0], chord[1])
    matrix[-1, :-3:-1], right[-1] = _knotless(h[-1], h[-2], chord[-1], chord[-2])
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


def _knotless(
    h0: float, h1: float, chord0: Array, chord1: Array
) -> tuple[tuple[float, float], Array]:
    """Return the row of an end whose first two pieces are one cubic."""
    both = h0 + h1
    right = ((h0 + 2 * both) * h1 * chord0 + h0**2 * chord1) / both
    return (h1, both), right
