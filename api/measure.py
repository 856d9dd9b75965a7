"""The joint of reader and calibration: from a photo to values with bands and a verdict.

The verdict is made here and nowhere else: it is the worst weight among a pad's reasons.
No web, no store, no settings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from api.interference import (
    CHLORINE_SPOILS_MG_L,
    Band,
    Derived,
    carbonate_alkalinity,
    interferences,
)
from api.reasons import VERDICT, Verdict, all_reasons, worst
from api.timing import SinceDip, since_dip, timing
from calibration.curve import Curve, fit_curve
from calibration.estimate import Estimate, estimate
from calibration.table import PadChart, Table, plans_of
from reader.card import Card
from reader.find_strip import PadPlace
from reader.pads import PadColour
from reader.read_strip import StripSeen, read_strip

CONFIDENCE = 0.95
"""Probability held by every band."""
FEWEST_STRANGE, STRANGE_SHARE = 2, 0.25
"""So many pads off their charts for no reason of their own speak against the strip, the table or
the card. By chance one in a hundred is off; two were so in none of 360 photos of our first
population and 8 of 240 of the other, but in all of 30 with a faded card and 21 of 30."""
OF_ITS_OWN = frozenset(
    {"dirty", "uneven_pad", "glare", "shadow_on_pad", "pad_covered", "high_chlorine"}
)
"""Reasons that make a single pad's colour strange and say nothing of the others."""
FEWEST_TURNED = 3
"""So many strange pads, and more than half, may be those of a strip the wrong way round."""
KNOWN = all_reasons()


@dataclass(frozen=True, eq=False)
class PadReading:
    """One pad: its colour, its value with a band, and what that is worth."""

    chart: PadChart
    status: Verdict
    reasons: tuple[str, ...]
    lab: NDArray[np.float64] | None
    """CIELAB, D50 / 2 degree, shape (3,); None when the pad was not seen."""
    cov: NDArray[np.float64] | None
    """Covariance the estimate was made with [Lab units squared], shape (3, 3)."""
    estimate: Estimate | None
    """What was estimated, kept for QA even where the verdict is `unreadable`."""
    dof: float = np.inf
    """Degrees of freedom behind `cov`."""

    @property
    def band(self) -> Band | None:
        """The value with its band, or None where the pad is unreadable."""
        if self.estimate is None or self.status == "unreadable":
            return None
        return Band(self.estimate.value, self.estimate.low, self.estimate.high)


@dataclass(frozen=True, eq=False)
class PhotoReading:
    """One photo: what was seen, a reading for every pad of the table, and the verdict."""

    seen: StripSeen
    pads: tuple[PadReading, ...]
    status: Verdict
    reasons: tuple[str, ...]
    carbonate_alkalinity: Derived | None = None
    """Derived: alkalinity without the cyanurate's share [mg/L as CaCO3]."""
    elapsed_s: float | None = None
    """Seconds from the dip to the photo, as far as they are known."""


def curves_of(table: Table) -> dict[int, Curve]:
    """Return the fitted curve of every pad; give it to `measure` when many photos are read."""
    return {chart.pad: fit_curve(chart) for chart in table.charts}


def measure(
    data: bytes,
    card: Card,
    table: Table,
    elapsed_s: float | None = None,
    curves: Mapping[int, Curve] | None = None,
    dipped_at: datetime | None = None,
) -> PhotoReading:
    """Read every pad of the table's strip in one photo.

    Parameters
    ----------
    data
        The photo file's bytes.
    card
        The reference card in the photo, with measured colours where there are any.
    table
        The shop's calibration table.
    elapsed_s
        Seconds from the dip to the photo; None when unknown, then taken as in time.
    curves
        What `curves_of(table)` returned, so that many photos need it only once.
    dipped_at
        When the strip was dipped, with its offset: where `elapsed_s` is None, the photo's own
        time then tells it.

    Raises
    ------
    PhotoError
        If the bytes are no image that can be read.
    """
    seen = read_strip(data, card, places(table))
    since = SinceDip(elapsed_s)
    if elapsed_s is None and dipped_at is not None:
        since = since_dip(dipped_at, seen.taken_at)
    seen = replace(seen, reasons=unique((*seen.reasons, *since.reasons)))
    return judge(seen, table, since.elapsed_s, curves or curves_of(table))


def places(table: Table) -> tuple[PadPlace, ...]:
    """Return where the table says that the pads are, those it has no colours for too."""
    return tuple(PadPlace(p.pad, p.centre_mm, p.size_mm) for p in plans_of(table))


