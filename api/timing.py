"""The read-after rule: what a photo taken too early or too late does to a pad.

A pad's colour goes on changing. Within the tolerance it counts as read in time; beyond it the
colour's covariance grows with the square of the delay in tolerances. From three tolerances on it
grows no further and a person must look; before half of the read time, or ten minutes after it,
the colour says nothing. The figures are common practice, no source.

The delay is told in seconds, or follows from the moment of the dip and the photo's own time. Most
phones write that time without its zone. The dip's zone is then taken, and believed only where the
photo follows the dip within fifteen minutes: time zones lie at least that far apart, so a wrong
zone cannot look like a photo in time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

TOLERANCE_SHARE = 0.25
"""Share of the read time that is still in time."""
TOLERANCE_S = 5.0
"""Seconds that are in time whatever the read time."""
DOUBT_AT = 3.0
"""Tolerances from which a person must look."""
LATEST_S = 600.0
"""Seconds after the read time from which the colour says nothing."""


ZONES_APART_S = 900.0
"""Time zones differ by whole quarters of an hour."""
CLOCK_S = 2.0
"""A photo's time is cut to whole seconds and its clock read twice: so little before the dip is at
the dip."""


@dataclass(frozen=True)
class SinceDip:
    """How long after the dip a photo was taken, as far as that can be told."""

    elapsed_s: float | None = None
    reasons: tuple[str, ...] = ()


def since_dip(dipped_at: datetime, taken_at: datetime | None) -> SinceDip:
    """Return the time from the dip (with its offset) to the photo (with or without one)."""
    if taken_at is None:
        return SinceDip(reasons=("photo_time_unknown",))
    if taken_at.tzinfo is None:
        passed = (taken_at.replace(tzinfo=dipped_at.tzinfo) - dipped_at).total_seconds()
        if not -CLOCK_S <= passed < ZONES_APART_S:
            return SinceDip(reasons=("photo_zone_unknown",))
    else:
        passed = (taken_at - dipped_at).total_seconds()
    if passed < -CLOCK_S:
        return SinceDip(reasons=("photo_before_dip",))
    return SinceDip(max(passed, 0.0))


def seconds_apart(taken_at: Sequence[datetime | None]) -> tuple[float, ...] | None:
    """Return how long after the first of them each photo was taken [s]; None if it is not known.

    Where no photo tells its zone, all are taken to be in the same.
    """
    known = [one for one in taken_at if one is not None]
    if len(known) < len(taken_at) or len({one.tzinfo is None for one in known}) > 1:
        return None
    first = min(known)
    return tuple((one - first).total_seconds() for one in known)


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
