"""Printed colours: four inks on paper by the Yule-Nielsen-Neugebauer model.

Neugebauer's primaries with Demichel's weights, mixed in R^(1/n) (Yule and Nielsen 1951). A print is
separated for the printer that the driver believes in and put on paper by the one that stands there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tests.render.spectra import WAVES_NM, Array, bell, lab_d50

KINDS = {"profiled": 0.15, "plain": 0.38, "office": 0.9}
"""How far the standing printer is from the believed one, relative to its usual spread."""

OPEN = np.array([[(i >> ink) & 1 for ink in range(4)] for i in range(16)], dtype=float)
"""Which of the four inks each of the 16 primaries holds."""


@dataclass(frozen=True, eq=False)
class Printer:
    """What a printer does with ink amounts."""

    density: Array
    """Optical density of each full ink, shape (4, 71)."""
    gain: Array
    """Exponent of the dot area for each ink; below 1 the dots grow."""
    n: float
    """Yule-Nielsen factor."""
    paper: Array
    """Reflectance of the paper without its glow, shape (71,)."""
    glow: Array
    """What the brightener adds under D50's ultraviolet, shape (71,)."""

    def reflectance(self, amounts: Array, near_uv: float = 1.0) -> Array:
        """Reflectance of ink amounts 0 to 1, (n, 4) -> (n, 71)."""
        area = np.clip(amounts, 0.0, 1.0) ** self.gain
        weights = np.prod(np.where(OPEN[None] > 0, area[:, None], 1.0 - area[:, None]), axis=2)
        # Overprinted inks trap less than their densities add up to.
        full = np.minimum(OPEN @ self.density, 2.2)
        sheet = self.paper + near_uv * self.glow
        primaries = (sheet * 10.0**-full) * 0.985 + 0.006
        return (weights @ primaries ** (1.0 / self.n)) ** self.n


def inks(shift: Array, strong: Array, wide: Array) -> Array:
    """Densities of cyan, magenta, yellow and black."""
    cyan = bell(640 + shift[0], 62 * wide[0], 75) + 0.16 * bell(400, 30) + 0.10 * bell(550, 40)
    magenta = bell(542 + shift[1], 38 * wide[1], 34) + 0.28 * bell(430, 45)
    yellow = bell(432 + shift[2], 45, 38 * wide[2]) + 0.04 * bell(540, 40)
    black = 1.0 - 0.10 * (WAVES_NM - 555.0) / 175.0
    return np.stack([1.30 * cyan, 1.25 * magenta, 1.15 * yellow, 1.40 * black]) * strong[:, None]


def believed() -> Printer:
    """The printer the driver separates for."""
    one = np.ones(4)
    return Printer(inks(np.zeros(4), one, one), 0.80 * one, 2.0, 0.89 * one_sheet(), 0.0 * WAVES_NM)


def one_sheet() -> Array:
    """A plain matte sheet, 1 in the green."""
    return 1.0 - 0.06 * bell(380.0, 30.0) + 0.01 * (WAVES_NM - 550.0) / 150.0


def standing(rng: np.random.Generator, spread: float, brightener: bool, other: bool) -> Printer:
    """The printer that stands in the shop; `other`: another ink set and another halftone."""
    shift = rng.normal(0, 6.0, 4) * spread + (np.array([-14.0, 9.0, 8.0, 0.0]) if other else 0.0)
    strong = 1.0 + rng.normal(0, 0.07, 4) * spread
    wide = 1.0 + rng.normal(0, 0.06, 4) * spread + (0.18 if other else 0.0)
    gain = 0.80 * (1.0 + rng.normal(0, 0.05, 4) * spread)
    n = rng.uniform(1.3, 1.6) if other else float(np.clip(rng.normal(2.0, 0.25), 1.4, 3.0))
    tint = 1.0 + rng.normal(0, 0.012) * (WAVES_NM - 555.0) / 150.0
    paper = rng.uniform(0.84, 0.92) * one_sheet() * tint
    glow = (rng.uniform(0.03, 0.10) if brightener else 0.0) * bell(438.0, 13.0, 24.0)
    return Printer(inks(shift, strong, wide), gain, n, paper, glow)


