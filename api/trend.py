"""Where things stand on a trend picture: readings with their bands over time, the wanted range."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from api.words import amount, band, limit, number, wish

WIDTH, HEIGHT = 340.0, 136.0
LEFT, RIGHT, TOP, BOTTOM = 48.0, 10.0, 12.0, 26.0
ROOM = 0.08
"""Share of the span left free above and below."""
LINE = 15.0
"""Numbers at the left stand at least this far apart."""

Range = tuple[float | None, float | None]


@dataclass(frozen=True)
class Mark:
    """One reading: a dot with its 95 % band."""

    x: float
    y: float
    top: float
    bottom: float
    open_high: bool
    open_low: bool
    source: str
    words: str


@dataclass(frozen=True)
class Trend:
    """Everything that the picture of one analyte shows."""

    analyte: str
    unit: str
    marks: tuple[Mark, ...]
    line: str
    """Points of the line through the dots."""
    wanted_top: float | None
    wanted_height: float | None
    levels: tuple[tuple[float, str], ...]
    """Numbers at the left: height and text."""
    first_day: str
    last_day: str
    words: str
    """The picture in a sentence, for who cannot see it."""


def trends_of(
    events: Iterable[Mapping[str, Any]], wanted: Mapping[str, Range]
) -> tuple[Trend, ...]:
    """Return a trend for every analyte of the tub's water that has been read."""
    by_analyte: dict[str, list[Mapping[str, Any]]] = {}
    for event in events:
        if event["type"] == "reading" and event.get("sample", "tub") == "tub":
            by_analyte.setdefault(event["analyte"], []).append(event)
    return tuple(trend_of(name, found, wanted.get(name)) for name, found in by_analyte.items())


def trend_of(analyte: str, readings: Sequence[Mapping[str, Any]], wanted: Range | None) -> Trend:
    """Return the trend of one analyte; `readings` are events of a log."""
    times = [datetime.fromisoformat(one["at"]).timestamp() for one in readings]
    order = sorted(range(len(times)), key=times.__getitem__)
    readings, times = [readings[i] for i in order], [times[i] for i in order]
    low, high = span_of(readings, wanted)

    def height(value: float) -> float:
        share = (min(max(value, low), high) - low) / (high - low)
        return round(TOP + (1 - share) * (HEIGHT - TOP - BOTTOM), 1)

    marks = tuple(
        mark(one, place(at, times), height) for one, at in zip(readings, times, strict=True)
    )
    top = height(high if not wanted or wanted[1] is None else wanted[1])
    floor = height(low if not wanted or wanted[0] is None else wanted[0])
    return Trend(
        analyte=analyte,
        unit=str(readings[-1]["unit"]),
        marks=marks,
        line=" ".join(f"{one.x},{one.y}" for one in marks),
        wanted_top=top if wanted else None,
        wanted_height=max(floor - top, 2.0) if wanted else None,
        levels=levels(readings, wanted, height),
        first_day=day(readings[0]["at"]),
        last_day=day(readings[-1]["at"]),
        words=in_words(readings[-1], len(readings), wanted),
    )


def span_of(readings: Sequence[Mapping[str, Any]], wanted: Range | None) -> tuple[float, float]:
    """Return the lowest and highest value the picture must show, with a little room."""
    shown = [
        one[key] for one in readings for key in ("value", "low", "high") if one.get(key) is not None
    ]
    shown += [end for end in wanted or () if end is not None]
    low, high = min(shown), max(shown)
    room = ROOM * (high - low) or max(abs(high) * 0.1, 0.5)
    return low - room if low > 0 else low, high + room


def place(at: float, times: Sequence[float]) -> float:
    """Return where a moment lies; a lone reading lies in the middle."""
    span = times[-1] - times[0]
    share = (at - times[0]) / span if span > 0 else 0.5
    return round(LEFT + 8 + share * (WIDTH - LEFT - RIGHT - 16), 1)


def mark(one: Mapping[str, Any], x: float, height: Any) -> Mark:
    """Return one reading's dot and band."""
    low, high = one.get("low", one["value"]), one.get("high", one["value"])
    value, by = amount(one["value"], one["unit"]), one["source"].replace("_", " ")
    words = f"{day(one['at'])}: {value} ({band(low, high)}), by {by}"
    return Mark(
        x=x,
        y=height(one["value"]),
        top=TOP if high is None else height(high),
        bottom=HEIGHT - BOTTOM if low is None else height(low),
        open_high=high is None,
        open_low=low is None,
        source=one["source"],
        words=words,
    )


def levels(
    readings: Sequence[Mapping[str, Any]], wanted: Range | None, height: Any
) -> tuple[tuple[float, str], ...]:
    """Return the numbers at the left: the wanted range's ends, and readings where there is room."""
    ends = [(height(end), limit(end)) for end in wanted or () if end is not None]
    if len(ends) > 1 and (near := LINE - (ends[0][0] - ends[1][0])) > 0:
        ends = [(ends[0][0] + near / 2, ends[0][1]), (ends[1][0] - near / 2, ends[1][1])]
    values = [one["value"] for one in readings]
    for value in (max(values), min(values)):
        if all(abs(height(value) - at) >= LINE for at, _ in ends):
            ends.append((height(value), number(value)))
    return tuple(ends)


def day(moment: str) -> str:
    """Return a moment as day and minute."""
    return datetime.fromisoformat(moment).strftime("%d %b, %H:%M")


def in_words(newest: Mapping[str, Any], count: int, wanted: Range | None) -> str:
    """Return what the picture shows as a sentence."""
    value = amount(newest["value"], newest["unit"])
    text = f"{count} reading{'s' if count > 1 else ''}; newest {value}"
    return f"{text}; wanted {wish(*wanted)}" if wanted else text
