"""Several photos of one strip made into one reading: tighter where they agree, else doubted.

What photos of one strip share does not average out: the strip's own dye, the card's print, and what
the phone makes of dye beside ink. What each has for itself does: noise, the evenness of its light,
and part of the lamp's. Both shares were measured (`python -m tests.bench fuse`).

Photos that are no good for a pad (glare, shadow, wrong time) take no part where others are better.
What is said of the strip itself (dirt, another strip) stays, whichever photo shows it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as fisher

from api.measure import KNOWN, PhotoReading, judge, unique
from api.reasons import worst
from api.timing import SinceDip, seconds_apart, since_dip, timing
from calibration.curve import Curve
from calibration.table import PadChart, Table
from reader.pads import PadColour
from reader.read_strip import StripSeen

Array = NDArray[np.float64]

SHARED = 0.6
"""Correlation of the measurement's errors (pixels, light, card fit) in photos of one strip ..."""
SHARED_BUDGET = 0.85
"""... and of what the dye adds beyond the card's residuals: 0.9 under one lamp, 0.7 to 0.8 under
others. A photo does not tell whether its lamp was another's, so one figure serves both."""
SHARED_BUDGET_LEAST = 0.6
"""The same where photos are compared: they disagree only beyond what lamps may do."""
DISAGREE_AT = 0.998
"""Quantile of Fisher's F beyond which photos disagree on a pad."""
SUSPECT_AT, SUSPECTS = 0.98, 3
"""So many pads beyond this quantile: the photos show different strips."""
DOUBTFUL_AGAINST = 2
"""So many doubtful pads of a photo that was left out speak as loud as a clean one."""

OF_THE_STRIP = frozenset({"dirty", "uneven_pad"})
"""A pad's reasons that tell of the strip, not of the photo."""
RANK = {"note": 0, "doubt": 1, "spoils": 2}


@dataclass(frozen=True, eq=False)
class Fused:
    """One reading of several photos."""

    reading: PhotoReading
    first: int
    """The photo whose card and strip stand for all, by its place among those given."""


@dataclass(frozen=True, eq=False)
class Sight:
    """One pad as one photo shows it, its covariances widened where it is off its time."""

    lab: Array | None
    own: Array
    """Covariance of the measurement (3, 3)."""
    budget: Array
    """What the dye adds (3, 3)."""
    dof: float
    reasons: tuple[str, ...]

    @property
    def rank(self) -> int:
        """0 where nothing speaks against it, 1 where it is doubtful, 2 where it says nothing."""
        return 2 if self.lab is None else RANK[worst(self.reasons, KNOWN)]


def fuse(
    seens: Sequence[StripSeen],
    table: Table,
    elapsed_s: float | None,
    curves: Mapping[int, Curve],
    dipped_at: datetime | None = None,
) -> Fused:
    """Return one reading from what was seen of one strip in several photos.

    Parameters
    ----------
    seens
        What was seen in each photo.
    table
        The shop's calibration table.
    elapsed_s
        Seconds from the dip to the first photo taken; the others follow by their own times.
    curves
        The table's fitted curves by pad.
    dipped_at
        When the strip was dipped, instead of `elapsed_s`.

    Notes
    -----
    Photos without card or strip take no part, nor do doubtful ones beside good ones; when none is
    left, the first one's answer stands. Where nothing tells of the dip, the first photo is taken to
    be in time for every pad, as a single one would be, and the others to follow it.
    """
    since = _since(seens, elapsed_s, dipped_at)
    good = _good(seens)
    if not good:
        return Fused(
            judge(_saying(seens[0], since[0].reasons), table, since[0].elapsed_s, curves), 0
        )
    after = _after_the_first(seens)
    sights = [
        {
            i: _sight(colour, chart, _elapsed(since[i].elapsed_s, after[i], chart))
            for i, seen in enumerate(seens)
            for colour in seen.pads
            if colour.pad == chart.pad
        }
        for chart in table.charts
    ]
    pads = [
        fuse_pad(chart.pad, [seen[i] for i in good if i in seen])
        for chart, seen in zip(table.charts, sights, strict=True)
    ]
    said = [code for i in good for code in (*seens[i].reasons, *since[i].reasons)]
    said += ["photo_left_out"] if len(good) < len(seens) else []
    mixed_up = _differ(seens, sights) or _left_out_differ(set(good), sights)
    said += ["different_strips"] if mixed_up else []
    whole = replace(seens[good[0]], pads=tuple(pads), reasons=unique(said))
    reading = judge(whole, table, None, curves)
    return Fused(replace(reading, elapsed_s=since[good[0]].elapsed_s), good[0])


def _saying(seen: StripSeen, more: tuple[str, ...]) -> StripSeen:
    return replace(seen, reasons=unique((*seen.reasons, *more)))


def _good(seens: Sequence[StripSeen]) -> list[int]:
    """Return the places of the photos that take part: of those with a strip the least doubtful."""
    usable = [i for i, seen in enumerate(seens) if seen.card_found and seen.strip_found]
    ranks = {i: RANK[worst(seens[i].reasons, KNOWN)] for i in usable}
    return [i for i in usable if ranks[i] == min(ranks.values())]


def _differ(seens: Sequence[StripSeen], sights: Sequence[Mapping[int, Sight]]) -> bool:
    """Say whether the photos show different strips; clean pads of doubtful photos speak too."""
    clean = [[one for one in seen.values() if one.rank == 0] for seen in sights]
    suspects = sum(far_apart(seen, SUSPECT_AT) for seen in clean)
    other = any("other_strip" in seen.reasons for seen in seens)
    return other or suspects >= min(SUSPECTS, max(len(sights), 2))


