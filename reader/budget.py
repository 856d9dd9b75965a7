"""What a pad's colour may be off by, beyond all that the card can tell: dye seen beside ink.

Two colours alike to the eye under D50 need not be alike to a phone under a lamp. The card is
printing ink and teaches the fit how inks look; a pad is a dye. Its error is not in the card's
residuals, so it is budgeted: as relative errors of X, Y and Z that go together in part, since that
is how a phone's channels go wrong. Over random dyes it foretold errors much better than spreads of
lightness, chroma and hue. It grows with how badly the lamp and the phone treat the card's own
patches, and under lamps that are warm or have gaps, which show in how far the fitted 3x3 mixes red
and green. Paper that glows in ultraviolet adds its own share, as far as the measured card tells.

The figures were chosen by likelihood on two simulated worlds that share neither dyes, inks, lamps
nor sensors (`tests.bench.colour_study` and the patch photos of `tests.render`), each world foretold
from the other three quarters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.colour_fit import ColourFit
from reader.lab import SRGB_TO_XYZ_D50, delta_e00, tolerance_scale

Array = NDArray[np.float64]

DYE_SD = np.array([0.30, 0.235, 0.75])
"""Spread [percent of white's] of the cube roots of X, Y, Z of a dye beside ink, at cube roots of
0.82, where the card's error is `USUAL_DE00`."""

DYE_SLOPE = np.array([[0.0, -1.9, -0.7], [0.8, -0.9, -0.7], [1.3, -1.4, -1.5]])
"""Powers with which these spreads (rows) follow the cube roots of X, Y, Z (columns): darker and
yellower dyes take away more of what phone and eye see differently."""

DYE_ALIKE = np.array([[1.0, 0.53, 0.58], [0.53, 1.0, 0.36], [0.58, 0.36, 1.0]])
"""How the errors of the three go together."""

USUAL_DE00 = 1.25
"""Ninth decile of the patches' leave-one-out errors in a usual photo."""

GROWTH = 0.82
"""Power with which the budget follows that error."""

WARM_GROWTH = 0.14
"""How much the log of the budget grows with `mixing` above zero."""

USUAL_DEPARTURE, DEPARTURE_GROWTH = 0.22, 0.15
"""How far the 3x3 usually departs from plain sRGB; errors follow with this power ..."""

ODD_DEPARTURE, ODD_GROWTH = 0.5, 1.2
"""... and with this power more where it departs farther than under any household lamp."""

GLOW_SD = 0.012
"""Paper glows in the blue where its brightener finds ultraviolet; pads do not: spread of ln Z where
nothing is known of the paper."""

PLAIN_B, GLOW_PER_B, GLOW_SHARE = 0.3, 1.0 / 62.0, 0.5
"""The measured card tells whether its paper glows: its lightest grey is then bluer than paper
without brightener, by 62 in b* for each ln Z that glows under D50. Lamps make more or less of it, a
LED nothing, a blue sky half as much again: spread of that, as a share of the glow."""

PAPER_L, PAPER_CHROMA = 80.0, 8.0
"""A patch at least so light and so grey shows its paper."""

STRIP_SHARE, BARE_PAD = 0.014, np.array([91.0, 0.0, 3.0])
"""Strips of one lot carry more dye or less: some percent, common practice, no source. It moves a
colour along its line to the bare pad by this part of its distance."""

PRINT_SD, PRINT_GROWTH = np.array([0.25, 0.20, 0.50]), np.array([0.75, 0.70, 0.60])
"""Lightness, chroma and hue of a print that was not measured: at no error of the card, and what
each dE00 of its ninth decile adds."""

FROM_ROOTS = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])
"""CIELAB from the cube roots of X, Y, Z over white's, its constant left out."""

KNEE = 6.0 / 29.0
"""Cube root under which CIELAB goes on as a line."""

MIXING_USUAL = np.array([0.023, 0.039, 1.023, 0.980])
MIXING_SCALE = np.array([0.153, -0.111, -0.104, 0.082])
"""Mean and signed spread of the four numbers that `mixing` averages."""


