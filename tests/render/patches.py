"""Photographs without geometry: the code values of a card's patches and a strip's pads.

For tests of the colour fit that need many photos fast.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from tests.render import develop, light
from tests.render.camera import Camera
from tests.render.inks import Print
from tests.render.pads import Pads, value_at
from tests.render.spectra import Array, lab_d50


@dataclass(frozen=True, eq=False)
class PatchPhoto:
    """What one photo shows of the patches and of a strip's pads."""

    patch_ids: tuple[str, ...]
    patch_rgb: NDArray[np.float32]
    """Code values of the patches in the order of the card, (n, 3), 0 to 1."""
    patch_lab: Array
    """The patches as an instrument measured them, (n, 3)."""
    white_rgb: NDArray[np.float32]
    analytes: tuple[str, ...]
    pad_rgb: NDArray[np.float32]
    """Code values of the pads, (m, 3)."""
    pad_lab: Array
    """True Lab of the pads, (m, 3)."""
    values: tuple[float, ...]
    light: str
    kind: str


def warmth(power: Array) -> float:
    """How far a lamp lies towards the bulb, 0 to 1, as a phone would judge by red over blue."""
    eye = Camera(0)
    red, _, blue = eye.raw(power, np.ones(power.shape))
    return float(np.clip(np.log(red / blue) / 1.1, 0.0, 1.0))


def photograph(
    seed: int,
    card: Card,
    kind: str = "daylight",
    careless: bool = False,
    other: bool = False,
    family: str = "reedmere",
    noise: float = 0.002,
) -> PatchPhoto:
    """Photograph a card and a freshly dipped strip; everything is drawn by `seed`."""
    rng = np.random.default_rng([seed, 51])
    lamp = light.make(kind, seed, other)
    camera = Camera(seed, "other" if other else "phone")
    paper = Print(seed, other=other)
    pads = Pads(seed, family, strip=seed)
    look = develop.draw_look(rng, careless, other)
    wanted = np.array([patch.lab for patch in card.patches])
    values = tuple(value_at(p, rng.uniform(0, len(p.blocks) - 1)) for p in pads.kind.pads)
    pad_r = np.stack(
        [pads.reflectance(p.analyte, v) for p, v in zip(pads.kind.pads, values, strict=True)]
    )
    white = camera.raw(lamp.power, paper.white(lamp.near_uv))
    warm = warmth(lamp.power)

    def shown(reflectance: Array) -> NDArray[np.float32]:
        raw = camera.raw(lamp.power, reflectance)
        code = develop.develop_points(raw, camera, white, look, warm)
        return np.clip(code + rng.normal(0, noise, code.shape), 0, 1).astype(np.float32)

    return PatchPhoto(
        patch_ids=tuple(patch.id for patch in card.patches),
        patch_rgb=shown(paper.reflectance(wanted, lamp.near_uv)),
        patch_lab=paper.measured(wanted),
        white_rgb=shown(paper.white(lamp.near_uv)[None])[0],
        analytes=tuple(p.analyte for p in pads.kind.pads),
        pad_rgb=shown(pad_r),
        pad_lab=lab_d50(pad_r),
        values=values,
        light=lamp.name,
        kind=kind,
    )
