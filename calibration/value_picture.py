"""What a pad's colour says about the value: probability along the chart, band, wanted range."""

from __future__ import annotations

from textwrap import wrap

import numpy as np

from calibration.curve import Curve, steps_at
from calibration.estimate import Estimate, Posterior
from calibration.lab import hex_from_lab
from calibration.labels import LETTER
from calibration.picture import plain
from calibration.svg import ALARM, FAINT, INK, QUIET, line, page, polygon, polyline, swatch, text

WIDTH = 390.0
LINE = 17.0
"""From one line of words to the next."""
HELD = "#8fb5ab"
WANTED = "#2f5d8a"

UNTOLD = "cannot be told"
COLOUR_ALONE = "dashed: where the colour alone would put it; do not use it"

Wanted = tuple[float | None, float | None]


def draw_posterior(
    curve: Curve,
    seen: Posterior,
    read: Estimate,
    wanted: Wanted | None = None,
    is_told: bool = True,
    remark: str = "",
) -> str:
    """Return an SVG of the probability along the chart, with value, band and the range wanted.

    Where the pad cannot be told (`is_told` False), neither value nor band stands in words.
    `remark` says what speaks against the reading.
    """
    doubts = _lines(remark)
    x, y, w, h = 24.0, 66.0 + LINE * len(doubts), 342.0, 110.0
    first, last = max(float(curve.steps[0]), -0.5), curve.last + 0.5
    base = y + h

    def across(step: float) -> float:
        return x + w * (min(max(step, first), last) - first) / (last - first)

    def ends(low: float | None, high: float | None) -> tuple[float, float]:
        return (
            first if low is None else float(steps_at(curve, low)),
            last if high is None else float(steps_at(curve, high)),
        )

    top = float(seen.density.max()) or 1.0
    inside = np.flatnonzero((seen.steps >= first) & (seen.steps <= last))
    hill = [(across(seen.steps[i]), base - h * seen.density[i] / top) for i in inside]
    low, high = ends(read.low, read.high)
    held = [p for p, i in zip(hill, inside, strict=True) if low <= seen.steps[i] <= high]
    chart = curve.chart
    name = f"{plain(chart)}: {in_unit(_digits(read.value), chart.unit) if is_told else UNTOLD}"
    sure = _band_words(read, chart.unit) if is_told else COLOUR_ALONE
    parts = [
        text((20, 28), name, 17, "start", bold=True),
        text((20, 47), sure, 12, "start", QUIET),
        *(text((20, 65 + LINE * i), words, 12, "start", ALARM) for i, words in enumerate(doubts)),
        *(line((across(i), y), (across(i), base), FAINT) for i in range(len(chart.blocks))),
        polygon([(across(low), base), *held, (across(high), base)], HELD, "none", 0, 0.8),
        polyline(hill, INK, 1.5),
        line((x, base), (x + w, base), INK),
        line((across(read.at), y), (across(read.at), base), INK, 1.5, "4 3"),
        *(line((across(end), base - 9), (across(end), base + 4), INK, 2) for end in (low, high)),
    ]
    for i, block in enumerate(chart.blocks):
        parts.append(swatch((across(i), base + 20), hex_from_lab(block.lab), 16))
        parts.append(text((across(i), base + 45), f"{block.value:g}", 12, bold=True))
    if wanted is not None:
        parts += _wanted(wanted, [across(end) for end in ends(*wanted)], base + 58, chart.unit)
    height = base + (58 if wanted is None else 92)
    return page(WIDTH, height, f"{name}, {sure}", parts)


def draw_untold(curve: Curve, why: str, wanted: Wanted | None = None) -> str:
    """Return an SVG of the chart alone, for a pad without a colour: that and `why` in words."""
    chart, words, x, w = curve.chart, _lines(why), 24.0, 342.0
    name, base = f"{plain(chart)}: {UNTOLD}", 60.0 + LINE * len(words)

    def across(step: float) -> float:
        return x + w * (step + 0.5) / (curve.last + 1.0)

    parts = [
        text((20, 28), name, 17, "start", bold=True),
        *(text((20, 50 + LINE * i), part, 12, "start", ALARM) for i, part in enumerate(words)),
        line((x, base), (x + w, base), INK),
    ]
    for i, block in enumerate(chart.blocks):
        parts.append(swatch((across(i), base + 20), hex_from_lab(block.lab), 16))
        parts.append(text((across(i), base + 45), f"{block.value:g}", 12, bold=True))
    if wanted is not None:
        steps = [
            end if value is None else float(steps_at(curve, value))
            for value, end in zip(wanted, (-0.5, curve.last + 0.5), strict=True)
        ]
        parts += _wanted(wanted, [across(s) for s in steps], base + 58, chart.unit)
    height = base + (58 if wanted is None else 92)
    return page(WIDTH, height, f"{name}, {why}", parts)


def _lines(words: str) -> list[str]:
    return wrap(words, int((WIDTH - 40.0) / (LETTER * 12)))


def _wanted(wanted: Wanted, at: list[float], y: float, unit: str) -> list[str]:
    """Return the wanted range as a bar under the scale and in words; an open end is an arrow."""
    low, high = wanted
    if low is None and high is None:
        return []
    words = "wanted " + (
        f"at most {in_unit(f'{high:g}', unit)}" if low is None
        else f"at least {in_unit(f'{low:g}', unit)}" if high is None
        else f"{low:g} to {in_unit(f'{high:g}', unit)}"
    )  # fmt: skip
    half = LETTER * 12 * len(words) / 2.0
    middle = min(max(sum(at) / 2.0, 20.0 + half), WIDTH - 20.0 - half)
    parts = [line((at[0], y), (at[1], y), WANTED, 4)]
    for end, side, limit in ((at[0], -1, low), (at[1], 1, high)):
        if limit is None:
            tip = (end + 7.0 * side, y)
            parts.append(polygon([tip, (end, y - 5), (end, y + 5)], WANTED, "none", 0))
        else:
            parts.append(line((end, y - 5), (end, y + 5), WANTED, 2))
    return [*parts, text((middle, y + 20), words, 12, "middle", WANTED, bold=True)]


def in_unit(number: str, unit: str) -> str:
    """Return a number with its unit; pH bears none."""
    return number if unit == "pH" else f"{number} {unit}"


def _digits(value: float) -> str:
    """Return a value with three digits, thousands written out."""
    return f"{value:.0f}" if abs(value) >= 999.5 else f"{value:.3g}"


def _band_words(read: Estimate, unit: str) -> str:
    sure = f"{100 * read.confidence:.0f} % sure"
    low, high = read.low, read.high
    if low is not None and high is not None:
        return f"{sure}: {_digits(low)} to {in_unit(_digits(high), unit)}"
    if low is not None:
        return f"{sure}: at least {in_unit(_digits(low), unit)}"
    if high is not None:
        return f"{sure}: at most {in_unit(_digits(high), unit)}"
    return f"{sure} of nothing: the band is open on both sides"