@dataclass(frozen=True, eq=False)
class Budget:
    """The covariance to add, for one photo."""

    growth: float
    """What the dye's spread is multiplied by."""
    glow_sd: float
    """Spread of ln Z from paper that glows and pads that do not."""
    print_sd: Array
    """(3,): lightness, chroma, hue of an unmeasured print in tolerance units; of a measured one
    what the measurement left unsure, zero as a rule."""

    def at(self, lab: Array) -> Array:
        """Return what the dye adds (3, 3) to the covariance of a pad of colour `lab` (3,).

        A table made from photos of several strips holds all of it.
        """
        inside = np.clip(lab, [0.0, -150.0, -150.0], [110.0, 150.0, 150.0])
        roots = _roots(inside)
        glow = self.glow_sd * _by_ln_z(roots)
        strip = STRIP_SHARE * (lab - BARE_PAD)
        beside_ink = self.growth**2 * _dye(roots) + np.outer(glow, glow)
        return np.asarray(beside_ink + np.outer(strip, strip))

    def print_at(self, lab: Array) -> Array:
        """Return what the unmeasured print adds (3, 3)."""
        return _in_lab(self.print_sd, lab)


def _roots(lab: Array) -> Array:
    """Return what stands for the cube roots of X, Y, Z over white's in CIELAB (3,)."""
    y = (lab[0] + 16.0) / 116.0
    return np.array([y + lab[1] / 500.0, y, y - lab[2] / 200.0])


def _by_ln_z(roots: Array) -> Array:
    """Return the colour's slope (3,) by ln Z; below CIELAB's knee Z is a line."""
    z = float(roots[2])
    return np.array([0.0, 0.0, -200.0 * (z / 3.0 if z > KNEE else z - 4.0 / 29.0)])


def _dye(roots: Array) -> Array:
    """Return the covariance (3, 3) of a dye's colour beside ink in a usual photo."""
    roots = np.clip(roots, 0.15, 1.1)
    sd = 0.01 * DYE_SD * np.exp(DYE_SLOPE @ np.log(roots / 0.82))
    return np.asarray(FROM_ROOTS @ (np.outer(sd, sd) * DYE_ALIKE) @ FROM_ROOTS.T)


def _in_lab(sd: Array, lab: Array) -> Array:
    back = np.linalg.inv(tolerance_scale(lab))
    return np.asarray(back @ np.diag(sd**2) @ back.T)


def budget_of(fit: ColourFit, card: Card) -> Budget:
    """Return the budget of a photo, from how its card's patches were fitted."""
    error = delta_e00(np.clip(fit.loo_lab, -300, 300), fit.samples.lab)[fit.used]
    decile = float(np.clip(np.quantile(error, 0.9), 0.5, 8.0))
    growth = (decile / USUAL_DE00) ** GROWTH * np.exp(WARM_GROWTH * max(mixing(fit), 0.0))
    away = departure(fit)
    growth *= (max(away, 0.08) / USUAL_DEPARTURE) ** DEPARTURE_GROWTH
    growth *= max(away / ODD_DEPARTURE, 1.0) ** ODD_GROWTH
    of_print = PRINT_SD + PRINT_GROWTH * decile
    print_sd = np.array(card.print_sd) if card.measured else of_print
    return Budget(float(growth), _glow_sd(card), print_sd)


def _glow_sd(card: Card) -> float:
    """Return the spread of ln Z that this card's paper may cause by its glow."""
    labs = np.array([patch.lab for patch in card.patches])
    paper = labs[(labs[:, 0] >= PAPER_L) & (np.hypot(labs[:, 1], labs[:, 2]) <= PAPER_CHROMA)]
    if not card.measured or not len(paper):
        return GLOW_SD
    lightest_b = float(paper[paper[:, 0].argmax(), 2])
    return GLOW_SHARE * GLOW_PER_B * max(PLAIN_B - lightest_b, 0.0)


def departure(fit: ColourFit) -> float:
    """Return how far the fitted 3x3 departs from plain sRGB, sized to keep white.

    Household lights: 0.15 to 0.55. Coloured lamps and lamps with gaps: up to 2.
    """
    return float(np.linalg.norm(_mix(fit) - np.eye(3)))


def mixing(fit: ColourFit) -> float:
    """Return how far the fitted 3x3 departs from plain sRGB the way it does under warm lamps.

    About zero on average over household lights, above one under most bulbs and warm LEDs.
    """
    mix = _mix(fit)
    seen = np.array([mix[0, 1], mix[2, 1], mix[0, 0], mix[2, 2]])
    return float(np.mean(np.clip((seen - MIXING_USUAL) / MIXING_SCALE, -4.0, 4.0)))


def _mix(fit: ColourFit) -> Array:
    """Return the 3x3 (3, 3) from the phone's linear values to linear sRGB, its trace made 3."""
    mix = np.linalg.solve(SRGB_TO_XYZ_D50, fit.model.matrix[:, :3])
    return np.asarray(mix / max(float(np.trace(mix)), 0.3) * 3.0)
