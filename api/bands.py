"""Where things stand on a band bar: the chart's scale, the wanted range, the band, the value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.words import limit

WIDTH = 280.0
"""Length of the scale in the bar's own units."""
MARGIN = 10.0
"""Room at both ends for arrows and the value's dot."""

Range = tuple[float | None, float | None]


@dataclass(frozen=True)
class Span:
    """A stretch of the bar; an open end is drawn as an arrow."""

    start: float
    end: float
    open_low: bool = False
    open_high: bool = False

    @property
    def width(self) -> float:
        """Length of the stretch, never so short that it cannot be seen."""
        return max(self.end - self.start, 2.0)


@dataclass(frozen=True)
class Tick:
    """A number under the bar."""

    at: float
    text: str
    anchor: str


@dataclass(frozen=True)
class BandBar:
    """Everything that a band bar shows."""

    wanted: Span | None
    band: Span | None
    value: float | None
    ticks: tuple[Tick, ...]
    words: str
    """The same in words, for who cannot see the picture."""


def band_bar(pad: Mapping[str, Any], wanted: Range | None) -> BandBar:
    """Return the bar of one pad of a reading (JSON of formats)."""
    scale = pad["scale"]
    first, last = scale[0], scale[-1]

    def place(value: float) -> float:
        return round(MARGIN + WIDTH * share_of(value, scale), 1)

    def span(low: float | None, high: float | None) -> Span:
        ends = place(first if low is None else low), place(last if high is None else high)
        return Span(*ends, low is None, high is None)

    value = pad["value"]
    return BandBar(
        wanted=span(*wanted) if wanted else None,
        band=None if value is None else span(pad["low"], pad["high"]),
        value=None if value is None else place(value),
        ticks=ticks_of(first, last, wanted, place),
        words=in_words(pad, wanted),
    )


def share_of(value: float, scale: Sequence[float]) -> float:
    """Return where a value lies on the chart, 0 to 1; the chart's blocks stand evenly apart."""
    if value <= scale[0] or len(scale) < 2:
        return 0.0
    right = next((i for i, block in enumerate(scale) if block > value), None)
    if right is None:
        return 1.0
    low, high = scale[right - 1], scale[right]
    return (right - 1 + (value - low) / (high - low)) / (len(scale) - 1)


def ticks_of(first: float, last: float, wanted: Range | None, place: Any) -> tuple[Tick, ...]:
    """Return the wanted range's ends as numbers, and the scale's where there is room."""
    ends = [end for end in wanted or () if end is not None]
    ticks = [Tick(place(end), limit(end), "middle") for end in ends]
    room = 44.0
    if all(place(end) - MARGIN > room for end in ends):
        ticks.insert(0, Tick(MARGIN, limit(first), "start"))
    if all(MARGIN + WIDTH - place(end) > room for end in ends):
        ticks.append(Tick(MARGIN + WIDTH, limit(last), "end"))
    return tuple(ticks)


def in_words(pad: Mapping[str, Any], wanted: Range | None) -> str:
    """Return what the bar shows as a sentence."""
    from api.words import band, value_of, wish

    if pad["value"] is None:
        return "no value could be read"
    text = f"{value_of(pad)}, 95 % band {band(pad['low'], pad['high'])}"
    return f"{text}; wanted {wish(*wanted)}" if wanted else text
