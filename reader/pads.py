"""From the pixels of each pad to its colour, how sure that is, and what a person should know.

Only the pad's middle is looked at, cut into small blocks. Averages are taken of code values, block
by block; the way to CIELAB is gone by these few means, never by pixels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.budget import Budget
from reader.colour_fit import ColourFit
from reader.find_strip import StripBox
from reader.flatten import Flat
from reader.lab import delta_e00
from reader.light import CLIPPED_CODE, Light
from reader.median import median
from reader.tone import srgb_decode, srgb_encode

Array = NDArray[np.float64]

MIDDLE = 0.66
"""Part of a pad's side that is read: a little under half its area, clear of its edges."""

BLOCKS = 4
"""The middle is cut into this many blocks a side."""

FEWEST_PX = 16.0
"""Photo pixels a pad's side must have; below, JPEG and blur mix it with its surroundings."""

BLUR_REACH = 2.0
"""Edges spread over this many times the blur's standard deviation."""

GLARE_RISE, GLARE_SHARE = 0.10, 0.04
"""A mirror spot: pixels this much brighter (code) than the pad's middle value, over this share."""

OVER_WHITE = 1.05
"""Share of white above which no pad lies: its own dye would have to outshine the bare paper."""

ADDED_ALIKE, OWN_ALIKE = 0.25, 0.45
"""A mirror adds the same share of white to every channel; a stain and a shadow take off more where
the pad is brighter. Spread over mean of what parts of a pad differ by, at most; and of the darker
part itself, at least, since on a grey pad the two look alike."""

DIRT_FALL, DIRT_SHARE = 0.10, 0.04
"""Dirt: pixels this much darker, over this share."""

CUT_SHARE = 0.05
"""Share of pixels at the top of their range above which the mean is no colour."""

UNEVEN_DE00 = 4.0
"""Difference of a side of a pad from its usual colour above which it has no one colour."""

SHADOW_MM = 9.0
"""A shadow's edge nearer than this to a pad's middle may lie on the pad."""

SHEEN = 0.004
"""Part of white that a wet pad usually mirrors, evenly and so unseen: mean and spread alike. It is
taken off, and its spread is added to the covariance."""

SAMPLE_DOF = 8.0
"""Degrees of freedom of a pad's covariance: heavy tails of dye against ink."""


@dataclass(frozen=True, eq=False)
class PadColour:
    """The colour of one pad as D50 would show it."""

    pad: int
    """Place on the strip, 1 at the dipped tip."""
    lab: Array | None
    """CIELAB, D50 / 2 degree, shape (3,); None when the pad could not be read."""
    cov: Array | None
    """Covariance of the measurement (pixels, light, card fit) [Lab units squared], shape (3, 3)."""
    cov_budget: Array | None
    """What dye seen beside ink adds [Lab units squared]; a table made from photos holds it."""
    dof: float
    """Degrees of freedom of these covariances' tails."""
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Middle:
    """What was measured in the middle of one pad."""

    codes: Array
    """(BLOCKS * BLOCKS, 3): mean codes of the blocks."""
    centre_mm: Array
    """(2,)."""
    side_px: float
    """Side of the pad in pixels of the photo."""
    reasons: tuple[str, ...]
    readable: bool


def pad_colours(
    flat: Flat, light: Light, fit: ColourFit, strip: StripBox, budget: Budget
) -> tuple[PadColour, ...]:
    """Return the colours of the strip's pads in the order of `strip.pads`."""
    every_white = light.code_at(np.array([quad.mean(axis=0) for quad in strip.quads_mm]))
    middles = [
        _middle(flat, white, quad, said)
        for white, quad, said in zip(every_white, strip.quads_mm, strip.pad_reasons, strict=True)
    ]
    read = [m for m in middles if m.readable]
    if not read:
        return tuple(_unread(p, m) for p, m in zip(strip.pads, middles, strict=True))
    at_mm = np.array([m.centre_mm for m in read])
    white = np.repeat(light.code_at(at_mm), BLOCKS**2, axis=0)
    codes = np.concatenate([m.codes for m in read])
    blocks = fit.quick(codes, white).reshape(len(read), BLOCKS**2, 3)
    lab, cov = _means(read, blocks, light, fit)
    found = iter(zip(read, _uneven(blocks), lab, cov, strict=True))
    return tuple(
        _colour(pad, *next(found), light, budget) if m.readable else _unread(pad, m)
        for pad, m in zip(strip.pads, middles, strict=True)
    )


