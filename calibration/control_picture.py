"""The Levey-Jennings chart of a control water, as an SVG for the phone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from calibration.control import RULES, ControlLimits, ControlReading, Signed, history
from calibration.svg import ALARM, FAINT, INK, QUIET, Point, dot, line, page, polyline, text

WIDTH, HEIGHT = 390.0, 276.0
LEFT, TOP, WIDE, HIGH = 56.0, 64.0, 316.0, 176.0
SPAN = 4.0
"""Standard deviations shown on each side of the mean."""

NAME_WIDE = 32.0
"""Room for a rule's name."""
WARN = "#a35a00"
GOOD = "#1f6f5c"
SHOWN = 30
"""Readings shown, the newest."""


def draw_control(
    readings: Sequence[ControlReading],
    limits: ControlLimits,
    title: str,
    unit: str,
    signed: Sequence[Signed] = (),
) -> str:
    """Return the series of control readings against mean and one, two, three deviations.

    A reading that breaks a rule is ringed and carries the rule; a dashed line marks where a
    person signed the control off.
    """
    series = sorted(readings, key=lambda r: r.at)
    marks = _marks(series, limits, signed)[-SHOWN:]
    series = series[-SHOWN:]
    points = [_at(i, len(series), limits.z(r.value)) for i, r in enumerate(series)]
    parts = [
        text((20, 26), title, 17, "start", bold=True),
        text((20, 44), f"control water, {unit}; the newest {len(series)} dips", 12, "start", QUIET),
        *_bands(limits),
        *_signatures(series, points, signed),
        polyline(points, INK, 1.5) if len(points) > 1 else "",
    ]
    told: dict[str, float] = {}
    for (x, y), codes in zip(points, marks, strict=True):
        parts.append(dot((x, y), _colour(codes), 4.5))
        broken = [code for code in codes if RULES[code].grade == "broken"]
        if broken:
            up = y > TOP + 26
            parts.append(f"<circle cx='{x:.1f}' cy='{y:.1f}' r='8' fill='none' stroke='{ALARM}'/>")
            # A rule that goes on being broken is named once.
            if x - told.get(broken[0], -WIDTH) > NAME_WIDE:
                at = (min(x, LEFT + WIDE - NAME_WIDE / 2), y - 13 if up else y + 22)
                parts.append(text(at, broken[0], 11, colour=ALARM, bold=True, halo=True))
            told[broken[0]] = x
    parts += _days(series, points)
    return page(WIDTH, HEIGHT, f"{title}: control chart", parts)


def _marks(
    series: Sequence[ControlReading], limits: ControlLimits, signed: Sequence[Signed]
) -> list[tuple[str, ...]]:
    """Return the rules broken at each judged reading; a signature begins the count anew."""
    marks: list[tuple[str, ...]] = []
    run: list[float] = []
    before: datetime | None = None
    for reading in series:
        if any((before is None or word.at >= before) and word.at < reading.at for word in signed):
            run = []
        if reading.judged:
            run.append(limits.z(reading.value))
        marks.append(history(run)[-1] if reading.judged else ())
        before = reading.at
    return marks


def _at(i: int, count: int, z: float) -> Point:
    x = LEFT + 12 + (WIDE - 24) * (i / (count - 1) if count > 1 else 0.5)
    held = min(max(z, -SPAN), SPAN)
    return x, TOP + HIGH / 2 - held / SPAN * HIGH / 2


def _colour(codes: Sequence[str]) -> str:
    if any(RULES[code].grade == "broken" for code in codes):
        return ALARM
    return WARN if codes else GOOD


def _bands(limits: ControlLimits) -> list[str]:
    parts = []
    for reach, fill in ((3.0, "#fbeee0"), (2.0, "#eef5ee"), (1.0, "#dcece6")):
        top, bottom = _at(0, 1, reach)[1], _at(0, 1, -reach)[1]
        parts.append(
            f"<rect x='{LEFT}' y='{top:.1f}' width='{WIDE}' height='{bottom - top:.1f}' "
            f"fill='{fill}'/>"
        )
    for z in (-3, -2, -1, 0, 1, 2, 3):
        y = _at(0, 1, z)[1]
        parts.append(line((LEFT, y), (LEFT + WIDE, y), QUIET if z == 0 else FAINT))
        parts.append(
            text((LEFT - 6, y + 4), f"{limits.mean + z * limits.sd:.3g}", 11, "end", QUIET)
        )
    for z, name in ((2, "2 s"), (3, "3 s")):
        parts.append(text((LEFT + 4, _at(0, 1, z)[1] + 12), name, 10, "start", QUIET))
    return parts


def _signatures(
    series: Sequence[ControlReading], points: Sequence[Point], signed: Sequence[Signed]
) -> list[str]:
    parts = []
    for word in signed:
        after = [i for i, reading in enumerate(series) if reading.at > word.at]
        if after and after[0] > 0:
            x = (points[after[0] - 1][0] + points[after[0]][0]) / 2
            parts.append(line((x, TOP), (x, TOP + HIGH), INK, 1, "4 4"))
            parts.append(text((x, TOP - 5), f"signed off: {word.who}", 10, "middle", QUIET))
    return parts


def _days(series: Sequence[ControlReading], points: Sequence[Point]) -> list[str]:
    if not series:
        return [text((LEFT + WIDE / 2, TOP + HIGH / 2), "no control readings yet", 13)]
    ends = {0: "start", len(series) - 1: "end"}
    return [
        text((points[i][0] + (-10 if a == "start" else 10), TOP + HIGH + 20),
             series[i].at.strftime("%d %b"), 11, a, QUIET)
        for i, a in ends.items()
    ]  # fmt: skip
