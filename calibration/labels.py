"""Places for words in a picture, so that they cover neither marks nor each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from calibration.svg import Point

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""

LETTER = 0.62
"""Width of a bold letter against its size; system fonts are a little narrower."""
AROUND = tuple(math.radians(turn) for turn in (0, 180, -45, 45, -135, 135, -90, 90, -20, 160))


def around(centre: Point, reach: float) -> Box:
    """Return the square that reaches so far on every side."""
    x, y = centre
    return x - reach, y - reach, x + reach, y + reach


def box_of(middle: Point, words: str, size: float) -> Box:
    """Return what words take up when set around a middle."""
    half = LETTER * size * len(words) / 2.0
    x, y = middle
    return x - half, y - 0.55 * size, x + half, y + 0.55 * size


def place(
    centre: Point, words: str, size: float, taken: Sequence[Box], inside: Box, reach: float
) -> Point:
    """Return the middle for words beside a mark: near, inside, on as little as can be.

    `reach` is how far the mark reaches from its centre.
    """
    half = LETTER * size * len(words) / 2.0
    spots = [
        (
            centre[0] + math.cos(turn) * (far + half),
            centre[1] + math.sin(turn) * (far + 0.5 * size),
        )
        for far in (reach + 3.0, reach + 14.0, reach + 30.0, reach + 48.0)
        for turn in AROUND
    ]
    return min(spots, key=lambda spot: _cost(box_of(spot, words, size), taken, inside))


def _cost(box: Box, taken: Iterable[Box], inside: Box) -> float:
    """Return the area covered; outside of the frame counts most. The first of equals is taken."""
    out = sum(max(0.0, gap) for gap in (
        inside[0] - box[0], inside[1] - box[1], box[2] - inside[2], box[3] - inside[3]
    ))  # fmt: skip
    return round(1000.0 * out + sum(_overlap(box, other) for other in taken), 1)


def _overlap(one: Box, other: Box) -> float:
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(high, 0.0)
