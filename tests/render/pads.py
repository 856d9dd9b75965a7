"""The colours of pads: Kubelka-Munk with a dye of two forms on a white carrier.

K/S adds over dyes and carrier, and R = 1 + k - sqrt(k^2 + 2 k) for a thick layer: P. Kubelka and
F. Munk, Z. tech. Phys. 12, 593, 1931.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from tests.render import strips
from tests.render.spectra import WAVES_NM, Array, bell, lab_d50


def thick_layer(k_over_s: Array) -> Array:
    """Reflectance of an opaque layer (Kubelka-Munk)."""
    return 1.0 + k_over_s - np.sqrt(k_over_s**2 + 2.0 * k_over_s)


def turned_share(pad: strips.PadKind, value: float, mid: float) -> float:
    """Share of the dye in its turned form: by pH, else by a Hill curve."""
    if pad.analyte == "ph":
        return float(1.0 / (1.0 + 10.0 ** (pad.slope * (mid - value))))
    raised = max(value, 0.0) ** pad.slope
    return float(raised / (raised + mid**pad.slope))


def chart_steps(pad: strips.PadKind, value: float) -> float:
    """Place of a value on the chart, counted in blocks; log(value + first step), pH as it is.

    Straight continuation past the ends.
    """
    blocks = np.asarray(pad.blocks, dtype=float)
    scale = scale_of(pad)
    nodes, at = scale(blocks), scale(np.asarray(value, dtype=float))
    i = int(np.clip(np.searchsorted(nodes, at) - 1, 0, len(nodes) - 2))
    return float(i + (at - nodes[i]) / (nodes[i + 1] - nodes[i]))


def value_at(pad: strips.PadKind, steps: float) -> float:
    """The inverse of `chart_steps`."""
    blocks = np.asarray(pad.blocks, dtype=float)
    nodes = scale_of(pad)(blocks)
    i = int(np.clip(np.floor(steps), 0, len(nodes) - 2))
    at = nodes[i] + (steps - i) * (nodes[i + 1] - nodes[i])
    return float(at if pad.analyte == "ph" else np.exp(at) - (blocks[1] - blocks[0]))


def scale_of(pad: strips.PadKind):
    """Return the function that turns values into an even scale."""
    if pad.analyte == "ph":
        return lambda v: v
    first = pad.blocks[1] - pad.blocks[0]
    return lambda v: np.log(np.maximum(v, 0.0) + first)


@dataclass(frozen=True)
class Pads:
    """The pads of one strip lot: the seed draws where its dyes' bands lie.

    `strip` draws one strip of the lot: its dye's amount and its response vary by `variation`
    (relative sd of each).
    """

    seed: int
    family: str = "reedmere"
    strip: int | None = None
    variation: float = 0.04
    kind: strips.StripKind = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", strips.FAMILIES[self.family])

    def reflectance(self, analyte: str, value: float, strength: float = 1.0) -> Array:
        """Reflectance of the pad in water of that value, shape (71,); `strength` thins its dye."""
        pad = strips.pad_of(self.kind, analyte)
        place = self.kind.pads.index(pad)
        lot = np.random.default_rng([self.seed, 21, place])
        shift = lot.normal(0, 4.0, 8)
        widen, strong = lot.normal(1, 0.05, 8), lot.normal(1, 0.05, 8)
        amount, response = self.strip_factors(place)
        amount = amount * strength
        mid = self.half_turned(pad, lot.normal(), response)
        share = turned_share(pad, value, mid)
        k_over_s = self.carrier(place)
        for i, (centre, width, height) in enumerate((*pad.before, *pad.after)):
            weight = (1.0 - share) if i < len(pad.before) else share
            band = bell(centre + shift[i], width * widen[i])
            k_over_s = k_over_s + weight * height * strong[i] * amount * band
        return thick_layer(k_over_s)

    @staticmethod
    def half_turned(pad: strips.PadKind, drift: float, response: float) -> float:
        """Value that turns half the dye, for this lot and this strip."""
        if pad.analyte == "ph":
            return float(pad.mid + 0.08 * drift + 0.4 * np.log(response))
        return float(pad.mid * (1.0 + 0.06 * drift) * response)

    def strip_factors(self, place: int) -> tuple[float, float]:
        """This strip's pad against the lot's mean: amount of dye, and value that turns it."""
        if self.strip is None:
            return 1.0, 1.0
        rng = np.random.default_rng([self.seed, 22, self.strip, place])
        amount, response = np.exp(rng.normal(0.0, self.variation, 2))
        return float(amount), float(response)

    def carrier(self, place: int) -> Array:
        """K/S of the wet carrier: reflectance about 0.8, a little yellow."""
        rng = np.random.default_rng([self.seed, 23, place])
        red_end = np.clip((WAVES_NM - 380.0) / 350.0, 0.0, 1.0)
        reflectance = rng.normal(0.78, 0.015) + 0.05 * red_end**0.5
        k = (1.0 - reflectance) ** 2 / (2.0 * reflectance)
        return k * (1.0 + 0.05 * rng.normal())

    def lab(self, analyte: str, value: float) -> Array:
        """True CIELAB (D50 / 2 degree) of the pad, shape (3,)."""
        return lab_d50(self.reflectance(analyte, value))

    def blocks(self) -> list[tuple[int, strips.PadKind, float, Array]]:
        """All blocks of the chart: pad number, pad, value, true Lab."""
        return [
            (number, pad, float(value), self.lab(pad.analyte, value))
            for number, pad in enumerate(self.kind.pads, 1)
            for value in pad.blocks
        ]
