"""Looking ahead with the belief: will the chlorine hold, which output, how much softened water."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from dosing.belief import sigma_points
from dosing.chemistry import softened_share
from dosing.motion import CHLORINE_INPUTS, chlorine_after
from dosing.scale import inside, quantile
from dosing.water import Water

SOFT_MG_L: Final = 5.0
"""Hardness that a softener leaves [mg/L as CaCO3]; common practice."""
SOFT_SD_MG_L: Final = 3.0
NORMAL_95: Final = 1.959964


@dataclass(frozen=True, slots=True)
class Blend:
    """A share of softened water for filling, and the hardness it would give."""

    softened: float
    """0 to 1."""
    probability: float
    """Of the tub's calcium hardness lying within the wanted range."""
    value: float
    """Expected calcium hardness [mg/L as CaCO3]."""
    low: float
    high: float


def hold_chance(
    water: Water, least_mg_l: float, hours: float = 24.0, output: float | None = None
) -> float:
    """Return the probability that at least so much free chlorine is left after some hours.

    Parameters
    ----------
    least_mg_l
        What must be left [mg/L as Cl2].
    output
        Generator output till then, 0 to 1; as it is when None.
    """
    return water.later(hours, output=output).probability("free_chlorine", least_mg_l, None)


def daily_loss(water: Water) -> tuple[float, float, float]:
    """Return what the water takes of its chlorine in a day, generator off: middle and 95 % band.

    mg/L as Cl2, from the level of now: decay, what demand is left, and new demand.
    """
    belief = water.state.belief
    columns = belief.places(CHLORINE_INPUTS)
    points, _ = sigma_points(belief.mean[columns], belief.cov[columns[:, None], columns])
    losses = [max(point[0], 0.0) - chlorine_after(point, 24.0, 0.0)[0] for point in points.tolist()]
    mean = sum(losses) / len(losses)
    sd = math.sqrt(sum((loss - mean) ** 2 for loss in losses) / len(losses))
    return mean, max(mean - NORMAL_95 * sd, 0.0), mean + NORMAL_95 * sd


def softened_fill(
    water: Water, low_mg_l: float, high_mg_l: float, soft_mg_l: float = SOFT_MG_L
) -> Blend:
    """Return the share of softened water whose blend best meets a hardness range.

    Parameters
    ----------
    water
        A belief whose `fill` sample has been measured.
    low_mg_l, high_mg_l
        Wanted calcium hardness [mg/L as CaCO3]; the middle is aimed at.
    soft_mg_l
        Hardness of the softened water [mg/L as CaCO3].
    """
    hard = water.value("calcium_hardness", "fill")
    middle = 0.5 * (low_mg_l + high_mg_l)
    share = softened_share(hard, soft_mg_l, middle) if hard > max(high_mg_l, soft_mg_l) else 0.0
    share = round(share, 2)
    mean = (1.0 - share) * hard + share * soft_mg_l
    variance = ((1.0 - share) * water.sd("calcium_hardness", "fill")) ** 2
    variance += (share * SOFT_SD_MG_L) ** 2
    name = "calcium_hardness"
    return Blend(
        share,
        inside(name, mean, variance, low_mg_l, high_mg_l),
        mean,
        quantile(name, mean, variance, 0.025),
        quantile(name, mean, variance, 0.975),
    )
