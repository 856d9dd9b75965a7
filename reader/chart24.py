"""A new card's patches measured by a photo beside a published 24-patch chart.

The chart's CIELAB values are those its maker publishes, as colour-science carries them, in the two
editions of before and after November 2014; the one that fits is taken. OpenCV finds the chart. No
white surrounds its patches, so the light on it is foretold from the white of the card beside it,
and what its patches then show of a slope is taken back into the light.

References
----------
.. [1] G. D. Finlayson, M. M. Darrodi, M. Mackiewicz, "The alternating least squares technique for
   nonuniform intensity color correction", Color Res. Appl. 40 (3), 232-242, 2015.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.card_beside import NewCardSeen, seen_by
from reader.chart_boxes import box_code
from reader.colour_fit import ColourFit, Samples, solve
from reader.find_card import CardSeen, find_card
from reader.flatten import flatten
from reader.lab import colour_science, delta_e00, lab_from_xyz
from reader.light import NOISE_SD, Light, kinship, light_field
from reader.photo import Photo, open_photo
from reader.tone import srgb_decode, srgb_encode

Array = NDArray[np.float64]

EDITIONS = ("ccb2014", "cca2014")
"""Keys of the chart's two editions in colour-science's data sets."""

SIDES = (1000, 1400, 2000, 700)
"""The chart is looked for in pictures so long."""

MISPLACED_DE00 = 2.5
"""A median leave-one-out error above this: the box lies wrongly, or it is another chart."""

PATCH_LIGHT_SD = 0.03
"""What a patch's own lightness says of the light there, as a spread of its logarithm."""

ROUNDS = 3


def see_chart(data: bytes, new: Card) -> NewCardSeen | str:
    """Return the new card as seen beside the chart, or the sentence that says why not.

    Raises `PhotoError` if the bytes are no image that can be read.
    """
    photo = open_photo(data)
    seen = find_card(photo, new)
    if seen is None:
        return "shows no reference card; take it again with the whole card beside the chart"
    flat = flatten(photo, seen)
    light = light_field(flat, new)
    fits = [fit for quads in _charts(photo, seen) if (fit := _fitted(photo, seen, light, quads))]
    if not fits:
        return (
            "shows no 24-patch chart beside the card, or one that is partly covered or not in "
            "order; lay the whole chart beside the card, in even light without glare"
        )
    error, best = min(fits, key=lambda one: one[0])
    reasons = (*photo.reasons, *seen.reasons, *light.reasons)
    return seen_by(new, replace(best, light=light), flat, np.zeros(3), np.inf, error, reasons)


def published(edition: str) -> Array:
    """Return the chart's published CIELAB (24, 3) under D50."""
    colour = colour_science()
    values = np.array(list(colour.CCS_COLOURCHECKERS[edition].data.values()))
    return lab_from_xyz(colour.xyY_to_XYZ(values))


def _charts(photo: Photo, seen: CardSeen) -> Iterator[Array]:
    """Yield what looks like the chart's patches off the card, (24, 4, 2) full-size pixels each."""
    width, height = photo.size
    pixels = photo.pixels()
    if pixels.dtype == np.uint16:
        pixels = (pixels >> 8).astype(np.uint8)
    for side in SIDES:
        scale = side / max(pixels.shape)
        picture = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        detector = cv2.mcc.CCheckerDetector.create()
        detector.setColorChartType(cv2.mcc.MCC24)
        if not detector.process(np.ascontiguousarray(picture[:, :, ::-1]), 3):
            continue
        for checker in detector.getListColorChecker():
            quads = np.asarray(checker.getColorCharts(), np.float64).reshape(-1, 4, 2)
            quads = (quads + 0.5) * (width / picture.shape[1]) - 0.5
            if len(quads) == 24 and _beside(quads, seen, (width, height)):
                yield quads


def _beside(quads: Array, seen: CardSeen, size_px: tuple[int, int]) -> bool:
    """Say whether patches lie in the photo and off the card."""
    middles = quads.mean(axis=1)
    if not np.all((middles >= 0) & (middles < np.array(size_px))):
        return False
    at_mm = seen.plane.to_card(middles)
    on_card = np.all((at_mm > 0) & (at_mm < np.array(seen.size_mm)), axis=1)
    return bool(not on_card.any())


def _fitted(
    photo: Photo, seen: CardSeen, light: Light, quads: Array
) -> tuple[float, ColourFit] | None:
    """Return the better edition's error and fit, or None where no chart lies there."""
    cut = [box_code(photo, quad) for quad in quads]
    good = np.array([not reasons for _, reasons in cut])
    if good.sum() < 20:
        return None
    code = np.array([code for code, _ in cut])
    at_mm = seen.plane.to_card(quads.mean(axis=1))
    fits = [_fit_lit(code, good, at_mm, light, published(edition)) for edition in EDITIONS]
    error, fit = min(fits, key=lambda one: one[0])
    return (error, fit) if error <= MISPLACED_DE00 else None


def _fit_lit(
    code: Array, good: NDArray[np.bool_], at_mm: Array, light: Light, lab: Array
) -> tuple[float, ColourFit]:
    """Return error and fit, the light on the chart and the colours found in turn."""
    log = np.log(srgb_decode(light.code_at(at_mm)))
    spread = _spread(light, at_mm)
    gain = spread @ np.linalg.inv(spread + PATCH_LIGHT_SD**2 * np.eye(len(at_mm)))
    shift = np.zeros(len(at_mm))
    for _ in range(ROUNDS):
        white = srgb_encode(np.exp(log + shift[:, None]))
        fit = solve(Samples(code, white, lab, good), light)
        seen, told = (_luminance(x) for x in (fit.loo_lab, lab))
        # Too dark for its published value: less light fell there than was thought.
        wanted = np.clip(shift + np.log(seen / told), -0.5, 0.5)
        level = float(np.average(wanted, weights=good))
        shift = gain @ np.where(good, wanted - level, 0.0)
    error = delta_e00(np.clip(fit.loo_lab, -300, 300), lab)[good]
    return float(np.median(error)), fit


def _luminance(lab: Array) -> Array:
    """Return relative luminance (n,) of CIELAB (n, 3), blacks lifted to where it still tells."""
    return np.asarray(((np.clip(lab[:, 0], 15.0, 110.0) + 16.0) / 116.0) ** 3)


def _spread(light: Light, at_mm: Array) -> Array:
    """Return the covariance (n, n) of the log light at places, the card's white known."""
    both = np.vstack([light.white_mm, at_mm])
    prior, count = kinship(both, both), len(light.white_mm)
    inner = prior[:count, :count] + NOISE_SD**2 * np.eye(count)
    cross = prior[count:, :count]
    return np.asarray(prior[count:, count:] - cross @ np.linalg.solve(inner, cross.T))
