"""A coloured handle at a strip's end: no pad, and no plastic to set pads against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reader.pad_match import PadPlace, Profile

Array = NDArray[np.float64]

SAME = 0.10
"""Colours of one handle lie nearer to each other, share of white."""
COLOURED = 0.78
"""The weakest channel of a handle's colour is below; white plastic lies above."""
APART = 0.15
"""A handle's colour is at least so far from the plastic's."""
LONGER = 1.6
"""A handle is this many times as long as the largest pad."""
SKIP_MM, LOOK_MM = 1.0, 3.0
"""The end's own edge is left out; so much after it tells the colour."""


def without_handle(profile: Profile, places: Sequence[PadPlace]) -> Profile:
    """Return the profile without a coloured handle at either end, if there is one.

    Beyond a handle the end that is left is a colour's border and no longer the strip's tip.
    """
    longest = max(p.size_mm for p in places)
    stop = _border(profile.at_mm, profile, longest, -1)
    start = _border(profile.at_mm, profile, longest, 1)
    if stop is not None and start is None:
        return replace(profile, stop_mm=stop)
    if start is not None and stop is None:
        return replace(profile, start_mm=start, tip_seen=False)
    return profile


def _border(at_mm: Array, profile: Profile, longest: float, way: int) -> float | None:
    """Return where a handle at the strip's start (way 1) or end (-1) borders on the rest."""
    inside = (at_mm > profile.start_mm) & (at_mm < profile.stop_mm)
    inside &= np.isfinite(profile.rgb).all(axis=1)
    places, rgb = at_mm[inside][::way], profile.rgb[inside][::way]
    away = np.abs(places - (profile.start_mm if way > 0 else profile.stop_mm))
    look = (away > SKIP_MM) & (away < SKIP_MM + LOOK_MM)
    if look.sum() < 4:
        return None
    colour = np.median(rgb[look], axis=0)
    other = np.flatnonzero((np.linalg.norm(rgb - colour, axis=1) > SAME) & (away > SKIP_MM))
    if not len(other) or colour.min() > COLOURED or away[other[0]] < LONGER * longest:
        return None
    rest = rgb[other[0] :]
    plastic = rest[np.argsort(rest.min(axis=1))[-max(len(rest) // 4, 1) :]].mean(axis=0)
    if plastic.min() < colour.min() + APART:
        return None
    return float(places[other[0]])