def _unread(pad: int, middle: _Middle) -> PadColour:
    return PadColour(pad, None, None, None, SAMPLE_DOF, middle.reasons)


def _means(read: list[_Middle], blocks: Array, light: Light, fit: ColourFit) -> tuple[Array, Array]:
    """Return the pads' colours (k, 3) and covariances (k, 3, 3) of fit, light and sheen."""
    kept = _near_the_median(blocks)[..., None]
    samples = kept.sum(axis=1)
    code = (np.array([m.codes for m in read]) * kept).sum(axis=1) / samples
    at_mm = np.array([m.centre_mm for m in read])
    white = srgb_decode(light.code_at(at_mm))
    linear = np.maximum(srgb_decode(code), 0.0)
    dry = np.maximum(linear - SHEEN * white, 0.2 * linear)
    lighter = dry * np.exp(light.uncertainty_at(at_mm))[:, None]
    every = srgb_encode(np.concatenate([dry, dry + SHEEN * white, lighter]))
    lab, cov = fit.read(every, np.tile(at_mm, (3, 1)))
    count = len(read)
    moved = np.stack([lab[count : 2 * count], lab[2 * count :]], axis=1) - lab[:count, None]
    cov = cov[:count] + np.einsum("kpi,kpj->kij", moved, moved)
    off = (blocks - (blocks * kept).sum(axis=1, keepdims=True) / samples[:, None]) * kept
    # Blocks of one pad share what the camera did to it: count four of them as one sample.
    share = 4.0 / (samples * (samples - 1))
    return lab[:count], cov + np.swapaxes(off, 1, 2) @ off * share[..., None]


def _colour(
    pad: int, middle: _Middle, uneven: bool, lab: Array, cov: Array, light: Light, budget: Budget
) -> PadColour:
    """Return the colour of a pad with its budget and what was seen on it."""
    remark = ("uneven_pad",) if uneven else ()
    reasons = (*middle.reasons, *remark, *_shadow(middle.centre_mm, light))
    total = cov + budget.print_at(lab)
    return PadColour(pad, lab, total, budget.at(lab), SAMPLE_DOF, reasons)


def _near_the_median(blocks: Array) -> NDArray[np.bool_]:
    """Return the three quarters (k, n) of each pad's blocks (k, n, 3) nearest its median colour."""
    off = np.linalg.norm(blocks - median(blocks, axis=1)[:, None], axis=2)
    farthest = np.sort(off, axis=1)[:, math.ceil(0.75 * off.shape[1]) - 1]
    return np.asarray(off <= farthest[:, None])


def _uneven(blocks: Array) -> NDArray[np.bool_]:
    """Say for each pad whether its colour drifts across it: blocks have shape (k, n, 3).

    Means of rows and of columns of blocks are compared, which noise moves half as much.
    """
    square = blocks.reshape(len(blocks), BLOCKS, BLOCKS, 3)
    lines = np.concatenate([median(square, axis=1), median(square, axis=2)], axis=1)
    usual = np.broadcast_to(median(lines, axis=1)[:, None], lines.shape)
    off = delta_e00(np.clip(lines, -300, 300), np.clip(usual, -300, 300))
    return np.asarray(off.max(axis=1) > UNEVEN_DE00)


def _shadow(centre_mm: Array, light: Light) -> tuple[str, ...]:
    off = np.linalg.norm(light.edges_mm - centre_mm, axis=1)
    return ("shadow_on_pad",) if np.sum(off < SHADOW_MM) >= 2 else ()


def _middle(flat: Flat, white: Array, quad_mm: Array, said: tuple[str, ...]) -> _Middle:
    """Return the middle of the pad with these corners (4, 2).

    `white` (3,) is the code of white there, `said` what is known already.
    """
    sides = np.linalg.norm(np.roll(quad_mm, -1, axis=0) - quad_mm, axis=1)
    side_mm = float(sides.min())
    spread = BLUR_REACH * flat.blur_mm
    part = min(MIDDLE, max((side_mm - 2.0 * spread) / side_mm, 0.3))
    pixels, cut = _straight(flat, quad_mm, part)
    side_px = side_mm * flat.photo_px_per_mm
    middle = _Middle(_block_means(pixels), quad_mm.mean(axis=0), side_px, (), True)
    if not np.isfinite(pixels).all():
        return replace(middle, reasons=said or ("strip_cut_off",), readable=False)
    reasons = tuple(dict.fromkeys((*said, *_seen_in(pixels, cut, white))))
    if side_px < FEWEST_PX:
        reasons = (*reasons, "too_small")
    if BLUR_REACH * flat.blur_mm > 0.35 * side_mm:
        reasons = (*reasons, "blurred")
    return replace(middle, reasons=reasons, readable=not {"clipped", "too_small"} & set(reasons))


