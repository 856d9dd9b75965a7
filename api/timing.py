"""The read-after rule: what a photo taken too early or too late does to a pad.

A pad's colour goes on changing. Within the tolerance it counts as read in time; beyond it the
colour's covariance grows with the square of the delay in tolerances. From three tolerances on it
grows no further and a person must look; before half of the read time, or ten minutes after it,
the colour says nothing. The figures are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

TOLERANCE_SHARE = 0.25
"""Share of the read time that is still in time."""
TOLERANCE_S = 5.0
"""Seconds that are in time whatever the read time."""
DOUBT_AT = 3.0
"""Tolerances from which a person must look."""
LATEST_S = 600.0
"""Seconds after the read time from which the colour says nothing."""


@dataclass(frozen=True)
class Timing:
    """What the time of the photo means for one pad."""

    widen: float = 1.0
    """Factor for the colour's covariance [1], at least 1."""
    reasons: tuple[str, ...] = ()


def timing(elapsed_s: float | None, read_after_s: float) -> Timing:
    """Judge a photo taken `elapsed_s` after dipping of a pad to be read after `read_after_s`."""
    if elapsed_s is None:
        return Timing()
    off = elapsed_s - read_after_s
    tolerance = max(TOLERANCE_S, TOLERANCE_SHARE * read_after_s)
    if abs(off) <= tolerance:
        return Timing()
    if elapsed_s < read_after_s / 2 or off > LATEST_S:
        return Timing(reasons=("far_off_time",))
    widen = min(abs(off) / tolerance, DOUBT_AT) ** 2
    if off < 0:
        return Timing(widen, ("read_early",))
    return Timing(widen, ("read_late",) if off > DOUBT_AT * tolerance else ("off_time",))