def judge(
    seen: StripSeen, table: Table, elapsed_s: float | None, curves: Mapping[int, Curve]
) -> PhotoReading:
    """Turn the colours that were seen into values with bands and verdicts."""
    colours = {colour.pad: colour for colour in seen.pads}
    pads = read_pads(table, curves, colours, elapsed_s, seen.reasons)
    if sum(map(is_strange, pads)) >= max(FEWEST_TURNED, len(pads) // 2 + 1):
        ends = sorted(table.charts, key=lambda chart: chart.centre_mm)
        pairs = zip(ends, reversed(ends), strict=True)
        turned = {to.pad: colours[of.pad] for to, of in pairs if of.pad in colours}
        # Pads at even distances lie at their places end for end, too; only colours tell then.
        if is_at_home(read_pads(table, curves, turned, elapsed_s, seen.reasons)):
            seen = replace(seen, reasons=unique((*seen.reasons, "strip_reversed")))
            pads = read_pads(table, curves, colours, elapsed_s, seen.reasons)
    return replace(verdicts(seen, pads), elapsed_s=elapsed_s)


def read_pads(
    table: Table,
    curves: Mapping[int, Curve],
    colours: Mapping[int, PadColour],
    elapsed_s: float | None,
    of_photo: Sequence[str],
) -> list[PadReading]:
    """Estimate every pad of the table from the colour seen at its place."""
    bare = PadColour(pad=0, lab=None, cov=None, cov_budget=None, dof=np.inf, reasons=())
    return [
        read_pad(chart, curves[chart.pad], colours.get(chart.pad, bare), elapsed_s, heavy(of_photo))
        for chart in table.charts
    ]


def heavy(codes: Sequence[str]) -> tuple[str, ...]:
    """Return the photo's reasons that weigh on every pad."""
    return tuple(code for code in codes if KNOWN[code].weight != "note")


def read_pad(
    chart: PadChart,
    curve: Curve,
    colour: PadColour,
    elapsed_s: float | None,
    of_photo: tuple[str, ...] = (),
) -> PadReading:
    """Estimate one pad; its verdict is still without what the other pads say."""
    when = timing(elapsed_s, chart.read_after_s)
    reasons = (*colour.reasons, *of_photo, *when.reasons)
    if colour.lab is None or colour.cov is None:
        return PadReading(chart, "unreadable", unique(reasons), None, None, None)
    budget = np.zeros((3, 3)) if colour.cov_budget is None else colour.cov_budget
    # A colour that is off its time is so whatever the table was made from.
    of_time = (when.widen - 1.0) * (colour.cov + budget)
    cov = colour.cov + of_time if curve.has_repeats else colour.cov + budget + of_time
    found = estimate(curve, colour.lab, cov, CONFIDENCE, colour.dof)
    codes = unique((*reasons, *found.reasons))
    return PadReading(chart, verdict(codes), codes, colour.lab, cov, found, colour.dof)


def verdicts(seen: StripSeen, pads: Sequence[PadReading]) -> PhotoReading:
    """Add what the pads say about each other, and judge the whole photo."""
    said = interferences(bands_of(pads), chlorine_chances(pads))
    pads = [with_reasons(pad, said.get(pad.chart.analyte, ())) for pad in pads]
    strange = ("colours_off_chart",) if colours_are_strange(pads) else ()
    pads = [with_reasons(pad, strange) for pad in pads]
    statuses = {pad.status for pad in pads}
    reasons = unique((*seen.reasons, *strange))
    whole: Verdict = verdict(reasons)
    if statuses == {"unreadable"} or not seen.card_found or not seen.strip_found:
        whole = "unreadable"
    elif whole == "accepted" and statuses - {"accepted"}:
        whole = "recheck"
    derived = carbonate_alkalinity(bands_of([pad for pad in pads if pad.status == "accepted"]))
    return PhotoReading(seen, tuple(pads), whole, reasons, derived)


def colours_are_strange(pads: Sequence[PadReading]) -> bool:
    """Say whether several pads lie off their charts: then those that fit may do so by chance."""
    off = sum(is_strange(pad) and not OF_ITS_OWN & set(pad.reasons) for pad in pads)
    return off >= max(FEWEST_STRANGE, STRANGE_SHARE * len(pads))


def is_strange(pad: PadReading) -> bool:
    """Say whether a pad shows a colour that its chart does not have."""
    return "off_curve" in pad.reasons


def is_at_home(pads: Sequence[PadReading]) -> bool:
    """Say whether nearly all pads were seen and lie on their charts."""
    on = sum(pad.estimate is not None and "off_curve" not in pad.reasons for pad in pads)
    return on >= len(pads) - max(1, len(pads) // 5)


def bands_of(pads: Sequence[PadReading]) -> dict[str, Band]:
    """Return the bands of the pads that could be read, by analyte."""
    return {pad.chart.analyte: pad.band for pad in pads if pad.band is not None}


def chlorine_chances(pads: Sequence[PadReading]) -> dict[str, float]:
    """Return for each chlorine pad that was read how likely it is too high for the other pads."""
    return {
        pad.chart.analyte: pad.estimate.chance_above(CHLORINE_SPOILS_MG_L)
        for pad in pads
        if pad.chart.analyte.endswith("_chlorine") and pad.estimate and pad.status != "unreadable"
    }


def with_reasons(pad: PadReading, more: tuple[str, ...]) -> PadReading:
    """Return the reading with more reasons, judged again; an unread pad stays unread."""
    if not more or pad.status == "unreadable":
        return pad
    codes = unique((*pad.reasons, *more))
    return replace(pad, reasons=codes, status=verdict(codes))


def verdict(codes: Sequence[str]) -> Verdict:
    """Return the verdict that the worst of the reasons asks for."""
    return VERDICT[worst(codes, KNOWN)]


def unique(codes: Sequence[str]) -> tuple[str, ...]:
    """Return the codes once each, in their order."""
    return tuple(dict.fromkeys(codes))
