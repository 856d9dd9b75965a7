"""From camera codes to CIELAB by the card's patches, with how sure that is.

One fit finds the phone's curve (`reader.tone`), a 3x3 and its root-polynomial bend together, by
Gauss-Newton on tolerance-scaled CIELAB differences with heavy-tailed weights. What is left is
smoothed over CIELAB (kriging). Everything linear about the solution then serves three ends at
once: the leave-one-out error of every patch in closed form, the covariance of a corrected
colour, and the patches that do not belong (glare, dirt, a finger).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.colour_model import (
    PRIOR,
    PRIOR_SPREAD,
    TONES,
    Model,
    features,
    over_white,
    predicted,
)
from reader.flatten import Flat
from reader.lab import fast_lab, lab_slopes, tolerance_scale, xyz_from_lab
from reader.light import CLIPPED_CODE, Light

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

FREEDOM = 4.0
"""Degrees of freedom of the heavy-tailed weights."""

OUTLIER = 5.0
"""A patch whose leave-one-out error is this many times the usual is left out."""

KRIGE_LENGTH = 22.0
"""Length over which left-over errors are alike [CIELAB units]."""

KRIGE_SHARE = 0.5
"""Part of the patches' scatter that is thought smooth over CIELAB; the rest is each patch's own."""

GRID = 20
"""A patch's middle is sampled at so many places a side."""

STEPS = 12
"""Gauss-Newton steps at most."""


@dataclass(frozen=True, eq=False)
class Samples:
    """What the fit works on: each patch's place, code and known colour."""

    code: Array
    """(k, 3)."""
    white: Array
    """(k, 3): the codes white has at the same places."""
    lab: Array
    """(k, 3)."""
    good: Mask
    """False where a patch is cut off or spoiled before any fit."""

    @property
    def middle(self) -> Array:
        """Return the white's usual code (3,)."""
        return np.asarray(self.white.mean(axis=0))


@dataclass(frozen=True, eq=False)
class Fitted:
    """The parametric part as fitted to the patches."""

    model: Model
    lab: Array
    """(k, 3): the patches' colours by it."""
    slopes: Array
    """(k, 3, 24): their derivatives by the parameters."""
    weights: Array
    """(k,)."""
    sigma: float
    """Scatter of a patch in tolerance units."""


def parametric_fit(samples: Samples, scale: Array, start: Fitted | None = None) -> Fitted:
    """Return the parametric part fitted; `scale` (k, 3, 3) is that of the patches' tolerances."""
    if start is None:
        model, sigma, weights = _start(samples, scale), 1.5, samples.good.astype(float)
        lab, slopes = predicted(model, samples.code, samples.white, samples.middle)
    else:
        model, lab, slopes = start.model, start.lab, start.slopes
        sigma, weights = 2.0 * start.sigma, start.weights
    damping = 1e-3
    left = _times(scale, samples.lab - lab)
    for _ in range(STEPS):
        weights = _weights(left, sigma, samples.good)
        sigma = _scatter(left, weights, sigma)
        step = _step(scale @ slopes, left, weights / sigma**2, model, damping)
        trial = model.moved(step)
        trial_lab, trial_slopes = predicted(trial, samples.code, samples.white, samples.middle)
        after = _times(scale, samples.lab - trial_lab)
        gain = _cost(left, weights, sigma, model) - _cost(after, weights, sigma, trial)
        if gain < -1e-9:
            damping *= 10.0
            continue
        model, lab, slopes, left = trial, trial_lab, trial_slopes, after
        damping = max(damping / 5.0, 1e-6)
        if gain < 0.1:
            break
    return Fitted(model, lab, slopes, weights, sigma)


def _times(matrices: Array, vectors: Array) -> Array:
    """Return the products (k, 3) of matrices (k, 3, 3) and vectors (k, 3)."""
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])


def _start(samples: Samples, scale: Array) -> Model:
    """Return plain sRGB with the 3x3 that fits best."""
    rgb = over_white(samples.code, samples.white, np.zeros((1, TONES)), samples.middle)[0]
    xyz = xyz_from_lab(samples.lab)
    slopes = scale @ lab_slopes(xyz)
    rows = (slopes[:, :, :, None] * rgb[:, None, None, :]).reshape(-1, 9)
    keep = np.repeat(samples.good, 3)
    target = np.einsum("kij,kj->ki", slopes, xyz).ravel()
    matrix = np.linalg.lstsq(rows[keep], target[keep], rcond=None)[0].reshape(3, 3)
    return Model(np.zeros(TONES), np.hstack([matrix, np.zeros((3, 3))]))


def _weights(left: Array, sigma: float, good: Mask) -> Array:
    """Return Student-t weights (k,) of left-over differences (k, 3)."""
    distance = np.sum(left**2, axis=1) / sigma**2
    return np.asarray(good * (FREEDOM + 3.0) / (FREEDOM + distance), np.float64)


