"""A picture on a display: three narrow primaries in place of ink and light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.render import develop
from tests.render.camera import Camera
from tests.render.light import Light, daylight, scaled
from tests.render.spectra import WAVES_NM, Array, bell, observer

Image = NDArray[np.float32]


def primaries(camera: Camera, seed: int) -> Array:
    """Sensor values of a display's red, green and blue at full drive, shape (3, 3)."""
    rng = np.random.default_rng([seed, 81])
    red = bell(rng.normal(622, 5), 12) + 0.3 * bell(rng.normal(632, 2), 4)
    green = bell(rng.normal(532, 5), rng.uniform(14, 26))
    blue = bell(rng.normal(455, 4), 10)
    one = np.ones(len(WAVES_NM))
    powers = np.stack([scaled(red), scaled(green), scaled(blue)])
    # Driven so that full red, green and blue together have the white point of D65.
    white = scaled(daylight(6504.0)) @ observer()
    drive = np.linalg.solve((powers @ observer()).T, white)
    return np.stack([camera.raw(power, one) for power in powers * drive[:, None]])


def shown(
    flat: Image, camera: Camera, lamp: Light, look: develop.Look, scale: float, seed: int
) -> Image:
    """Sensor values of the flat card when a display shows a photo of it."""
    white = camera.raw(lamp.power, 0.88 * np.ones(len(WAVES_NM)))
    first = develop.toned(
        np.minimum(flat @ develop.balanced_matrix(camera, white, look, 0.0).T, 1.0).astype(
            np.float32
        )
        * np.float32(0.85),
        look,
    )
    linear = np.where(first <= 0.04045, first / 12.92, ((first + 0.055) / 1.055) ** 2.4)
    rows, columns = linear.shape[:2]
    pitch = 0.27 * scale
    # Lines between the display's dots, coarse enough to beat with the camera's own.
    grid = 1.0 - 0.25 * (np.cos(2 * np.pi * np.arange(columns) / pitch) > 0.7)[None, :]
    grid = grid * (1.0 - 0.25 * (np.cos(2 * np.pi * np.arange(rows) / pitch) > 0.7)[:, None])
    values = linear.astype(np.float32) @ primaries(camera, seed).astype(np.float32)
    mirror = 0.02 * camera.raw(lamp.power, np.ones(len(WAVES_NM)))
    return values * grid[..., None].astype(np.float32) + mirror.astype(np.float32)