def _left_out_differ(good: Set[int], sights: Sequence[Mapping[int, Sight]]) -> bool:
    """Say whether a photo that takes no part speaks strongly against those that do.

    Which of two strips is the right one cannot be told; that the better photo was kept says
    nothing. One clean pad is enough, or two doubtful ones.
    """
    found = [0, 0]
    for seen in sights:
        best = _best([one for i, one in seen.items() if i in good])
        kept = [one for one in best if one.lab is not None]
        ranks = {
            one.rank for i, one in seen.items() if i not in good and kept and _against(one, kept)
        }
        for rank in ranks:
            found[rank] += 1
    return found[0] >= 1 or sum(found) >= DOUBTFUL_AGAINST


def _against(one: Sight, kept: Sequence[Sight]) -> bool:
    """Say whether a pad lies strongly apart from every photo that is kept."""
    return one.rank < RANK["spoils"] and all(far_apart([one, other], DISAGREE_AT) for other in kept)


def _since(
    seens: Sequence[StripSeen], elapsed_s: float | None, dipped_at: datetime | None
) -> list[SinceDip]:
    """Return for each photo how long after the dip it was taken."""
    if dipped_at is not None:
        return [since_dip(dipped_at, seen.taken_at) for seen in seens]
    if elapsed_s is None:
        return [SinceDip() for _ in seens]
    return [SinceDip(elapsed_s + after) for after in _after_the_first(seens)]


def _after_the_first(seens: Sequence[StripSeen]) -> Sequence[float]:
    """Return how long after the first each photo was taken [s]; 0 where they do not tell."""
    return seconds_apart([seen.taken_at for seen in seens]) or [0.0] * len(seens)


def _elapsed(since_s: float | None, after_s: float, chart: PadChart) -> float:
    return chart.read_after_s + after_s if since_s is None else since_s


def _sight(colour: PadColour, chart: PadChart, elapsed_s: float) -> Sight:
    when = timing(elapsed_s, chart.read_after_s)
    reasons = (*colour.reasons, *when.reasons)
    if colour.lab is None or colour.cov is None:
        return Sight(None, np.zeros((3, 3)), np.zeros((3, 3)), colour.dof, reasons)
    budget = np.zeros((3, 3)) if colour.cov_budget is None else colour.cov_budget
    # As in a single reading, what is off its time is so whatever the table was made from.
    own = colour.cov + (when.widen - 1.0) * (colour.cov + budget)
    return Sight(colour.lab, own, budget, colour.dof, reasons)


def _best(sights: Sequence[Sight]) -> list[Sight]:
    """Return the sights against which least speaks."""
    least = min((one.rank for one in sights), default=0)
    return [one for one in sights if one.rank == least]


def fuse_pad(pad: int, sights: Sequence[Sight]) -> PadColour:
    """Return one pad's colour in several photos, its covariances, and whether they agree."""
    best = _best(sights)
    reasons = unique([code for one in best for code in one.reasons])
    reasons += tuple(OF_THE_STRIP & {code for one in sights for code in one.reasons})
    if len(best) < len(sights):
        reasons += ("photo_left_out",)
    seen = [(one.lab, one.own, one.budget) for one in best if one.lab is not None]
    if not seen:
        return PadColour(pad, None, None, None, np.inf, unique(reasons))
    if len(seen) == 1:
        return PadColour(pad, *seen[0], min(one.dof for one in best), unique(reasons))
    labs, owns, budgets = (np.array(part) for part in zip(*seen, strict=True))
    weights = np.linalg.inv(owns + budgets)
    weights = np.linalg.solve(weights.sum(axis=0), weights)
    mean = np.einsum("nij,nj->i", weights, labs)
    own = _carried(weights, owns, SHARED)
    budget = _carried(weights, budgets, SHARED_BUDGET)
    if far_apart(best, DISAGREE_AT):
        reasons += ("photos_disagree",)
        own = own + np.cov(labs, rowvar=False)
    dof = min(one.dof for one in best)
    return PadColour(pad, mean, own, budget, dof, unique(reasons))


def _carried(weights: Array, covs: Array, shared: float) -> Array:
    """Return the covariance (3, 3) of a weighted mean whose parts share so much of their errors."""
    values, axes = np.linalg.eigh(covs)
    roots = np.einsum("nij,nj,nkj->nik", axes, np.sqrt(np.maximum(values, 0.0)), axes)
    common = np.einsum("nij,njk->ik", weights, roots)
    apart = np.einsum("nij,njk,nlk->il", weights, covs, weights)
    return np.asarray(shared * common @ common.T + (1.0 - shared) * apart)


def far_apart(sights: Sequence[Sight], quantile: float) -> bool:
    """Say whether a pad's colours lie further apart than what photos do not share allows."""
    seen = [(one.lab, one.own, one.budget) for one in sights if one.lab is not None]
    if len(seen) < 2:
        return False
    labs, owns, budgets = (np.array(part) for part in zip(*seen, strict=True))
    sure = np.linalg.inv((1.0 - SHARED) * owns + (1.0 - SHARED_BUDGET_LEAST) * budgets)
    mean = np.linalg.solve(sure.sum(axis=0), np.einsum("nij,nj->i", sure, labs))
    free = 3 * (len(seen) - 1)
    square = float(np.einsum("ni,nij,nj->", labs - mean, sure, labs - mean)) / free
    return square > float(fisher.ppf(quantile, free, min(one.dof for one in sights)))