def _scatter(left: Array, weights: Array, before: float) -> float:
    """Return the scatter a component, between a quarter and double of what it was before."""
    freedom = max(3.0 * float(np.sum(weights > 0)) - 15.0, 3.0)
    now = float(np.sqrt(np.sum(weights * np.sum(left**2, axis=1)) / freedom))
    return float(np.clip(now, max(0.15, 0.25 * before), 2.0 * before))


def _cost(left: Array, weights: Array, sigma: float, model: Model) -> float:
    away = (model.vector - PRIOR.vector) / PRIOR_SPREAD
    return float(np.sum(weights * np.sum(left**2, axis=1)) / sigma**2 + away @ away)


def _step(slopes: Array, left: Array, weights: Array, model: Model, damping: float) -> Array:
    """Return the damped Gauss-Newton step (24,) of the penalised fit."""
    rows = slopes.reshape(-1, slopes.shape[2])
    weighted = rows * np.repeat(weights, 3)[:, None]
    normal = weighted.T @ rows + np.diag(PRIOR_SPREAD**-2.0)
    pull = weighted.T @ left.ravel() + (PRIOR.vector - model.vector) / PRIOR_SPREAD**2
    normal[np.diag_indices_from(normal)] *= 1.0 + damping
    return np.asarray(np.linalg.solve(normal, pull), np.float64)


@dataclass(frozen=True, eq=False)
class ColourFit:
    """A photo's way from codes to CIELAB, with what is known of its errors."""

    samples: Samples
    light: Light
    model: Model
    sigma: float
    """Scatter of a patch in tolerance units."""
    solved: Array
    """(3 k): inverse of the patches' covariance times their differences."""
    inverse: Array
    """(3 k, 3 k): that inverse."""
    spread: Array
    """(3 k, 24): the patches' derivatives by the parameters times the prior's variance."""
    loo_lab: Array
    """(k, 3): each patch's colour as the others would give it."""
    inflation: float
    """Leave-one-out errors squared over what the model expected of them."""

    @property
    def used(self) -> Mask:
        """Return which patches were kept."""
        return self.samples.good

    def quick(self, code: Array, white: Array) -> Array:
        """Return CIELAB (k, 3) by the parametric part alone, for pictures; `white` is its code."""
        rgb = over_white(code, white, self.model.tone, self.samples.middle)
        return fast_lab(features(rgb) @ self.model.matrix.T)

    def read(self, code: Array, at_mm: Array) -> tuple[Array, Array]:
        """Return CIELAB (k, 3) of codes (k, 3) at places (k, 2), and its covariance (k, 3, 3)."""
        lab, slopes = predicted(self.model, code, self.light.code_at(at_mm), self.samples.middle)
        scale = tolerance_scale(lab)
        here = (scale @ slopes).reshape(3 * len(lab), -1)
        kin, own = _smooth_kin(lab, scale, self.samples.lab, tolerance_scale(self.samples.lab))
        cross = here @ self.spread.T + self.sigma**2 * kin
        shift = cross @ self.solved - here @ (self.model.vector - PRIOR.vector)
        told = (cross @ self.inverse).reshape(len(lab), 3, -1)
        each = here.reshape(len(lab), 3, -1)
        prior = (each * PRIOR_SPREAD**2) @ np.swapaxes(each, 1, 2) + self.sigma**2 * own
        cov = prior - told @ np.swapaxes(cross.reshape(len(lab), 3, -1), 1, 2)
        back = np.asarray(np.linalg.inv(scale), np.float64)
        cov_lab = self.inflation * back @ cov @ np.swapaxes(back, 1, 2)
        return lab + _times(back, shift.reshape(-1, 3)), cov_lab


def _smooth_kin(lab: Array, scale: Array, other: Array, other_scale: Array) -> tuple[Array, Array]:
    """Return the kinship (3 k, 3 m) of smooth left-over errors, and each colour's own (k, 3, 3)."""
    grow = 1.0 + 0.03 * np.hypot(lab[:, 1], lab[:, 2])
    other_grow = 1.0 + 0.03 * np.hypot(other[:, 1], other[:, 2])
    squared = np.sum((lab[:, None] - other[None]) ** 2, axis=2)
    alike = KRIGE_SHARE * np.exp(-0.5 * squared / KRIGE_LENGTH**2)
    alike = alike * grow[:, None] * other_grow[None]
    turned = scale.reshape(-1, 3) @ other_scale.reshape(-1, 3).T
    kin = turned.reshape(len(lab), 3, len(other), 3) * alike[:, None, :, None]
    own = KRIGE_SHARE * grow[:, None, None] ** 2 * (scale @ np.swapaxes(scale, 1, 2))
    return kin.reshape(turned.shape), own


