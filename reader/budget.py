"""What a pad's colour may be off by, beyond all that the card can tell: dye seen beside ink.

Two colours alike to the eye under D50 need not be alike to a phone under a lamp. The card is
printing ink and teaches the fit how inks look; a pad is a dye. Its error is not in the card's
residuals, so it is budgeted: in lightness, chroma and hue, in units of CIEDE2000, growing with how
badly the lamp and the phone treat the card's own patches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.colour_fit import ColourFit
from reader.lab import delta_e00, tolerance_scale

Array = NDArray[np.float64]

DYE_SD = np.array([0.30, 1.00, 1.50])
"""Lightness, chroma and hue of a dye beside ink, where the card's ninth decile error is 1 dE00."""

GROWTH = 0.6
"""Power with which the budget follows the card's ninth decile error."""

PRINT_SD = np.array([1.0, 1.2, 1.2])
"""Lightness, chroma and hue of a print that was not measured."""


@dataclass(frozen=True, eq=False)
class Budget:
    """The covariance to add, for one photo."""

    dye_sd: Array
    """(3,): lightness, chroma, hue in tolerance units."""
    print_sd: Array
    """(3,): the same for a print that was not measured, zero where it was."""

    def at(self, lab: Array) -> Array:
        """Return what the dye adds (3, 3) to the covariance of a pad of colour `lab` (3,)."""
        return _in_lab(self.dye_sd, lab)

    def print_at(self, lab: Array) -> Array:
        """Return what the unmeasured print adds (3, 3)."""
        return _in_lab(self.print_sd, lab)


def _in_lab(sd: Array, lab: Array) -> Array:
    back = np.linalg.inv(tolerance_scale(lab))
    return np.asarray(back @ np.diag(sd**2) @ back.T)


def budget_of(fit: ColourFit, card: Card) -> Budget:
    """Return the budget of a photo, from how its card's patches were fitted."""
    error = delta_e00(np.clip(fit.loo_lab, -300, 300), fit.samples.lab)[fit.used]
    scale = float(np.clip(np.quantile(error, 0.9), 0.6, 4.0)) ** GROWTH
    return Budget(scale * DYE_SD, np.zeros(3) if card.measured else PRINT_SD)
