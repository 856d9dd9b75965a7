"""Pictures that explain a reading: the photo with what was found, each pad on its chart's path."""

from __future__ import annotations

import html
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from api.bands import share_of
from api.job import Job
from api.measure import PadReading, PhotoReading
from api.reasons import all_reasons
from api.swatch import hex_of
from api.wire import pad_json
from api.words import VERDICT_WORDS, band, number, plain, value_of
from api.workers import Pictures
from calibration.curve import Curve
from calibration.estimate import Posterior, posterior
from reader.photo import open_photo
from reader.picture import draw_seen

Array = NDArray[np.float64]

RADIUS_95 = 2.4477
"""Radius of the ellipse that holds 95 % of a plane's normal distribution: sqrt(chi2(2) at 0.95)."""
POINTS = 48
INK, BAND_INK, PAPER = "#0d1f1d", "#0b4f52", "#fffef8"


def write_pictures(
    folder: Path, stem: str, data: bytes, reading: PhotoReading, job: Job
) -> list[Path]:
    """Write the pictures of one photo into the folder, and return their paths."""
    written = []
    for name, picture in pictures_of(data, reading, job, ("seen", "pads")).items():
        path = folder / f"{stem}-{name}"
        path.write_bytes(picture)
        written.append(path)
    return written


def pictures_of(data: bytes, reading: PhotoReading, job: Job, kinds: Pictures) -> dict[str, bytes]:
    """Return the pictures asked for, by file name."""
    pictures = {}
    if "seen" in kinds:
        pictures["seen.jpg"] = draw_seen(open_photo(data), reading.seen)
    if "pads" in kinds:
        for pad in reading.pads:
            if pad.lab is not None and pad.estimate is not None:
                name = f"pad{pad.chart.pad}-{pad.chart.analyte}.svg"
                pictures[name] = pad_picture(pad, job.curves[pad.chart.pad]).encode()
    return pictures


def pad_picture(pad: PadReading, curve: Curve) -> str:
    """Return one pad's colour on its chart's path, and what that says about the value, as SVG."""
    assert pad.lab is not None  # noqa: S101 - only read pads are drawn
    assert pad.cov is not None  # noqa: S101
    seen = posterior(curve, pad.lab, pad.cov, pad.dof)
    answer = pad_json(pad)
    head = f"{plain(pad.chart.analyte)}: {value_of(answer)}, {VERDICT_WORDS[pad.status]}"
    width = "" if answer["value"] is None else f"95 % band {band(answer['low'], answer['high'])}"
    known = all_reasons()
    remarks = [known[code].sentence for code in pad.reasons][:3]
    return "\n".join(
        (
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 760 430" '
            'font-family="system-ui, sans-serif" font-size="14">',
            f'<rect width="760" height="430" fill="{PAPER}"/>',
            _text(20, 30, head, 'font-size="20" font-weight="700"'),
            _text(20, 52, width),
            *(_text(20, 392 + 16 * i, text, 'font-size="12"') for i, text in enumerate(remarks)),
            *_plane(pad, curve, (1, 2), (20, 70), ("a*", "b*")),
            *_plane(pad, curve, (1, 0), (270, 70), ("a*", "L*")),
            *_posterior(pad, curve, seen, (520, 70)),
            "</svg>",
        )
    )