def solve(samples: Samples, light: Light) -> ColourFit:
    """Return the fit of these samples, patches that do not belong left out (at most a quarter)."""
    scale = tolerance_scale(samples.lab)
    kin, _ = _smooth_kin(samples.lab, scale, samples.lab, scale)
    fitted = None
    for _ in range(3):
        fitted = parametric_fit(samples, scale, fitted)
        fit, standard = _joint(samples, light, fitted, scale, kin)
        limit = OUTLIER * max(float(np.median(standard[samples.good])) / 1.538, 1.0)
        odd = samples.good & (standard > limit)
        allowed = samples.good.sum() - max(12, int(0.7 * len(samples.good)))
        if not odd.any() or allowed <= 0:
            break
        worst = np.argsort(-np.where(odd, standard, 0.0))[: min(int(odd.sum()), int(allowed))]
        good = samples.good.copy()
        good[worst] = False
        samples = replace(samples, good=good)
    return fit


def _joint(
    samples: Samples, light: Light, fitted: Fitted, scale: Array, kin: Array
) -> tuple[ColourFit, Array]:
    """Return parameters and smooth errors solved together, and each patch's standardised error.

    `scale` (k, 3, 3) and `kin` (3 k, 3 k) are what the patches' known colours alone tell.
    """
    model, sigma, count = fitted.model, fitted.sigma, len(samples.lab)
    rows = (scale @ fitted.slopes).reshape(3 * count, -1)
    left = _times(scale, samples.lab - fitted.lab).ravel()
    left = left + rows @ (model.vector - PRIOR.vector)
    trust = np.maximum(np.where(samples.good, np.minimum(fitted.weights, 1.0), 1e-6), 1e-6)
    spread = rows * PRIOR_SPREAD**2
    whole = spread @ rows.T + sigma**2 * kin
    whole[np.diag_indices_from(whole)] += (1.0 - KRIGE_SHARE) * sigma**2 / np.repeat(trust, 3)
    inverse = np.linalg.inv(whole)
    solved = inverse @ left
    each = np.arange(count)
    blocks = inverse.reshape(count, 3, count, 3)[each, :, each, :]
    error = np.asarray(np.linalg.solve(blocks, solved.reshape(-1, 3, 1))[..., 0], np.float64)
    standard = np.sum(error * _times(blocks, error), axis=1)
    loo = samples.lab - np.linalg.solve(scale, error[..., None])[..., 0]
    inflation = float(np.median(standard[samples.good]) / 2.366)
    fit = ColourFit(samples, light, model, sigma, solved, inverse, spread, loo, max(inflation, 0.2))
    size_of_error = np.linalg.norm(error, axis=1) / sigma
    return fit, size_of_error


def fit_colour(flat: Flat, light: Light, card: Card) -> ColourFit:
    """Return the fit of a flattened card by its patches."""
    rects = np.array([patch.rect_mm for patch in card.patches])
    code, good = patch_codes(flat, rects)
    lab = np.array([patch.lab for patch in card.patches])
    white = light.code_at(rects[:, :2] + rects[:, 2:] / 2)
    return solve(Samples(code, white, lab, good), light)


def patch_codes(flat: Flat, rects_mm: Array) -> tuple[Array, Mask]:
    """Return mean codes (k, 3) of the middles of patches (k, 4), and which are whole.

    A patch is not whole where it is cut off at the top, nearly black, outside the photo, or where
    many of its pixels differ from its usual colour.
    """
    rows, columns = _grids(flat, rects_mm)
    # Channel by channel, (k, 3, n): medians along what lies together are quicker.
    pixels = np.moveaxis(flat.rgb[rows, columns], 3, 1).reshape(len(rects_mm), 3, -1).copy()
    inside = np.isfinite(pixels.sum(axis=(1, 2)))
    pixels[~inside] = 0.5
    middle = np.median(pixels, axis=2)
    off = np.abs(pixels - middle[:, :, None]).max(axis=1)
    usual = np.median(off, axis=1, keepdims=True)
    share = (off <= np.maximum(0.02, 3.0 * usual)).astype(np.float64)
    code = (pixels @ share[:, :, None])[:, :, 0] / share.sum(axis=1, keepdims=True)
    cut = flat.clipped[rows, columns].mean(axis=(1, 2)) > 0.02
    bright, dark = middle.max(axis=1) >= CLIPPED_CODE, middle.max(axis=1) <= 0.015
    return code, inside & ~cut & ~bright & ~dark & (share.mean(axis=1) > 0.6)


def _grids(flat: Flat, rects_mm: Array) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows (k, n, 1) and columns (k, 1, n) of the pixels in the middles of patches."""
    inset = np.clip(1.6 * flat.blur_mm, 0.2 * rects_mm[:, 2:], 0.4 * rects_mm[:, 2:])
    low = rects_mm[:, :2] + inset
    shares = np.linspace(0.0, 1.0, GRID)
    at_mm = low[:, None] + shares[None, :, None] * (rects_mm[:, 2:] - 2.0 * inset)[:, None]
    limit = np.array(flat.rgb.shape[1::-1]) - 1
    at_px = np.clip(np.rint(flat.to_px(at_mm)), 0, limit).astype(np.intp)
    return at_px[:, :, None, 1], at_px[:, None, :, 0]
