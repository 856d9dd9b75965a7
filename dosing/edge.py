"""What many looks at one water say of a gate on whose very edge it lies.

The chance of being inside hardly moves there, however often one dips: pooled readings are a random
walk. The question is put another way, as Wald's sequential test puts it (wald1945): is the water a
little inside the limit or a little outside? Nearer than that little it matters to nobody. The odds
grow with each look; they decide sooner and err less than the last few readings alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from operator import mul
from typing import Final

from dosing.bands import Band
from dosing.gates import OPEN_FROM, SHUT_TO, GateState, state_of

FEW: Final = 4
"""Up to so many looks at one water the readings are pooled, and the belief may decide."""
ASIDE: Final = ((6, 0.5), (10, 1.0), (math.inf, 1.5))
"""Up to so many looks, how far inside or outside the limit the two sides are put, as a share of one
reading's standard deviation: the longer it stays undecided, the nearer the water lies to its limit
and the less it matters on which side."""


def on_the_edge(seen: GateState, looks: Sequence[Band]) -> GateState:
    """Return the gate by the odds of its looks, where these decide; else as it was seen.

    Parameters
    ----------
    seen
        The gate as the pooled readings leave it, undecided.
    looks
        The bands of all readings of this water in this visit, in order.
    """
    if len(looks) <= FEW:
        return seen
    share = next(share for most, share in ASIDE if len(looks) <= most)
    state = state_of(_chance_inside(seen, looks, share))
    if state == "undecided":
        return seen
    modest = _chance_inside(seen, looks, ASIDE[0][1])
    told = max(modest, OPEN_FROM) if state == "open" else min(modest, SHUT_TO)
    return replace(seen, state=state, probability=told)


def _chance_inside(seen: GateState, looks: Sequence[Band], share: float) -> float:
    """Return the chance of lying a little inside both limits rather than a little outside."""
    above_low = _chance_above(looks, seen.low, share) if seen.low is not None else 1.0
    above_high = _chance_above(looks, seen.high, share) if seen.high is not None else 0.0
    return round(above_low * (1.0 - above_high), 4)


def _chance_above(looks: Sequence[Band], limit: float, share: float) -> float:
    """Return the chance of lying a little above a limit rather than a little below it."""
    weights = [1.0 / (band.above if limit > band.mode else band.below) ** 2 for band in looks]
    usual = math.sqrt(len(weights) / sum(weights))
    gaps = (band.mode - limit for band in looks)
    odds = 2.0 * share * usual * sum(map(mul, weights, gaps))
    return 1.0 / (1.0 + math.exp(min(max(-odds, -50.0), 50.0)))