def _text(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" fill="{INK}" {more}>{html.escape(text)}</text>'


@dataclass(frozen=True)
class _Frame:
    """Maps two axes of CIELAB, at one scale for both, into a square of the picture."""

    middle: Array
    span: float
    corner: tuple[float, float]
    size: float = 220.0

    def __call__(self, points: Array) -> Array:
        """Return picture coordinates of points, shape (n, 2)."""
        unit = (np.atleast_2d(points) - self.middle) / self.span + 0.5
        x = self.corner[0] + unit[:, 0] * self.size
        y = self.corner[1] + (1.0 - unit[:, 1]) * self.size
        return np.column_stack([x, y])


def _plane(
    pad: PadReading,
    curve: Curve,
    axes: tuple[int, int],
    corner: tuple[float, float],
    names: tuple[str, str],
) -> list[str]:
    """Return one plane of CIELAB: path, blocks, the pad's colour and its 95 % ellipse."""
    assert pad.lab is not None  # noqa: S101
    assert pad.cov is not None  # noqa: S101
    inside = (curve.steps >= 0) & (curve.steps <= curve.last)
    path = curve.path[list(axes)][:, inside].T
    own = pad.lab[list(axes)]
    around = ellipse(own, pad.cov[np.ix_(axes, axes)])
    every = np.vstack([path, own, around])
    low, high = every.min(axis=0), every.max(axis=0)
    to = _Frame((low + high) / 2, float(max(high - low)) * 1.15 + 1e-6, corner)
    parts = [
        f'<rect x="{corner[0]}" y="{corner[1]}" width="220" height="220" fill="#fff" '
        f'stroke="{INK}"/>',
        _line(to(path), f'fill="none" stroke="{INK}" stroke-width="2"'),
    ]
    for block in curve.chart.blocks:
        x, y = to(np.asarray(block.lab)[list(axes)])[0]
        parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{hex_of(list(block.lab))}" '
            f'stroke="{INK}"/>'
        )
        parts.append(_text(x + 10, y - 6, number(block.value), 'font-size="11"'))
    parts.append(
        _line(to(around), f'fill="{BAND_INK}" fill-opacity="0.15" stroke="{BAND_INK}"', closed=True)
    )
    x, y = to(own)[0]
    parts.append(
        f'<path d="M{x - 7:.1f} {y:.1f}h14M{x:.1f} {y - 7:.1f}v14" stroke="{INK}" '
        'stroke-width="3"/>'
    )
    parts.append(_text(corner[0] + 96, corner[1] + 240, f"{names[0]} across, {names[1]} up"))
    return parts


def ellipse(centre: Array, cov: Array) -> Array:
    """Return the outline of the ellipse that holds 95 %, shape (n, 2)."""
    values, vectors = np.linalg.eigh(cov)
    turn = np.linspace(0.0, 2.0 * np.pi, POINTS, endpoint=False)
    circle = np.vstack([np.cos(turn), np.sin(turn)])
    outline: Array = centre + RADIUS_95 * (vectors * np.sqrt(np.maximum(values, 0.0)) @ circle).T
    return outline


def _line(points: Array, look: str, closed: bool = False) -> str:
    d = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points) + ("Z" if closed else "")
    return f'<path d="{d}" {look}/>'


def _posterior(
    pad: PadReading, curve: Curve, seen: Posterior, corner: tuple[float, float]
) -> list[str]:
    """Return the probability over the value, with the band, on the chart's own scale."""
    scale = [block.value for block in curve.chart.blocks]
    left, top = corner
    size = 220.0

    def across(value: float) -> float:
        return left + size * share_of(value, scale)

    inside = (seen.steps >= 0) & (seen.steps <= curve.last)
    xs = left + size * seen.steps[inside] / curve.last
    ys = top + size - 190.0 * seen.density[inside] / float(seen.density.max())
    points = np.column_stack([xs, ys])
    parts = [
        f'<rect x="{left}" y="{top}" width="{size}" height="{size}" fill="#fff" stroke="{INK}"/>'
    ]
    parts += _band_of(pad, across, (left, top, size))
    parts.append(_line(points, f'fill="none" stroke="{INK}" stroke-width="2.5"'))
    for value in (scale[0], scale[len(scale) // 2], scale[-1]):
        anchor = 'text-anchor="middle" font-size="11"'
        parts.append(_text(across(value), top + size + 15, number(value), anchor))
    parts.append(_text(left, top + size + 32, f"probability over {_unit(pad)}"))
    return parts


def _band_of(
    pad: PadReading, across: Callable[[float], float], box: tuple[float, float, float]
) -> list[str]:
    left, top, size = box
    if pad.band is None:
        return []
    start = left if pad.band.low is None else across(pad.band.low)
    end = left + size if pad.band.high is None else across(pad.band.high)
    middle = across(pad.band.value)
    return [
        f'<rect x="{start:.1f}" y="{top}" width="{max(end - start, 1):.1f}" height="{size}" '
        f'fill="{BAND_INK}" fill-opacity="0.18"/>',
        f'<path d="M{middle:.1f} {top}v{size}" stroke="{BAND_INK}" stroke-dasharray="5 4"/>',
    ]


def _unit(pad: PadReading) -> str:
    return "pH" if pad.chart.unit == "pH" else f"{plain(pad.chart.analyte)} [{pad.chart.unit}]"
