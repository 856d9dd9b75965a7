"""The strip placed by its pads alone, where its white plastic does not show against the ground.

On bare paper a strip's edges are hardly to be seen, but its pads are coloured squares of known
side at known distances from the tip. The squares seen are laid over the table's places; the place
of the tip on which most agree is taken if no other place, and no strip the other way round, does
nearly as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.pad_match import Match, PadPlace
from reader.slot_view import STEP_MM, SlotView
from reader.strip_edges import TURN_LIMIT, StripLine, border_of, unlike_ground

Array = NDArray[np.float64]

WHITE = 0.86
"""Share of white above which, in every channel, a place is bare paper or plastic."""
LEVELS = (0.30, 0.20, 0.13, 0.08, 0.05, 0.03)
"""Differences from white at which squares are looked for: the highest that shows one counts."""
COLOURED = 0.05
"""A pad is clearly coloured from this difference on."""
FEWEST_PADS = 4
SHARE_NEEDED = 0.6
"""Share of the table's pads that must be seen."""
AGREEING_MM = 0.4
TIP_REACH_MM = 6.5
"""The tip lies no farther from the slot's dip end."""
HANDLE_MM = 12.0
"""A strip the other way round needs this much of the slot for its handle."""
STRETCH_LIMIT = 0.035
MOST_SQUARES = 40


@dataclass(frozen=True)
class Square:
    """A coloured square seen in the view."""

    u: float
    v: float
    level: float
    """Difference from white that it surely has."""


@dataclass(frozen=True)
class PadsPlace:
    """The strip as its pads tell it."""

    line: StripLine
    match: Match
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class _Trial:
    """One place of the strip; a negative stretch is a strip the other way round."""

    tip_mm: float
    stretch: float
    middle_mm: float
    slope: float
    pads: tuple[int, ...] = ()
    """Indices of the table's places at which a square was seen."""
    coloured: int = 0
    score: int = 0
    """Squares on the strip that agree, less those that do not."""
    spread_mm: float = 0.0


def ground_is_white(view: SlotView) -> bool:
    """Say whether the slot's ground is as white as paper, so that plastic hardly shows on it."""
    seen = border_of(view)
    return bool(len(seen) > 50 and np.median(seen.min(axis=1)) > WHITE)


def strip_by_pads(view: SlotView, places: Sequence[PadPlace]) -> PadsPlace | None:
    """Return the strip where enough coloured squares lie as the table says; None elsewhere.

    `places` may come in any order. Reasons may be `strip_reversed`, `two_strips` (squares beside
    the strip) and `strip_place_unsure` (another place is nearly as good).
    """
    if len(places) < FEWEST_PADS:
        return None
    squares = _squares(view, places)
    trials = sorted(_trials(view, squares, places), key=lambda t: (-t.score, t.spread_mm))
    if not trials:
        return None
    best = trials[0]
    needed = max(FEWEST_PADS, int(np.ceil(SHARE_NEEDED * len(places))))
    rival = max((t.score for t in trials if _is_other(t, best)), default=0)
    if len(best.pads) < needed or best.coloured < FEWEST_PADS or rival >= best.score:
        return None
    width = float(np.median([p.size_mm for p in places]))
    line = StripLine(best.middle_mm, best.slope, width, 0)
    contrast = float(np.median([s.level for s in squares]))
    match = Match(best.tip_mm, best.stretch, 0.0, 1.0, contrast, ())
    return PadsPlace(line, match, tuple(_reasons(best, rival, squares)))


def _reasons(best: _Trial, rival: int, squares: Sequence[Square]) -> Iterator[str]:
    if sum(s.level > COLOURED and not _is_on(best, s) for s in squares) >= 2:
        yield "two_strips"
    if best.stretch < 0:
        yield "strip_reversed"
    elif best.score - rival < 2:
        yield "strip_place_unsure"


def _is_other(trial: _Trial, best: _Trial) -> bool:
    return trial.stretch * best.stretch < 0 or abs(trial.tip_mm - best.tip_mm) > 1.5


def _squares(view: SlotView, places: Sequence[PadPlace]) -> list[Square]:
    """Return the coloured squares of about the pads' side in and beside the slot."""
    rows = np.flatnonzero(np.abs(view.v_mm) < view.half_mm + view.margin_mm - 0.6)
    off = unlike_ground(np.nan_to_num(view.rgb[rows], nan=1.0), np.ones(3))
    calm = np.asarray(cv2.blur(off, (3, 3)), np.float32)
    sides = min(p.size_mm for p in places), max(p.size_mm for p in places)
    found: list[Square] = []
    for level in LEVELS:
        for u, v in _shapes(calm > level, sides):
            at = u + float(view.u_mm[0]), v + float(view.v_mm[rows[0]])
            if all(np.hypot(s.u - at[0], s.v - at[1]) > sides[0] / 2 for s in found):
                found.append(Square(*at, level))
    return found[:MOST_SQUARES]


