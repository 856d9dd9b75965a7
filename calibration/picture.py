"""Pictures of a pad's chart: its path in CIELAB, and what a colour says about the value."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.alike import reading_cov
from calibration.curve import Curve, cov_at, steps_at
from calibration.estimate import Estimate, Posterior
from calibration.lab import hex_from_lab
from calibration.svg import (
    ALARM,
    FAINT,
    INK,
    QUIET,
    Point,
    dot,
    line,
    page,
    polygon,
    polyline,
    swatch,
    text,
)
from calibration.table import PadChart

Array = NDArray[np.float64]

WIDTH = 390.0
PLANE = (52.0, 76.0, 320.0, 280.0)
"""The a*b* plane: left, top, width, height."""
LIGHT = (52.0, 408.0, 320.0, 110.0)
"""Lightness along the chart."""

RADIUS_95_PLANE = math.sqrt(5.991)
"""95 % of a plane normal distribution lie within this many standard deviations (chi-square
with two degrees of freedom, table of any handbook)."""


@dataclass(frozen=True, eq=False)
class _Plane:
    """From a*, b* to the picture; equal scale both ways, so that distances are true."""

    centre: Point
    scale: float

    def at(self, a: float, b: float) -> Point:
        x, y, w, h = PLANE
        across, up = (a - self.centre[0]) * self.scale, (b - self.centre[1]) * self.scale
        return x + w / 2 + across, y + h / 2 - up


def _plain(chart: PadChart) -> str:
    """Return the analyte in words; pH as it is written."""
    return "pH" if chart.analyte == "ph" else chart.analyte.replace("_", " ")


def draw_path(curve: Curve, lab: ArrayLike | None = None, cov: ArrayLike | None = None) -> str:
    """Return an SVG of the path: a* and b* above, lightness over the value below.

    Blocks are squares in their own colour with their value; the thin ellipses hold 95 % of the
    readings of a usual photo. A colour seen, `lab` (3,) with `cov` (3, 3), is marked if given.
    """
    plane = _fit_plane(curve, lab)
    chart = curve.chart
    lot = f"pad {chart.pad}: {_plain(chart)}"
    parts = [
        text((20, 28), lot, 17, "start", bold=True),
        text((20, 46), "the way its colour takes as the value rises", 12, "start", QUIET),
        *_plane_axes(plane),
        *_ellipses(curve, plane),
        *_ribbon(curve, [plane.at(a, b) for a, b in curve.path[1:].T]),
        *_plane_blocks(curve, plane),
        *_light(curve),
    ]
    if lab is not None:
        parts += _seen(curve, plane, np.asarray(lab, dtype=float), cov)
    return page(WIDTH, 560, f"{lot}: its path in CIELAB", parts)


def _fit_plane(curve: Curve, lab: ArrayLike | None) -> _Plane:
    inside = (curve.steps >= 0) & (curve.steps <= curve.last)
    points = curve.path[1:, inside].T
    if lab is not None:
        points = np.vstack([points, np.asarray(lab, dtype=float)[1:]])
    low, high = points.min(axis=0) - 7.0, points.max(axis=0) + 7.0
    span = np.maximum(high - low, 24.0)
    centre = (low + high) / 2.0
    return _Plane((centre[0], centre[1]), float(min(PLANE[2] / span[0], PLANE[3] / span[1])))


def _plane_axes(plane: _Plane) -> list[str]:
    x, y, w, h = PLANE
    step = 5 if plane.scale > 10 else 10 if plane.scale > 4 else 20
    parts = [f"<rect x='{x}' y='{y}' width='{w}' height='{h}' fill='#fff' stroke='{FAINT}'/>"]
    reach = (w / 2 / plane.scale, h / 2 / plane.scale)
    for axis in (0, 1):
        low, high = plane.centre[axis] - reach[axis], plane.centre[axis] + reach[axis]
        for mark in range(math.ceil(low / step) * step, math.floor(high) + 1, step):
            px, py = plane.at(*((mark, plane.centre[1]) if axis == 0 else (plane.centre[0], mark)))
            ends = ((px, y), (px, y + h)) if axis == 0 else ((x, py), (x + w, py))
            parts.append(line(*ends, colour=QUIET if mark == 0 else FAINT))
            at = (px, y + h + 14) if axis == 0 else (x - 6, py + 4)
            parts.append(text(at, f"{mark}", 11, "middle" if axis == 0 else "end", QUIET))
    parts.append(text((x + w, y + h + 28), "a*  (green to red)", 11, "end", QUIET))
    parts.append(text((x, y - 4), "b*  (blue to yellow)", 11, "start", QUIET))
    return parts


def _ribbon(curve: Curve, points: list[Point]) -> list[str]:
    """Return the path as short pieces, each in its own colour, with a dark rim."""
    inside = np.flatnonzero((curve.steps >= 0) & (curve.steps <= curve.last))[::3]
    way = [points[i] for i in inside]
    parts = [polyline(way, INK, 8), polyline(way, "#ffffff", 6.5)]
    for i, j in pairwise(inside):
        parts.append(line(points[i], points[j], hex_from_lab(curve.path[:, i]), 5.5))
    return parts


def _ellipses(curve: Curve, plane: _Plane) -> list[str]:
    parts = []
    for i, block in enumerate(curve.chart.blocks):
        cov = (reading_cov(curve) + cov_at(curve, i))[1:, 1:]
        parts.append(_ellipse(plane, block.lab[1:], cov, hex_from_lab(block.lab), QUIET, 0.18))
    return parts


def _ellipse(
    plane: _Plane, centre: Array, cov: Array, fill: str, stroke: str, opacity: float
) -> str:
    turn = np.linspace(0.0, 2 * np.pi, 49)[:-1]
    values, axes = np.linalg.eigh(cov)
    around = np.stack([np.cos(turn), np.sin(turn)]) * np.sqrt(np.maximum(values, 0))[:, None]
    points = centre[:, None] + RADIUS_95_PLANE * (axes @ around)
    return polygon([plane.at(a, b) for a, b in points.T], fill, stroke, 0.8, opacity)


def _plane_blocks(curve: Curve, plane: _Plane) -> list[str]:
    blocks = curve.chart.blocks
    centres = [plane.at(block.lab[1], block.lab[2]) for block in blocks]
    parts = [swatch(at, hex_from_lab(b.lab)) for at, b in zip(centres, blocks, strict=True)]
    placed: list[Point] = []
    for i, block in enumerate(blocks):
        placed.append(_label_place(centres, i, placed))
        x, y = placed[-1]
        parts.append(text((x, y + 4), f"{block.value:g}", 13, bold=True, halo=True))
    return parts


def _label_place(centres: list[Point], i: int, placed: list[Point]) -> Point:
    """Return where a block's label goes: off the path, on the side that has more room."""
    before, after = centres[max(i - 1, 0)], centres[min(i + 1, len(centres) - 1)]
    away = np.array([after[1] - before[1], before[0] - after[0]])
    away = away if away[1] <= 0 else -away
    dx, dy = 25.0 * away / (float(np.hypot(*away)) or 1.0)
    sides = [(centres[i][0] + k * dx, centres[i][1] + k * dy) for k in (1, -1, 1.6, -1.6)]
    taken = [*placed, *(c for k, c in enumerate(centres) if k != i)]
    rooms = [min((math.dist(side, other) for other in taken), default=99.0) for side in sides]
    good = [side for side, room in zip(sides, rooms, strict=True) if room > 20.0]
    return good[0] if good else sides[int(np.argmax(rooms))]


