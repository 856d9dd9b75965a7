"""A printed card over the months: averaged from several photos, and watched for fading."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.lab import Cov, Lab

Array = NDArray[np.float64]

FEWEST_PHOTOS = 3
"""Photos of a new card beside a measured one: fewer cannot tell an odd one."""

ODD_SD = 4.0
"""A photo this many robust standard deviations from the others in the median patch is left out."""

FEWEST_TO_WATCH = 12
FADING_CHANCE = 0.002
FADING_DE00 = 0.06
"""A card fades when its misfit rises with a chance under this of being idle, and by at least this
much in CIEDE2000 from the first to the last third. So little counts because the fit follows a card
that fades: on rendered photos a tenth of magenta and yellow ink gone raised the misfit from 0.45 to
0.53 and put pads off by 2.0 where they had been off by 1.0."""


@dataclass(frozen=True, eq=False)
class CardPhoto:
    """The patches of a new card as corrected by a measured one in the same photo."""

    name: str
    labs: Mapping[str, Lab]
    """CIELAB (D50 / 2 degree) by patch, shape (3,) each."""


@dataclass(frozen=True, eq=False)
class AveragedCard:
    """A new card's colours, each with the covariance of its mean."""

    labs: Mapping[str, Lab]
    covs: Mapping[str, Cov]
    left_out: tuple[str, ...]
    """Photos that disagreed with the others."""


def average_card(photos: Sequence[CardPhoto]) -> AveragedCard:
    """Return the patches' colours averaged over photos, best in several lights.

    Raises
    ------
    ValueError
        With fewer than three photos that agree, or patches that are not in all of them.
    """
    if len(photos) < FEWEST_PHOTOS:
        raise ValueError(
            f"{len(photos)} photos of the new card are too few; take {FEWEST_PHOTOS} or more, "
            "in several lights"
        )
    ids = sorted(photos[0].labs)
    for photo in photos:
        if sorted(photo.labs) != ids:
            raise ValueError(f"{photo.name} does not show all patches; take it again")
    labs = np.array([[photo.labs[i] for i in ids] for photo in photos])
    off = np.median(np.linalg.norm(labs - np.median(labs, axis=0), axis=2), axis=1)
    limit = np.median(off) + ODD_SD * 1.4826 * np.median(np.abs(off - np.median(off)))
    kept = off <= max(float(limit), 1.0)
    if kept.sum() < FEWEST_PHOTOS:
        raise ValueError("the photos of the new card disagree; take them again in even light")
    good = labs[kept]
    mean = good.mean(axis=0)
    rest = good - mean
    covs = np.einsum("pij,pik->ijk", rest, rest) / (len(good) - 1) / len(good)
    names = tuple(photo.name for photo, k in zip(photos, kept, strict=True) if not k)
    return AveragedCard(
        {i: mean[n] for n, i in enumerate(ids)}, {i: covs[n] for n, i in enumerate(ids)}, names
    )


@dataclass(frozen=True)
class CardFit:
    """How well a card's patches fitted in one photo."""

    at: datetime
    delta_e00_median: float


@dataclass(frozen=True)
class CardWatch:
    """Whether a card's residuals rise over time."""

    state: Literal["too_few", "steady", "fading"]
    rise_de00: float
    """Median of the newest third minus that of the oldest, CIEDE2000."""
    chance: float
    """Chance of such a trend in a steady card (Mann-Kendall, one-sided)."""

    @property
    def sentence(self) -> str:
        """Say in words what is seen and what to do."""
        if self.state == "too_few":
            return f"too few photos to watch the card; {FEWEST_TO_WATCH} are needed"
        if self.state == "steady":
            return "the card's colours fit as they did"
        return (
            f"this card is fading: its colours fit worse by {self.rise_de00:.2f} CIEDE2000 than "
            "at first, and pads are read wrong by several times that; print and measure a new one"
        )


def watch_card(fits: Sequence[CardFit]) -> CardWatch:
    """Return whether the card fades, by the Mann-Kendall test for a rising trend.

    References
    ----------
    .. [1] H. B. Mann, "Nonparametric tests against trend", Econometrica 13 (3), 245-259, 1945.
       Source key: mann1945.
    """
    x = np.array([fit.delta_e00_median for fit in sorted(fits, key=lambda fit: fit.at)])
    n = len(x)
    if n < FEWEST_TO_WATCH:
        return CardWatch("too_few", 0.0, 1.0)
    signs = float(np.sign(x[None, :] - x[:, None])[np.triu_indices(n, 1)].sum())
    sd = math.sqrt(n * (n - 1) * (2 * n + 5) / 18.0)
    z = (signs - math.copysign(1.0, signs)) / sd if signs else 0.0
    chance = 0.5 * math.erfc(z / math.sqrt(2.0))
    third = n // 3
    rise = float(np.median(x[-third:]) - np.median(x[:third]))
    fading = chance < FADING_CHANCE and rise >= FADING_DE00
    return CardWatch("fading" if fading else "steady", rise, chance)