def _shapes(mask: NDArray[np.bool_], sides: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """Yield the middles (mm along, mm across) of the mask's parts that have the pads' shape."""
    count, labels, stats, middles = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), connectivity=4
    )
    for part in range(1, count):
        x, y, w, h, area = (int(n) for n in stats[part])
        if y == 0 or y + h == mask.shape[0] or x == 0 or x + w == mask.shape[1]:
            continue
        if not 0.7 * sides[0] < w * STEP_MM < 1.3 * sides[1] or h * STEP_MM > 1.3 * sides[1]:
            continue
        inside = (labels[y : y + h, x : x + w] == part).astype(np.uint8)
        (_, turned, _) = cv2.minAreaRect(cv2.findNonZero(inside))
        # The rectangle goes through the middles of the outer samples: half a sample on each side.
        a, b = (np.array(turned) + 1.0) * STEP_MM
        if min(a, b) > 0.6 * sides[0] and area * STEP_MM**2 > 0.85 * a * b:
            yield float(middles[part][0]) * STEP_MM, float(middles[part][1]) * STEP_MM


def _trials(
    view: SlotView, squares: Sequence[Square], places: Sequence[PadPlace]
) -> Iterator[_Trial]:
    """Yield the strip's places that put two of the squares on two of the pads."""
    centres = [p.centre_mm for p in places]
    for one, two in combinations(sorted(squares, key=lambda s: s.u), 2):
        slope = (two.v - one.v) / max(two.u - one.u, 1e-6)
        if abs(slope) > TURN_LIMIT:
            continue
        for a, b in ((a, b) for a in centres for b in centres if a != b):
            stretch = (two.u - one.u) / (b - a)
            if abs(abs(stretch) - 1.0) > STRETCH_LIMIT:
                continue
            first = _Trial(one.u - stretch * a, stretch, one.v - slope * one.u, slope)
            trial = _settled(first, squares, centres)
            if trial is not None and _lies_in_slot(trial, view, centres):
                yield trial


def _lies_in_slot(trial: _Trial, view: SlotView, centres: Sequence[float]) -> bool:
    if trial.stretch > 0:
        return abs(trial.tip_mm) < TIP_REACH_MM
    last = trial.tip_mm + trial.stretch * max(centres)
    return last > HANDLE_MM and trial.tip_mm < view.length_mm + TIP_REACH_MM


def _settled(first: _Trial, squares: Sequence[Square], centres: Sequence[float]) -> _Trial | None:
    """Return the trial through all squares that agree with it, with its score."""
    pairs = _pairs(first, squares, centres)
    if len(pairs) < FEWEST_PADS:
        return None
    c = np.array([centres[p] for p, _ in pairs])
    u, v = np.array([(s.u, s.v) for _, s in pairs]).T
    stretch, tip = np.polyfit(c, u, 1)
    slope, middle = np.polyfit(u, v, 1)
    off = np.hypot(tip + stretch * c - u, middle + slope * u - v)
    if off.max() > AGREEING_MM or abs(abs(stretch) - 1.0) > STRETCH_LIMIT:
        return None
    trial = _Trial(float(tip), float(stretch), float(middle), float(slope))
    matched = [s for _, s in pairs]
    strange = sum(s not in matched and _is_on(trial, s) for s in squares)
    return _Trial(
        trial.tip_mm, trial.stretch, trial.middle_mm, trial.slope,
        tuple(p for p, _ in pairs), sum(s.level >= COLOURED for s in matched),
        len(pairs) - strange, float(np.sqrt(np.mean(off**2))),
    )  # fmt: skip


def _is_on(trial: _Trial, square: Square) -> bool:
    """Say whether a square lies on the strip, wherever along it."""
    return abs(trial.middle_mm + trial.slope * square.u - square.v) < 1.5


def _pairs(
    trial: _Trial, squares: Sequence[Square], centres: Sequence[float]
) -> list[tuple[int, Square]]:
    """Return the pads' indices with the square that lies at each one's place."""
    found = []
    for pad, centre in enumerate(centres):
        u = trial.tip_mm + trial.stretch * centre
        v = trial.middle_mm + trial.slope * u
        near = min(squares, key=lambda s: np.hypot(s.u - u, s.v - v))
        if np.hypot(near.u - u, near.v - v) < 2 * AGREEING_MM:
            found.append((pad, near))
    return found
