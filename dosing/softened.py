"""Softened water for the filling: which share of it, and the hardness it would give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from dosing.chemistry import softened_share
from dosing.scale import inside, quantile
from dosing.water import Water

SOFT_MG_L: Final = 5.0
"""Hardness behind a softener [mg/L as CaCO3] (common practice)."""
SOFT_SD_MG_L: Final = 3.0


@dataclass(frozen=True, slots=True)
class Blend:
    """A share of softened water for filling, and the hardness it would give [mg/L as CaCO3]."""

    softened: float
    """0 to 1."""
    value: float
    low: float
    high: float
    """95 % band."""
    fits: float
    """Probability of the tub's hardness lying within the wanted range."""


def softened_fill(water: Water, aim_mg_l: float, low_mg_l: float, high_mg_l: float) -> Blend:
    """Return the share of softened water whose blend has the hardness aimed at.

    Parameters
    ----------
    water
        A belief whose `fill` sample has been measured.
    aim_mg_l, low_mg_l, high_mg_l
        Calcium hardness aimed at and the wanted range [mg/L as CaCO3].
    """
    name = "calcium_hardness"
    hard = water.value(name, "fill")
    share = round(softened_share(hard, SOFT_MG_L, aim_mg_l), 2) if hard > high_mg_l else 0.0
    mean = (1.0 - share) * hard + share * SOFT_MG_L
    variance = ((1.0 - share) * water.sd(name, "fill")) ** 2 + (share * SOFT_SD_MG_L) ** 2
    low, high = (quantile(name, mean, variance, edge) for edge in (0.025, 0.975))
    return Blend(share, mean, low, high, inside(name, mean, variance, low_mg_l, high_mg_l))