def _straight(flat: Flat, quad_mm: Array, part: float) -> tuple[NDArray[np.float32], float]:
    """Return the middle part of a pad (n, n, 3) straightened, and its share of cut-off pixels."""
    side_mm = float(np.linalg.norm(quad_mm[1] - quad_mm[0])) * part
    n = BLOCKS * max(2, round(side_mm * flat.px_per_mm / BLOCKS))
    inner = quad_mm.mean(axis=0) + part * (quad_mm - quad_mm.mean(axis=0))
    ends = np.array([[-0.5, -0.5], [n - 0.5, -0.5], [n - 0.5, n - 0.5], [-0.5, n - 0.5]])
    matrix = cv2.getPerspectiveTransform(
        ends.astype(np.float32), flat.to_px(inner).astype(np.float32)
    )
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    low = np.clip(np.floor(flat.to_px(quad_mm).min(axis=0)).astype(int) - 2, 0, None)
    high = np.ceil(flat.to_px(quad_mm).max(axis=0)).astype(int) + 3
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    moved = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]]) @ matrix
    pixels = cv2.warpPerspective(
        flat.rgb[window], moved, (n, n), flags=flags, borderValue=(np.nan,) * 3
    )
    cut = cv2.warpPerspective(flat.clipped[window].astype(np.float32), moved, (n, n), flags=flags)
    return np.asarray(pixels, np.float32), float(
        np.mean((cut > 0.5) | (pixels.max(axis=2) >= CLIPPED_CODE))
    )


def _block_means(pixels: NDArray[np.float32]) -> Array:
    """Return the mean codes of the blocks (BLOCKS * BLOCKS, 3)."""
    n = len(pixels) // BLOCKS
    blocks = pixels.reshape(BLOCKS, n, BLOCKS, n, 3).astype(np.float64)
    return np.asarray(blocks.mean(axis=(1, 3)).reshape(-1, 3))


def _seen_in(pixels: NDArray[np.float32], cut: float, white: Array) -> tuple[str, ...]:
    """Return what the pixels of a pad's middle show beside `white` (3,): cut off, glare, dirt."""
    calm = np.asarray(cv2.blur(pixels, (3, 3)), np.float32)
    luma = calm @ np.array([0.299, 0.587, 0.114], np.float32)
    usual = float(np.median(luma))
    reasons = ["clipped"] if cut > CUT_SHARE else []
    darker = luma < usual - DIRT_FALL
    stained = float(np.mean(darker)) > DIRT_SHARE
    bright = float(np.mean(luma > usual + GLARE_RISE)) > GLARE_SHARE
    # Where the lamp's mirror covers most of the pad, what stands out darker is the pad itself.
    mirror = _outshines(calm, white)
    mirror = mirror or (stained and _is_mirrored(calm[luma >= usual], calm[darker], white))
    if bright or mirror:
        reasons.append("glare")
    if stained and not mirror:
        reasons.append("dirty")
    return tuple(reasons)


def _outshines(calm: NDArray[np.float32], white: Array) -> bool:
    """Say whether part of a pad is brighter than the paper in every channel."""
    share = srgb_decode(calm.reshape(-1, 3).astype(np.float64)) / srgb_decode(white)
    return bool(np.mean(share.min(axis=1) > OVER_WHITE) > GLARE_SHARE)


def _is_mirrored(brighter: NDArray[np.float32], darker: NDArray[np.float32], white: Array) -> bool:
    """Say whether the brighter pixels (n, 3) are the darker ones with a lamp's light added."""
    full, shining = srgb_decode(white), np.median(brighter, axis=0).astype(np.float64)
    own = srgb_decode(np.median(darker, axis=0).astype(np.float64)) / full
    added = srgb_decode(shining) / full - own
    whole = shining < CLIPPED_CODE
    return bool(
        whole.sum() >= 2 and _spread(added[whole]) < ADDED_ALIKE and _spread(own) > OWN_ALIKE
    )


def _spread(share: Array) -> float:
    """Return how much the channels of a colour differ, in parts of their mean."""
    return float(np.ptp(share) / max(float(share.mean()), 1e-6))
