"""The strip's own edges in the slot: its long sides, its tip and its end."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.median import median
from reader.slot_view import STEP_MM, Picture, SlotView

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

GROUND_REACH = 0.07
"""Distance in share of white up to which a place counts as the slot's ground."""
SHADE = (0.5, 1.12)
"""Shadows and light let the ground's value vary by these factors."""
RIM_MM = 0.35
"""Nearer than this to the slot's border its own edge is seen."""
NARROWEST_MM, WIDEST_MM = 3.4, 7.4
FEWEST_COLUMNS_MM = 9.0
"""A side must be seen over this length in all."""
INLIER_MM = 0.3
RIM_SEEN_MM = 1.2
"""Where the card's place is a little off, so much of the paper beyond the slot's end may show."""
TURN_LIMIT = 0.11
"""Largest slope of the strip against the slot that is looked for (6 degrees)."""


@dataclass(frozen=True, eq=False)
class StripLine:
    """Where the strip lies across the slot."""

    middle_mm: float
    """v of the strip's middle line at u = 0."""
    slope: float
    """Change of v per mm of u."""
    width_mm: float
    sides_seen: int
    """How many of the two long sides were seen against the ground."""

    def middle_at(self, u: Array) -> Array:
        """Return v of the middle line."""
        return self.middle_mm + self.slope * u


def border_of(view: SlotView) -> Picture:
    """Return what is seen along the slot's border and at its ends, shape (n, 3)."""
    v = np.abs(view.v_mm)
    inside = (view.u_mm > RIM_MM) & (view.u_mm < view.length_mm - RIM_MM)
    border = (v < view.half_mm - RIM_MM) & (v > view.half_mm - 1.1)
    ends = inside & ((view.u_mm < 2.5) | (view.u_mm > view.length_mm - 2.5))
    whole = v < view.half_mm - RIM_MM
    seen = view.rgb[(border[:, None] & inside) | (whole[:, None] & ends)]
    return np.asarray(seen[np.isfinite(seen).all(axis=1)])


def ground_colour(view: SlotView) -> NDArray[np.float64] | None:
    """Return the colour of the slot's ground (share of white), the commonest along its border."""
    seen = border_of(view)
    return None if len(seen) < 50 else _commonest(seen)


