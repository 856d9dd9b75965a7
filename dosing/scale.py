"""The scale on which an analyte's uncertainty looks like a bell, and what a reading does on it.

A strip's band grows with the value: plus or minus a fixed part at the bottom, a share higher up. On
ln(x + c), with c the fixed part over the share, such a band has the same width everywhere; there a
belief and a reading are combined in closed form. pH needs no scale.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Final

from dosing.analytes import ANALYTES, NORMAL_95
from dosing.log import Reading

NORMAL: Final = NormalDist()
OPEN_95: Final = 1.644854
"""One-sided 95 % of a normal distribution."""
STRAY_SHARE: Final = 0.005
"""Share of readings that are grossly wrong without saying so; most say it by a wide band."""
STRAY_WIDTH: Final = 4.0
"""How much wider than its band such a reading is."""
NEWS_SHARE: Final = 0.003
"""Share of readings before which the water changed and nobody told."""
UNKNOWN: Final = 0.7
"""How far off the water then is, on the scale (standard deviation)."""
SURPRISE: Final = 2.0
"""A gap between reading and belief of more joint deviations than this widens the belief."""
NARROWEST: Final = 1e-4

LEANS: Final = 0.03
"""A band whose upper side is longer by more than this share of its width tells its own scale."""
LEAST_OFFSET: Final = 0.1
MOST_OFFSET: Final = 4.0
"""A reading's own offset lies between these multiples of its analyte's."""

OFFSETS: Final = {
    name: 0.0 if name == "ph" else analyte.photo.fixed / max(analyte.photo.share, 1e-9)
    for name, analyte in ANALYTES.items()
}
"""c of ln(x + c) by analyte, in its unit; 0 for pH, which stays as it is."""


def _c(analyte: str, offset: float | None) -> float:
    return OFFSETS[analyte] if offset is None else offset


def inwards(analyte: str, value: float, offset: float | None = None) -> float:
    """Return a value on its analyte's scale, or on that of another offset."""
    if analyte == "ph":
        return value
    return math.log(max(value, 0.0) + _c(analyte, offset))


def outwards(analyte: str, place: float) -> float:
    """Return the value at a place of the scale; never negative."""
    if analyte == "ph":
        return place
    return max(math.exp(min(place, 50.0)) - OFFSETS[analyte], 0.0)


def bell(
    analyte: str, mean: float, variance: float, offset: float | None = None
) -> tuple[float, float]:
    """Return mean and sd on the scale of a belief given by mean and variance of the value."""
    if analyte == "ph":
        return mean, math.sqrt(max(variance, 0.0))
    whole = max(mean, 0.0) + _c(analyte, offset)
    log_variance = math.log1p(variance / (whole * whole))
    return math.log(whole) - 0.5 * log_variance, math.sqrt(log_variance)


def unbell(
    analyte: str, place: float, sd: float, offset: float | None = None
) -> tuple[float, float]:
    """Return mean and variance of the value; the inverse of `bell`."""
    if analyte == "ph":
        return place, sd * sd
    c = _c(analyte, offset)
    whole = math.exp(min(place + 0.5 * sd * sd, 50.0))
    return whole - c, whole * whole * math.expm1(min(sd * sd, 20.0))


def offset_of(reading: Reading) -> float:
    """Return c of the scale ln(x + c) on which this reading's band is even to both sides.

    A band that leans upwards tells how its method's error grows with the value; one that does not
    (or is cut off at zero) tells nothing, and the analyte's own scale stands.
    """
    usual = OFFSETS[reading.analyte]
    low, value, high = reading.low, reading.value, reading.high
    if reading.analyte == "ph" or low is None or high is None or low <= 0.0:
        return usual
    lean = low + high - 2.0 * value
    if lean <= LEANS * (high - low):
        return usual
    return min(max((value * value - low * high) / lean, LEAST_OFFSET * usual), MOST_OFFSET * usual)


def combine(
    reading: Reading, mean: float, variance: float, widen: float = 1.0
) -> tuple[float, float]:
    """Return mean and variance of the value after a reading.

    Parameters
    ----------
    reading
        Value with its 95 % band; an open side means beyond the chart.
    mean, variance
        What was believed of the value before.
    widen
        How much wider than it says the band is to be taken.
    """
    analyte, c = reading.analyte, offset_of(reading)
    prior, spread = bell(analyte, mean, variance, c)
    value = inwards(analyte, reading.value, c)
    if reading.low is None and reading.high is None:
        return mean, variance
    if reading.high is None:
        width = widen * (value - inwards(analyte, reading.low or 0.0, c)) / OPEN_95
        place, sd = _beyond(prior, spread, value, width, 1.0)
    elif reading.low is None and analyte == "ph":
        width = widen * (reading.high - value) / OPEN_95
        place, sd = _beyond(prior, spread, value, width, -1.0)
    elif reading.low is None:  # from nothing to about the value: zero closes the band
        middle = inwards(analyte, 0.5 * reading.value, c)
        width = widen * (inwards(analyte, reading.high, c) - middle) / OPEN_95
        place, sd = _between(prior, spread, middle, max(width, NARROWEST))
    else:
        place, sd = _between(prior, spread, value, widen * _width(reading, value))
    return unbell(analyte, place, sd, c)


