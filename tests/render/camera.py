"""Camera sensitivities and the camera's own matrix to a display's primaries.

The `phone` family are invented sensors: asymmetric bands behind an infrared filter, with places and
widths drawn round templates. The `other` family starts from measured cameras that colour-science
carries, shifted and filtered, so that hold-out photos come from another kind of eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from tests.render.light import blackbody, daylight, scaled
from tests.render.spectra import (
    WAVES_NM,
    Array,
    bell,
    chart_reflectances,
    colour,
    observer,
    step,
)

TEMPLATES = (
    # red, green, blue: (centre, left width, right width); crosstalk; infrared cut [nm]
    ((598, 30, 34), (534, 36, 38), (460, 26, 30), 0.05, 668),
    ((603, 34, 30), (530, 34, 40), (457, 24, 32), 0.08, 660),
    ((594, 28, 36), (538, 38, 36), (464, 30, 28), 0.06, 674),
    ((607, 36, 32), (528, 40, 38), (454, 26, 34), 0.10, 664),
    ((600, 32, 36), (540, 42, 34), (468, 30, 30), 0.04, 670),
    ((596, 36, 30), (532, 34, 34), (450, 24, 36), 0.07, 656),
)


def phone(rng: np.random.Generator) -> Array:
    """Sensitivities of an invented phone, shape (71, 3)."""
    *bands, crosstalk, cut = TEMPLATES[int(rng.integers(len(TEMPLATES)))]
    narrow = [
        bell(c + rng.normal(0, 1.5), lw * rng.normal(1, 0.03), rw * rng.normal(1, 0.03))
        for c, lw, rw in bands
    ]
    red, green, blue = narrow
    mixed = np.stack(
        [
            red + crosstalk * green + 0.4 * crosstalk * blue,
            green + crosstalk * (red + blue),
            blue + crosstalk * green,
        ],
        axis=1,
    )
    filters = (1.0 - step(cut + rng.normal(0, 3.0), 7.0)) * step(410 + rng.normal(0, 3.0), 5.0)
    slope = 1.0 + 0.1 * (WAVES_NM - 550.0) / 150.0
    return mixed * (filters * slope)[:, None]


def measured(rng: np.random.Generator) -> Array:
    """Sensitivities from a measured camera, shifted, stretched and filtered anew, (71, 3)."""
    table = next(iter(colour.MSDS_CAMERA_SENSITIVITIES.values()))  # the first one measured
    waves = np.asarray(table.wavelengths, dtype=float)
    shift, stretch = rng.normal(0.0, 3.0, 3), rng.normal(1.0, 0.03, 3)
    bands = []
    for i in range(3):
        at = 550.0 + (WAVES_NM - 550.0 - shift[i]) / stretch[i]
        bands.append(np.interp(at, waves, table.values[:, i], left=0.0, right=0.0))
    filters = 1.0 - step(665 + rng.normal(0, 8.0), 9.0)
    return np.stack(bands, axis=1) * filters[:, None]


FAMILIES = {"phone": phone, "other": measured}


@dataclass(frozen=True)
class Camera:
    """One sensor with its maker's colour matrices; the seed draws the sensor."""

    seed: int
    family: str = "phone"

    @cached_property
    def sensitivities(self) -> Array:
        """Shape (71, 3), each channel scaled to see daylight's white as 1."""
        raw = FAMILIES[self.family](np.random.default_rng([self.seed, 41]))
        return raw / (scaled(daylight(5500.0)) @ raw)

    def raw(self, power: Array, reflectance: Array) -> Array:
        """Linear sensor values, (..., 71) -> (..., 3); daylight of the same Y on white is 1."""
        return (np.asarray(reflectance) * power) @ self.sensitivities

    def matrix(self, warm: float, space: str = "sRGB") -> Array:
        """The maker's 3x3 from white-balanced raw to linear RGB of `space`.

        `warm` from 0 (daylight) to 1 (bulb) mixes two calibrations, as makers do.
        """
        cool = self.fitted(scaled(daylight(6500.0)), space)
        bulb = self.fitted(scaled(blackbody(2856.0)), space)
        return (1.0 - warm) * cool + warm * bulb

    def fitted(self, power: Array, space: str) -> Array:
        """Least squares over the published chart's patches, white kept white."""
        patches = chart_reflectances()
        raw = self.raw(power, patches) / self.raw(power, np.ones(71))
        xyz = (patches * power) @ observer()
        white = power @ observer()
        target_space = colour.RGB_COLOURSPACES[space]
        d65 = colour.xy_to_XYZ(target_space.whitepoint)
        adapted = xyz @ adaptation(white, d65).T
        target = adapted @ np.asarray(target_space.matrix_XYZ_to_RGB).T
        # Weigh errors as eyes do, roughly: by the cube root's slope.
        weight = 1.0 / np.maximum(xyz[:, 1], 0.02) ** 0.6
        weight = np.append(weight, 1e3)
        raw, target = np.vstack([raw, np.ones(3)]), np.vstack([target, np.ones(3)])
        solved = np.linalg.lstsq(raw * weight[:, None], target * weight[:, None], rcond=None)[0]
        return np.asarray(solved.T)


def adaptation(white: Array, to_white: Array) -> Array:
    """Bradford matrix between two whites, by colour-science."""
    return np.asarray(
        colour.adaptation.matrix_chromatic_adaptation_VonKries(
            white, to_white, transform="Bradford"
        )
    )