@lru_cache(maxsize=64)
def separations(labs: tuple[tuple[float, float, float], ...]) -> Array:
    """Ink amounts the driver sends for the wanted colours, (n, 4); nearest where out of gamut."""
    wanted = np.asarray(labs, dtype=float)
    printer = believed()
    black = np.clip((50.0 - wanted[:, :1]) / 50.0, 0.0, 1.0) ** 1.2
    amounts = np.concatenate([np.full((len(wanted), 3), 0.4), black], axis=1)
    damping = np.full(len(wanted), 5.0)
    error = lab_d50(printer.reflectance(amounts)) - wanted
    for _ in range(60):
        slopes = np.stack(
            [
                (lab_d50(printer.reflectance(amounts + 1e-4 * np.eye(4)[i])) - wanted - error)
                / 1e-4
                for i in range(3)
            ],
            axis=2,
        )
        normal = np.einsum("nij,nik->njk", slopes, slopes) + damping[:, None, None] * np.eye(3)
        move = np.linalg.solve(normal, -np.einsum("nij,ni->nj", slopes, error)[..., None])[..., 0]
        trial = amounts.copy()
        trial[:, :3] = np.clip(amounts[:, :3] + move, 0.0, 0.999)
        trial_error = lab_d50(printer.reflectance(trial)) - wanted
        better = (trial_error**2).sum(1) < (error**2).sum(1)
        amounts[better], error[better] = trial[better], trial_error[better]
        damping = np.where(better, damping * 0.5, damping * 4.0).clip(1e-3, 1e7)
    return amounts


@dataclass(frozen=True)
class Print:
    """One print of a card: which printer, which paper, drawn by seed."""

    seed: int
    kind: str = "office"
    brightener: bool | None = None
    other: bool = False

    def rng(self) -> np.random.Generator:
        """The stream of this print."""
        return np.random.default_rng([self.seed, 31])

    def printer(self) -> Printer:
        """The standing printer."""
        rng = self.rng()
        glows = rng.random() < 0.4 if self.brightener is None else self.brightener
        return standing(rng, KINDS[self.kind], bool(glows), self.other)

    def asked(self, labs: Array) -> Array:
        """What an office driver makes of the wanted colours before it separates them."""
        if self.kind != "office":
            return labs
        rng = np.random.default_rng([self.seed, 32])
        turn, vivid = rng.normal(0.0, 0.03), rng.normal(1.03, 0.06)
        a, b = labs[:, 1], labs[:, 2]
        lightness = labs[:, 0] + rng.normal(0, 1.2) * np.sin(np.pi * labs[:, 0] / 100.0)
        return np.stack([lightness, vivid * (a - turn * b), vivid * (b + turn * a)], axis=1)

    def reflectance(self, lab_nominal: Array, near_uv: float = 1.0, fading: float = 0.0) -> Array:
        """Reflectance of patches asked for by their nominal Lab, (n, 3) -> (n, 71).

        `fading` is the share of magenta and yellow ink that the sun has taken.
        """
        asked = self.asked(np.atleast_2d(np.asarray(lab_nominal, dtype=float)))
        amounts = separations(tuple(tuple(float(x) for x in row) for row in np.round(asked, 4)))
        left = 1.0 - fading * np.array([0.15, 1.0, 0.7, 0.0])
        return self.printer().reflectance(amounts * left, near_uv)

    def white(self, near_uv: float = 1.0) -> Array:
        """The bare paper, shape (71,)."""
        return self.printer().reflectance(np.zeros((1, 4)), near_uv)[0]

    def black(self) -> Array:
        """Full black as of markers and text, shape (71,)."""
        return self.printer().reflectance(np.array([[0.0, 0.0, 0.0, 1.0]]))[0]

    def lab(self, lab_nominal: Array) -> Array:
        """True CIELAB (D50 / 2 degree) of the patches as printed, (n, 3)."""
        return lab_d50(self.reflectance(lab_nominal))

    def measured(self, lab_nominal: Array, noise: float = 0.25) -> Array:
        """The patches as an instrument reports them, with its noise [Lab units, sd an axis]."""
        true = self.lab(lab_nominal)
        return true + np.random.default_rng([self.seed, 33]).normal(0, noise, true.shape)
