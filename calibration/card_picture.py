"""How a card's colours fitted over time, as an SVG for the phone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.card_watch import FEWEST_TO_WATCH, CardFit, CardWatch
from calibration.svg import ALARM, FAINT, INK, QUIET, Point, dot, line, page, polyline, text

WIDTH, HEIGHT = 390.0, 276.0
LEFT, TOP, WIDE, HIGH = 44.0, 64.0, 328.0, 168.0
GOOD = "#1f6f5c"
DATE_WIDE = 75.0
"""Width of a date under the picture."""
LOOK_AGAIN = 1.0
"""Median misfit [CIEDE2000] above which a reading asks for a look, as the reader has it."""


def draw_card_watch(fits: Sequence[CardFit], watch: CardWatch, title: str) -> str:
    """Return the misfit of the card's patches in each photo over time, with a running middle."""
    series = sorted(fits, key=lambda fit: fit.at)
    values = [fit.delta_e00_median for fit in series]
    top = max(1.5, 1.1 * max(values, default=0.0))
    points = _points(series, top)
    colour = ALARM if watch.state == "fading" else GOOD
    parts = [
        text((20, 26), title, 17, "start", bold=True),
        text(
            (20, 44), "misfit of the card's patches, CIEDE2000, photo by photo", 12, "start", QUIET
        ),
        *_scale(top),
        *(dot(point, colour, 3.5) for point in points),
    ]
    if len(points) >= FEWEST_TO_WATCH:
        parts.append(polyline(_middle(points), INK, 2.5))
    parts += _ends(series, points)
    return page(WIDTH, HEIGHT, f"{title}: {watch.sentence}", parts)


def _points(series: Sequence[CardFit], top: float) -> list[Point]:
    """Return the places of the photos, spread by their time."""
    if not series:
        return []
    first, last = series[0].at, series[-1].at
    span = max((last - first).total_seconds(), 1.0)
    return [
        (
            LEFT + 10 + (WIDE - 20) * (fit.at - first).total_seconds() / span,
            TOP + HIGH * (1.0 - fit.delta_e00_median / top),
        )
        for fit in series
    ]


def _middle(points: Sequence[Point]) -> list[Point]:
    """Return the running median over a third of the points at most, at their median times."""
    places = np.array(points)
    reach = max(2, len(places) // 6)
    windows = [places[max(i - reach, 0) : i + reach + 1] for i in range(reach, len(places) - reach)]
    return [(float(np.median(w[:, 0])), float(np.median(w[:, 1]))) for w in windows]


def _scale(top: float) -> list[str]:
    step = 0.5 if top <= 3.0 else 1.0 if top <= 6.0 else 5.0
    parts = []
    for value in np.arange(0.0, top + 1e-9, step):
        y = TOP + HIGH * (1.0 - value / top)
        parts.append(line((LEFT, y), (LEFT + WIDE, y), QUIET if value == 0 else FAINT))
        parts.append(text((LEFT - 6, y + 4), f"{value:g}", 11, "end", QUIET))
    y = TOP + HIGH * (1.0 - LOOK_AGAIN / top)
    parts.append(line((LEFT, y), (LEFT + WIDE, y), INK, 1, "4 4"))
    parts.append(
        text((LEFT + 4, y - 5), "readings above here ask for a look", 10, "start", QUIET, halo=True)
    )
    return parts


def _ends(series: Sequence[CardFit], points: Sequence[Point]) -> list[str]:
    if not series:
        return [text((LEFT + WIDE / 2, TOP + HIGH / 2), "no reading with this card yet", 13)]
    apart = points[-1][0] - points[0][0] > 2 * DATE_WIDE
    ends = {0: "start", len(series) - 1: "end"} if apart else {0: "start"}
    return [
        text((points[i][0] + (-10 if a == "start" else 10), TOP + HIGH + 20),
             series[i].at.strftime("%d %b %Y"), 11, a, QUIET)
        for i, a in ends.items()
    ]  # fmt: skip