def is_news(reading: Reading, mean: float, variance: float) -> bool:
    """Say whether a reading lies so far off that the water must have changed untold.

    Told by what explains it better: a belief that holds, or one as wide as before anything was
    measured, which happens once in `NEWS_SHARE`.
    """
    if reading.low is None or reading.high is None:
        return False
    c = offset_of(reading)
    prior, spread = bell(reading.analyte, mean, variance, c)
    value = inwards(reading.analyte, reading.value, c)
    width = _width(reading, value)
    gap2 = (value - prior) ** 2

    def fits(share: float, total: float) -> float:
        return math.log(share) - 0.5 * (gap2 / total + math.log(total))

    held = fits(1.0, spread**2 + width**2)
    strayed = fits(STRAY_SHARE, spread**2 + (STRAY_WIDTH * width) ** 2)
    return fits(NEWS_SHARE, UNKNOWN**2 + spread**2 + width**2) > max(held, strayed)


def widened(
    reading: Reading, mean: float, variance: float, *, same_water: bool = False
) -> tuple[float, float]:
    """Return the variance a belief should have had, and how much wider the reading's band.

    A reading more than `SURPRISE` joint deviations off says that somebody was too sure. Of what
    moves by itself it was the belief (jets nobody told of, more bathers than usual): it is widened
    until the reading fits. What only a dose moves, or was read in the `same_water` minutes ago,
    stays where other readings saw it: there belief and reading are widened alike, so that the
    middle moves no more than it would have, and the band tells the doubt.
    """
    off = surprise(reading, mean, variance)
    if off <= SURPRISE:
        return variance, 1.0
    excess = (off / SURPRISE) ** 2
    if same_water or not ANALYTES[reading.analyte].drifts:
        return variance * excess, math.sqrt(excess)
    _, spread = bell(reading.analyte, mean, variance, offset_of(reading))
    width = deviation(reading)
    wanted = math.sqrt(excess * (spread * spread + width * width) - width * width)
    return variance * (wanted / max(spread, NARROWEST)) ** 2, 1.0


def surprise(reading: Reading, mean: float, variance: float) -> float:
    """Return how many joint deviations a reading lies off what was believed before it.

    "At most" above the belief and "at least" below it say nothing new: 0.
    """
    c = offset_of(reading)
    prior, spread = bell(reading.analyte, mean, variance, c)
    value = inwards(reading.analyte, reading.value, c)
    if (reading.low is None and value >= prior) or (reading.high is None and value <= prior):
        return 0.0
    return abs(value - prior) / math.hypot(spread, deviation(reading))


def deviation(reading: Reading) -> float:
    """Return the standard deviation of a reading on its scale, an open side taken as the other."""
    c = offset_of(reading)
    value = inwards(reading.analyte, reading.value, c)
    sides = [
        abs(inwards(reading.analyte, side, c) - value)
        for side in (reading.low, reading.high)
        if side is not None
    ]
    return max(sum(sides) / max(len(sides), 1) / NORMAL_95, NARROWEST)


def _width(reading: Reading, value: float) -> float:
    """Return the reading's standard deviation on the scale."""
    c = offset_of(reading)
    upper = inwards(reading.analyte, reading.high or 0.0, c) - value
    lower = value - inwards(reading.analyte, reading.low or 0.0, c)
    if reading.analyte != "ph" and not reading.low:  # cut off at zero: the upper side tells
        lower = max(upper, lower)
    return max(0.5 * (upper + lower) / NORMAL_95, NARROWEST)


def _between(prior: float, spread: float, value: float, width: float) -> tuple[float, float]:
    """Combine with a reading that is right within its band, or rarely strays far beyond it."""
    parts = []
    for share, sd in ((1.0 - STRAY_SHARE, width), (STRAY_SHARE, STRAY_WIDTH * width)):
        total = spread * spread + sd * sd
        gap = value - prior
        weight = share * math.exp(-0.5 * gap * gap / total) / math.sqrt(total)
        gain = spread * spread / total
        parts.append((weight, prior + gain * gap, (1.0 - gain) * spread * spread))
    whole = parts[0][0] + parts[1][0]
    if whole <= 1e-300:
        return parts[1][1], math.sqrt(parts[1][2])
    share = parts[1][0] / whole
    place = (1.0 - share) * parts[0][1] + share * parts[1][1]
    apart = parts[1][1] - parts[0][1]
    variance = (1.0 - share) * parts[0][2] + share * parts[1][2] + share * (1.0 - share) * apart**2
    return place, math.sqrt(variance)


def _beyond(
    prior: float, spread: float, value: float, width: float, side: float
) -> tuple[float, float]:
    """Combine with "at least about this" (side +1) or "at most about this" (side -1)."""
    width = max(width, NARROWEST)
    total = math.sqrt(spread * spread + width * width)
    reach = side * (prior - value) / total
    chance = max(NORMAL.cdf(reach), 1e-12)
    slope = NORMAL.pdf(reach) / chance
    if reach < -6.0:
        slope = -reach
    place = prior + side * spread * spread / total * slope
    variance = spread * spread * (1.0 - spread * spread / total**2 * slope * (reach + slope))
    return place, math.sqrt(max(variance, 0.05 * min(spread, width) ** 2))


def quantile(analyte: str, mean: float, variance: float, share: float) -> float:
    """Return the value below which a share of the belief lies."""
    place, sd = bell(analyte, mean, variance)
    return outwards(analyte, place + NORMAL.inv_cdf(share) * sd)


def inside(
    analyte: str, mean: float, variance: float, low: float | None, high: float | None
) -> float:
    """Return the probability that the value lies from low to high; None is an open side."""
    place, sd = bell(analyte, mean, variance)
    sd = max(sd, 1e-9)
    zero = analyte != "ph" and (low is None or low <= 0.0)
    below = 0.0 if low is None or zero else NORMAL.cdf((inwards(analyte, low) - place) / sd)
    upto = 1.0 if high is None else NORMAL.cdf((inwards(analyte, high) - place) / sd)
    return max(upto - below, 0.0)
