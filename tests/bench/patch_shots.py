"""One photo at patch level: what surfaces show to a phone, and the colour fit of a card in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.render import develop
from tests.render.camera import Camera
from tests.render.patches import warmth
from tests.render.spectra import Array

UNEVEN = 0.004
"""What flattening and the light field leave in a patch's code, relative: with it the misfit of a
fresh card is that of rendered photos (0.45 CIEDE2000)."""

Shown = Callable[[Array], Array]
"""From reflectances (n, 71) to the codes (n, 3) a phone writes."""


@dataclass(frozen=True, eq=False)
class EvenLight:
    """White looks the same all over the card."""

    code: Array

    def code_at(self, at_mm: Array) -> Array:
        """White's codes (k, 3) at places (k, 2)."""
        return np.repeat(self.code[None], len(at_mm), axis=0)


def photo_of(rng: np.random.Generator, lamp: Any, camera: Camera, look: Any, sheet: Array) -> Shown:
    """Return what surfaces show in one photo beside this paper's white."""
    white, warm = camera.raw(lamp.power, sheet), warmth(lamp.power)

    def shown(reflectance: Array) -> Array:
        raw = camera.raw(lamp.power, reflectance)
        raw = raw * np.exp(rng.normal(0, UNEVEN, (len(raw), 1)))
        code = develop.develop_points(raw, camera, white, look, warm)
        return np.clip(code + rng.normal(0, 0.0015, code.shape), 0.0, 1.0)

    return shown


def fit_of(shown: Shown, patches: Array, sheet: Array, labs: Array) -> Any:
    """Return the colour fit of a card's patches (n, 71) whose colours are known as `labs`."""
    from reader.colour_fit import Samples, solve

    code = shown(patches)
    base = shown(np.repeat(sheet[None], len(code), axis=0)).mean(axis=0)
    good = np.asarray((code.max(axis=1) < 0.985) & (code.max(axis=1) > 0.02))
    samples = Samples(code, np.repeat(base[None], len(code), axis=0), labs, good)
    # A fit asks its light for nothing but white's codes.
    return solve(samples, EvenLight(base))  # type: ignore[arg-type]