def _light(curve: Curve) -> list[str]:
    x, y, w, h = LIGHT
    inside = (curve.steps >= 0) & (curve.steps <= curve.last)
    low, high = _round_span(curve.path[0, inside])

    def at(step: float, light: float) -> Point:
        return x + 14 + (w - 28) * step / curve.last, y + h - h * (light - low) / (high - low)

    points = [at(s, L) for s, L in zip(curve.steps, curve.path[0], strict=True)]
    parts = [f"<rect x='{x}' y='{y}' width='{w}' height='{h}' fill='#fff' stroke='{FAINT}'/>"]
    for mark in (low, (low + high) / 2, high):
        parts.append(line((x, at(0, mark)[1]), (x + w, at(0, mark)[1])))
        parts.append(text((x - 6, at(0, mark)[1] + 4), f"{mark:g}", 11, "end", QUIET))
    parts += _ribbon(curve, points)
    for i, block in enumerate(curve.chart.blocks):
        parts.append(swatch(at(i, block.lab[0]), hex_from_lab(block.lab), 14))
        parts.append(text((at(i, low)[0], y + h + 16), f"{block.value:g}", 12, bold=True))
    parts.append(text((x, y - 6), "L*  (lightness)", 11, "start", QUIET))
    parts.append(text((x + w, y + h + 32), curve.chart.unit, 11, "end", QUIET))
    return parts


