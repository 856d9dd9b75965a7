"""Pictures of a pad's chart: its path in CIELAB, and what a colour says about the value."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.alike import reading_cov
from calibration.curve import Curve, cov_at
from calibration.lab import hex_from_lab
from calibration.labels import LETTER, around, box_of, place
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

SD_95 = 1.96
"""95 % of a normal distribution lie within this many standard deviations (any handbook)."""

THIS_PAD = "this pad"
LEADER = 46.0
"""Words farther than this from their mark get a line to it."""


@dataclass(frozen=True, eq=False)
class _Plane:
    """From a*, b* to the picture; equal scale both ways, so that distances are true."""

    centre: Point
    scale: float

    def at(self, a: float, b: float) -> Point:
        x, y, w, h = PLANE
        across, up = (a - self.centre[0]) * self.scale, (b - self.centre[1]) * self.scale
        return x + w / 2 + across, y + h / 2 - up


@dataclass(frozen=True, eq=False)
class _Seen:
    """A colour seen, and where on the path it was read."""

    lab: Array
    cov: Array
    step: float


def plain(chart: PadChart) -> str:
    """Return the analyte in words; pH as it is written."""
    return "pH" if chart.analyte == "ph" else chart.analyte.replace("_", " ")


def draw_path(
    curve: Curve,
    lab: ArrayLike | None = None,
    cov: ArrayLike | None = None,
    step: float | None = None,
) -> str:
    """Return an SVG of the path: a* and b* above, lightness over the value below.

    Blocks are squares in their own colour with their value. Without a colour seen, thin ellipses
    hold 95 % of the readings of a usual photo. A colour seen, `lab` (3,) with `cov` (3, 3), is
    marked with the ellipse that holds 95 % of its own probability; `step` is where on the path it
    was read, by default the nearest place.
    """
    seen = None if lab is None else _seen(curve, lab, cov, step)
    plane = _fit_plane(curve, seen)
    chart = curve.chart
    lot = f"pad {chart.pad}: {plain(chart)}"
    says = "the way its colour takes as the value rises"
    if seen is not None:
        says = "its colour (ring: 95 %) on the way that the chart takes"
    parts = [
        text((20, 28), lot, 17, "start", bold=True),
        text((20, 46), says, 12, "start", QUIET),
        *_plane_axes(plane),
        *(_ellipses(curve, plane) if seen is None else ()),
        *_ribbon(curve, [plane.at(a, b) for a, b in curve.path[1:].T]),
        *_plane_marks(curve, plane, seen),
        *_light(curve, seen),
    ]
    return page(WIDTH, 560, f"{lot}: its path in CIELAB", parts)


def _seen(curve: Curve, lab: ArrayLike, cov: ArrayLike | None, step: float | None) -> _Seen:
    colour = np.asarray(lab, dtype=float)
    own = np.zeros((3, 3)) if cov is None else np.asarray(cov, dtype=float)
    nearest = curve.steps[int(np.argmin(np.sum((curve.path.T - colour) ** 2, axis=1)))]
    return _Seen(colour, own, float(nearest if step is None else step))


def _fit_plane(curve: Curve, seen: _Seen | None) -> _Plane:
    inside = (curve.steps >= 0) & (curve.steps <= curve.last)
    points = curve.path[1:, inside].T
    if seen is not None:
        reach = RADIUS_95_PLANE * np.sqrt(np.diag(seen.cov)[1:])
        points = np.vstack([points, seen.lab[1:] - reach, seen.lab[1:] + reach])
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
    plane: _Plane,
    centre: Array,
    cov: Array,
    fill: str,
    stroke: str,
    opacity: float,
    width: float = 0.8,
) -> str:
    turn = np.linspace(0.0, 2 * np.pi, 49)[:-1]
    values, axes = np.linalg.eigh(cov)
    around = np.stack([np.cos(turn), np.sin(turn)]) * np.sqrt(np.maximum(values, 0))[:, None]
    points = centre[:, None] + RADIUS_95_PLANE * (axes @ around)
    return polygon([plane.at(a, b) for a, b in points.T], fill, stroke, width, opacity)


def _plane_marks(curve: Curve, plane: _Plane, seen: _Seen | None) -> list[str]:
    """Return the blocks with their values and the colour seen; words keep off marks and words."""
    blocks = curve.chart.blocks
    centres = [plane.at(block.lab[1], block.lab[2]) for block in blocks]
    parts = [swatch(at, hex_from_lab(b.lab)) for at, b in zip(centres, blocks, strict=True)]
    taken = [around(at, 10.0) for at in centres]
    x, y, w, h = PLANE
    frame = (x + 2.0, y + 2.0, x + w - 2.0, y + h - 2.0)
    if seen is not None:
        at = plane.at(seen.lab[1], seen.lab[2])
        ring = seen.cov[1:, 1:]
        parts.append(_ellipse(plane, seen.lab[1:], ring, "none", "#ffffff", 0, 4.0))
        parts.append(_ellipse(plane, seen.lab[1:], ring, "none", ALARM, 0, 1.6))
        parts.append(dot(at, hex_from_lab(seen.lab), 7, ALARM))
        taken.append(around(at, 9.0))
    for block, centre in zip(blocks, centres, strict=True):
        words = f"{block.value:g}"
        spot = place(centre, words, 13, taken, frame, 11.0)
        taken.append(box_of(spot, words, 13))
        parts.append(text((spot[0], spot[1] + 4.5), words, 13, bold=True, halo=True))
    if seen is not None:
        spot = place(at, THIS_PAD, 12, taken, frame, 10.0)
        if math.dist(spot, at) > LEADER:
            parts.append(line(at, _nearer(spot, at), ALARM, 1))
            parts.append(dot(at, hex_from_lab(seen.lab), 7, ALARM))
        parts.append(text((spot[0], spot[1] + 4), THIS_PAD, 12, "middle", ALARM, True, True))
    return parts


def _nearer(spot: Point, at: Point) -> Point:
    """Return where a line from a mark to its words ends: before the words begin."""
    half = LETTER * 12 * len(THIS_PAD) / 2.0
    x = spot[0] - math.copysign(min(half, abs(spot[0] - at[0])), spot[0] - at[0])
    y = spot[1] - math.copysign(min(7.0, abs(spot[1] - at[1])), spot[1] - at[1])
    return x, y


def _light(curve: Curve, seen: _Seen | None) -> list[str]:
    x, y, w, h = LIGHT
    inside = (curve.steps >= 0) & (curve.steps <= curve.last)
    light = curve.path[0, inside]
    spread = 0.0 if seen is None else SD_95 * math.sqrt(seen.cov[0, 0])
    if seen is not None:
        light = np.append(light, [seen.lab[0] - spread, seen.lab[0] + spread])
    low, high = _round_span(light)

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
    if seen is not None:
        step = min(max(seen.step, -0.25), curve.last + 0.25)
        ends = [at(step, seen.lab[0] + k * spread) for k in (-1.0, 1.0)]
        parts += [line(ends[0], ends[1], "#ffffff", 4), line(ends[0], ends[1], ALARM, 1.6)]
        parts.append(dot(at(step, seen.lab[0]), hex_from_lab(seen.lab), 6, ALARM))
    parts.append(text((x, y - 6), "L*  (lightness)", 11, "start", QUIET))
    parts.append(text((x + w, y + h + 32), curve.chart.unit, 11, "end", QUIET))
    return parts


def _round_span(light: Array) -> tuple[float, float]:
    low = math.floor((float(light.min()) - 2) / 10) * 10
    high = math.ceil((float(light.max()) + 2) / 10) * 10
    return float(max(low, 0)), float(min(max(high, low + 10), 100))