def _commonest(seen: Picture) -> NDArray[np.float64] | None:
    """Return the mean of the fullest bin of colours that is not white."""
    bins = np.clip(np.floor(seen / 0.06), 0, 31).astype(int)
    index = (bins[:, 0] * 32 + bins[:, 1]) * 32 + bins[:, 2]
    dark = seen.min(axis=1) < 0.86
    if dark.sum() < 50:
        return None
    fullest = np.bincount(index[dark]).argmax()
    centre = (np.array([fullest // 1024, fullest // 32 % 32, fullest % 32]) + 0.5) * 0.06
    for _ in range(3):
        near = np.linalg.norm(seen - centre, axis=1) < GROUND_REACH
        if not near.any():
            return None
        centre = seen[near].mean(axis=0).astype(np.float64)
    return np.asarray(centre)


def unlike_ground(rgb: Picture, ground: Array) -> Picture:
    """Return the distance of each place from the ground under more or less light."""
    # Written out: a product of arrays this small is slower by the linear algebra library.
    red, green, blue = rgb[..., 0], rgb[..., 1], rgb[..., 2]
    r, g, b = (np.float32(v) for v in ground)
    share = (red * r + green * g + blue * b) / (r * r + g * g + b * b)
    np.clip(share, *SHADE, out=share)
    squared = (red - share * r) ** 2 + (green - share * g) ** 2 + (blue - share * b) ** 2
    return np.asarray(np.sqrt(squared), np.float32)


def strip_line(view: SlotView, ground: Array) -> StripLine | None:
    """Return the strip's middle line and width from its long sides; None where there is none."""
    off = unlike_ground(view.rgb, ground)
    calm = cv2.blur(np.nan_to_num(off, nan=0.0), (5, 1))
    inside = np.abs(view.v_mm) < view.half_mm - RIM_MM
    columns = (view.u_mm > RIM_MM) & (view.u_mm < view.length_mm - RIM_MM)
    body = float(np.percentile(calm[inside][:, columns], 90))
    level = max(0.5 * min(body, 0.5), 1.3 * GROUND_REACH)
    first, last = _outer_crossings(np.asarray(calm, np.float32), view, level)
    return _best_line(view.u_mm[columns], first[columns], last[columns], view)


def _outer_crossings(off: Picture, view: SlotView, level: float) -> tuple[Array, Array]:
    """Return v of the first and last place across where the ground ends; NaN where unseen.

    An edge at the slot's border is not the strip's own and counts as unseen.
    """
    rows = np.flatnonzero(np.abs(view.v_mm) < view.half_mm - RIM_MM)
    part = off[rows]
    above = part > level
    seen = above.sum(axis=0) * STEP_MM > 1.0
    top, low = above.argmax(axis=0), len(rows) - 1 - above[::-1].argmax(axis=0)
    columns = np.arange(part.shape[1])

    def between(outer: NDArray[np.int_], inner: NDArray[np.int_]) -> Array:
        a = part[np.clip(outer, 0, len(rows) - 1), columns]
        b = part[inner, columns]
        return np.asarray((level - a) / np.maximum(b - a, 1e-6), np.float64)

    first = view.v_mm[rows[0]] + (top - 1 + between(top - 1, top)) * STEP_MM
    last = view.v_mm[rows[0]] + (low + 1 - between(low + 1, low)) * STEP_MM
    first = np.where(seen & (top > 0), first, np.nan)
    last = np.where(seen & (low < len(rows) - 1), last, np.nan)
    return first, last


def _best_line(u: Array, first: Array, last: Array, view: SlotView) -> StripLine | None:
    """Return the line whose two sides gather the most edge places."""
    slopes = np.linspace(-TURN_LIMIT, TURN_LIMIT, 67)
    turned = slopes[:, None] * (u - view.length_mm / 2)
    top, tops = _peaks(first - turned)
    low, lows = _peaks(last - turned)
    best = int((tops + lows).argmax())
    if (tops + lows)[best] * STEP_MM < FEWEST_COLUMNS_MM:
        return None
    places = [float(p[best]) if n[best] > 0 else None for p, n in ((top, tops), (low, lows))]
    return _settled(u, first, last, view, (float(slopes[best]), places[0], places[1]))


def _peaks(places: Array) -> tuple[Array, Array]:
    """Return for each row where the most places gather, within `INLIER_MM`, and how many."""
    rows, bins = len(places), 121
    index = np.round((places + 6.0) / 0.1)
    seen = np.isfinite(index) & (index >= 0) & (index < bins)
    flat = (np.arange(rows)[:, None] * bins + np.where(seen, index, 0)).astype(int)
    counts = np.bincount(flat[seen], minlength=rows * bins).reshape(rows, bins).astype(np.float64)
    kernel = np.array([[0.5, 1, 1, 1, 0.5]])
    gathered = cv2.filter2D(counts, cv2.CV_64F, kernel, borderType=cv2.BORDER_CONSTANT)
    best = gathered.argmax(axis=1)
    most = gathered[np.arange(rows), best]
    most[seen.sum(axis=1) * STEP_MM < FEWEST_COLUMNS_MM] = 0.0
    return best * 0.1 - 6.0, most


def _settled(
    u: Array,
    first: Array,
    last: Array,
    view: SlotView,
    start: tuple[float, float | None, float | None],
) -> StripLine | None:
    """Return the line fitted to the inliers of both sides, with one slope."""
    slope, top, low = start
    x = u - view.length_mm / 2
    sides = []
    for places, offset, column in ((first, top, 1), (last, low, 2)):
        if offset is None:
            continue
        near = np.abs(places - slope * x - offset) < INLIER_MM
        if near.sum() * STEP_MM >= FEWEST_COLUMNS_MM / 2:
            rows = np.zeros((int(near.sum()), 3))
            rows[:, 0], rows[:, column] = x[near], 1.0
            sides.append((column, rows, places[near]))
    if not sides:
        return None
    matrix = np.vstack([rows for _, rows, _ in sides])
    fitted = np.linalg.lstsq(matrix, np.concatenate([p for _, _, p in sides]), rcond=None)[0]
    return _line_of(fitted, [column for column, _, _ in sides], view)


USUAL_WIDTH_MM = 5.5
"""Taken where only one long side is seen; strips are 4 to 6.5 mm wide."""


def _line_of(fitted: Array, sides: list[int], view: SlotView) -> StripLine | None:
    slope = float(fitted[0])
    if len(sides) == 2:
        width = float(fitted[2] - fitted[1])
        middle = float(fitted[1] + fitted[2]) / 2
    else:
        width = USUAL_WIDTH_MM
        inward = 0.5 if sides[0] == 1 else -0.5
        middle = float(fitted[sides[0]]) + inward * width
    if not NARROWEST_MM <= width <= WIDEST_MM:
        return None
    return StripLine(middle - slope * view.length_mm / 2, slope, width, len(sides))


def ends(view: SlotView, line: StripLine, ground: Array) -> tuple[float | None, float | None]:
    """Return u where the strip begins and ends along its middle; None where unseen."""
    u = view.u_mm
    lanes = np.linspace(-0.32, 0.32, 7) * line.width_mm
    seen = view.sample(np.tile(u, (7, 1)), line.middle_at(u) + lanes[:, None])
    off = median(unlike_ground(np.nan_to_num(seen, nan=0.0), ground))
    inside = (u > RIM_MM) & (u < view.length_mm - RIM_MM)
    level = max(0.5 * min(float(np.percentile(off[inside], 80)), 0.5), 1.3 * GROUND_REACH)
    strip = _without_rims(off > level, inside)
    if not strip.any():
        return None, None
    places = np.flatnonzero(strip)
    start, stop = float(u[places[0]]), float(u[places[-1]])
    return (
        start - STEP_MM / 2 if start > 2 * RIM_MM else None,
        stop + STEP_MM / 2 if stop < view.length_mm - 2 * RIM_MM else None,
    )


def _without_rims(strip: Mask, inside: Mask) -> Mask:
    """Return the mask inside the slot, without paper at its very ends that ground sets apart."""
    kept = strip & inside
    most = round(RIM_SEEN_MM / STEP_MM)
    for way, slot in ((kept, inside), (kept[::-1], inside[::-1])):
        seen = np.flatnonzero(way)
        gaps = np.flatnonzero(np.diff(seen) > most)
        if len(gaps) and seen[0] <= slot.argmax() + 1 and seen[gaps[0]] - seen[0] < most:
            way[: seen[gaps[0]] + 1] = False
    return kept