def _round_span(light: Array) -> tuple[float, float]:
    low = math.floor((float(light.min()) - 2) / 10) * 10
    high = math.ceil((float(light.max()) + 2) / 10) * 10
    return float(max(low, 0)), float(min(max(high, low + 10), 100))


def _seen(curve: Curve, plane: _Plane, lab: Array, cov: ArrayLike | None) -> list[str]:
    parts = []
    if cov is not None:
        own = np.asarray(cov, dtype=float)[1:, 1:]
        parts.append(_ellipse(plane, lab[1:], own, "none", ALARM, 0))
    at = plane.at(lab[1], lab[2])
    parts.append(dot(at, hex_from_lab(lab), 7, ALARM))
    nearest = curve.path[1:, int(np.argmin(np.sum((curve.path.T - lab) ** 2, axis=1)))]
    right = lab[1] >= nearest[0]
    name = (at[0] + (13 if right else -13), at[1] + 4)
    anchor = "start" if right else "end"
    parts.append(text(name, "this pad", 12, anchor, ALARM, bold=True, halo=True))
    return parts


def draw_posterior(curve: Curve, seen: Posterior, read: Estimate) -> str:
    """Return an SVG of the probability along the chart, with the band and the value."""
    x, y, w, h = 24.0, 52.0, 342.0, 110.0
    first, last = max(float(curve.steps[0]), -1.0), curve.last + 1.0

    def across(step: float) -> float:
        return x + w * (min(max(step, first), last) - first) / (last - first)

    top = float(seen.density.max()) or 1.0
    inside = np.flatnonzero((seen.steps >= first) & (seen.steps <= last))
    hill = [(across(seen.steps[i]), y + h - h * seen.density[i] / top) for i in inside]
    low, high = (
        end if v is None else float(steps_at(curve, v))
        for v, end in ((read.low, first), (read.high, last))
    )
    held = [p for p, i in zip(hill, inside, strict=True) if low <= seen.steps[i] <= high]
    base = y + h
    chart = curve.chart
    name = f"{_plain(chart)}: {read.value:.3g} {chart.unit}"
    parts = [
        text((20, 26), name, 17, "start", bold=True),
        text((20, 43), _band_words(read, chart.unit), 12, "start", QUIET),
        polygon([(across(low), base), *held, (across(high), base)], "#8fb5ab", "none", 0, 0.75),
        polyline(hill, INK, 1.5),
        line((x, base), (x + w, base), INK),
        line((across(read.at), y), (across(read.at), base), INK, 1.5, "4 3"),
    ]
    for i, block in enumerate(chart.blocks):
        parts.append(swatch((across(i), base + 18), hex_from_lab(block.lab), 16))
        parts.append(text((across(i), base + 42), f"{block.value:g}", 12, bold=True))
    return page(WIDTH, 222, f"{name}, {_band_words(read, chart.unit)}", parts)


def _band_words(read: Estimate, unit: str) -> str:
    share = f"{read.confidence:.0%} sure"
    if read.low is None and read.high is None:
        return f"{share} of nothing: the band is open on both sides"
    if read.high is None:
        return f"{share}: at least {read.low:.3g} {unit}"
    if read.low is None:
        return f"{share}: at most {read.high:.3g} {unit}"
    return f"{share}: {read.low:.3g} to {read.high:.3g} {unit}"
