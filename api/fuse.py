"""Several photos of one strip made into one reading: tighter where they agree, else doubted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from api.measure import PhotoReading, judge, unique
from calibration.curve import Curve
from calibration.table import Table
from reader.pads import PadColour
from reader.read_strip import StripSeen

DISAGREE_AT = 0.99
"""Quantile of chi squared beyond which photos are said to disagree."""
SHARED = 0.5
"""Share of each photo's variance that its fellows repeat: same print, same dye, same light."""


def fuse(
    seens: Sequence[StripSeen],
    table: Table,
    elapsed_s: float | None,
    curves: Mapping[int, Curve],
) -> PhotoReading:
    """Return one reading from what was seen of one strip in several photos.

    Photos without card or strip take no part; when none is left, the first one's answer stands.
    """
    usable = [seen for seen in seens if seen.card_found and seen.strip_found]
    if not usable:
        return judge(seens[0], table, elapsed_s, curves)
    pads = tuple(
        fuse_pad(chart.pad, [pad for seen in usable for pad in seen.pads if pad.pad == chart.pad])
        for chart in table.charts
    )
    reasons = unique(sum((seen.reasons for seen in usable), ()))
    return judge(replace(usable[0], pads=pads, reasons=reasons), table, elapsed_s, curves)


def fuse_pad(pad: int, colours: Sequence[PadColour]) -> PadColour:
    """Return the weighted mean of one pad's colours, its covariance, and whether they agree."""
    good = [one for one in colours if one.lab is not None and one.cov is not None]
    reasons = unique(sum((one.reasons for one in (good or colours)), ()))
    if not good:
        return PadColour(pad=pad, lab=None, cov=None, cov_budget=None, dof=np.inf, reasons=reasons)
    labs = np.array([one.lab for one in good])
    covs = np.array([one.cov for one in good])
    weights = np.linalg.inv(covs)
    mean = np.linalg.solve(weights.sum(axis=0), np.einsum("nij,nj->i", weights, labs))
    independent = np.linalg.inv(weights.sum(axis=0))
    cov = SHARED * covs.mean(axis=0) + (1 - SHARED) * independent
    if disagree(labs - mean, covs):
        reasons = (*reasons, "photos_disagree")
        cov = cov + np.cov(labs, rowvar=False)
    budgets = [one.cov_budget for one in good if one.cov_budget is not None]
    budget = np.mean(budgets, axis=0) if budgets else None
    dof = max(one.dof for one in good)
    return PadColour(pad=pad, lab=mean, cov=cov, cov_budget=budget, dof=dof, reasons=reasons)


def disagree(offsets: NDArray[np.float64], covs: NDArray[np.float64]) -> bool:
    """Say whether the colours lie further apart than their covariances allow."""
    if len(offsets) < 2:
        return False
    distance = float(np.einsum("ni,nij,nj->", offsets, np.linalg.inv(covs), offsets))
    return distance > float(chi2.ppf(DISAGREE_AT, 3 * (len(offsets) - 1)))
