"""A tub's log: the tub, its products and what happened, in order of time and checked."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from difflib import get_close_matches
from itertools import groupby
from typing import Any

from dosing.analytes import ANALYTES, SOURCES_OF_READINGS
from dosing.errors import LogError

SANITIZERS = ("salt_chlorine", "chlorine", "bromine")
SAMPLES = ("tub", "fill")


@dataclass(frozen=True)
class Tub:
    """The tub as its owner states it."""

    name: str
    volume_l: float
    """Stated volume [L]; the belief knows it better after a few doses."""
    temperature_c: float
    """The water's temperature now [deg C]."""
    sanitizer: str
    has_sensor: bool
    bathers_per_day: float | None = None
    """How many bathe on a usual day; None when nobody said."""


@dataclass(frozen=True)
class Reading:
    """One value with its 95 % band; a side that is None is open (beyond the chart)."""

    at: datetime
    analyte: str
    value: float
    low: float | None
    high: float | None
    source: str
    sample: str = "tub"
    place: int = field(default=0, compare=False)
    """Its place in the file, for messages."""


@dataclass(frozen=True)
class Dose:
    """Grams of a product, as sold, that went into the water."""

    at: datetime
    product: str
    amount_g: float
    place: int = field(default=0, compare=False)


@dataclass(frozen=True)
class ReplacedWater:
    """A share of the tub's water replaced from the hose."""

    at: datetime
    fraction: float
    place: int = field(default=0, compare=False)


@dataclass(frozen=True)
class Done:
    """A step that a person has carried out."""

    at: datetime
    step: str
    place: int = field(default=0, compare=False)


Event = Reading | Dose | ReplacedWater | Done


@dataclass(frozen=True)
class Log:
    """Everything known of one tub, events in order of time (UTC)."""

    tub: Tub
    procedure: str
    """Name of a built-in procedure, or the path of the shop's own."""
    products: tuple[Mapping[str, Any], ...]
    """Product records as written; none means the generic ones."""
    events: tuple[Event, ...]
    cautions: tuple[str, ...] = ()
    """What a person should know about the log itself, such as an event entered twice."""


def load_log(text: str, name: str, at: datetime) -> Log:
    """Return the checked log.

    Parameters
    ----------
    text
        The log's JSON.
    name
        What to call it in messages, usually the file.
    at
        The moment of asking, with an offset; no event may be later.

    Raises
    ------
    LogError
        For the first fault: what is wrong, where, and what to do.
    """
    try:
        return _log(_json(text), at)
    except LogError as fault:
        raise LogError(f"{name}: {fault}") from None


def _json(text: str) -> Any:
    """Return the parsed text; refuse what JSON does not know or would lose in silence."""
    try:
        return json.loads(
            text.removeprefix("\ufeff"), parse_constant=float, object_pairs_hook=_no_doubles
        )
    except json.JSONDecodeError as fault:
        raise LogError(
            f"line {fault.lineno}, column {fault.colno}: this is not JSON ({fault.msg}); "
            "send the whole file again, or take the last good copy"
        ) from None
    except RecursionError:
        raise LogError("brackets are nested too deeply for a log; export it again") from None
    except LogError:
        raise
    except ValueError:
        raise LogError("a number has too many digits; write it plainly, for example 7.5") from None


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    record = dict(pairs)
    if len(record) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise LogError(f"the key {twice!r} stands twice in one object; keep the right one")
    return record


def _log(data: Any, at: datetime) -> Log:
    whole = _Record(data, "the log", ("tub", "procedure", "events"), ("products",))
    tub = _tub(whole.record["tub"])
    procedure = whole.text("procedure")
    products = whole.record.get("products", [])
    events = whole.record["events"]
    products = [] if products is None else products
    if not isinstance(products, list) or not all(isinstance(one, dict) for one in products):
        raise LogError("products: must be a list of objects, each with id and kind")
    if not isinstance(events, list):
        raise LogError("events: must be a list; write [] when nothing has happened yet")
    read = [_event(record, f"events[{place}]", place, at) for place, record in enumerate(events)]
    kept, cautions = _once(_in_order(read))
    return Log(tub, procedure, tuple(products), tuple(kept), tuple(cautions))


def _tub(data: Any) -> Tub:
    keys = ("name", "volume_l", "temperature_c", "sanitizer", "has_sensor")
    tub = _Record(data, "tub", keys, ("bathers_per_day",))
    has_sensor = tub.record["has_sensor"]
    if not isinstance(has_sensor, bool):
        raise LogError(f"tub.has_sensor: {has_sensor!r} must be true or false")
    return Tub(
        tub.text("name"),
        tub.number("volume_l", 50.0, 100_000.0, "litres"),
        tub.number("temperature_c", 0.0, 45.0, "deg C"),
        tub.choice("sanitizer", SANITIZERS),
        has_sensor,
        _bathers(tub),
    )


def _bathers(tub: _Record) -> float | None:
    if tub.record.get("bathers_per_day") is None:
        return None
    return tub.number("bathers_per_day", 0.0, 1000.0, "bathers a day")


def _event(data: Any, where: str, place: int, at: datetime) -> Event:
    kind = _Record(data, where, ("at", "type"), None).choice("type", tuple(_EVENTS))
    required, optional, build = _EVENTS[kind]
    record = _Record(data, where, ("at", "type", *required), optional)
    when = record.moment("at")
    if when > at:
        raise LogError(
            f"{where}.at: {record.record['at']} lies later than the moment asked about, "
            f"{at.isoformat()}; correct the time or its offset"
        )
    event: Event = build(record, when, place)
    return event


def _reading(record: _Record, when: datetime, place: int) -> Reading:
    name = record.choice("analyte", tuple(ANALYTES))
    analyte = ANALYTES[name]
    unit = record.text("unit")
    if unit != analyte.unit:
        raise LogError(
            f"{record.where}.unit: {name} is logged in {analyte.unit}, not {unit!r}; "
            "convert the value by hand and write the right unit"
        )
    source = record.choice("source", SOURCES_OF_READINGS)
    sample = record.choice("sample", SAMPLES) if "sample" in record.record else "tub"
    value = record.number("value", 0.0, analyte.most, analyte.unit)
    half = analyte.spread(source).half_band(value)
    low = record.side("low", max(0.0, value - half), analyte.most, analyte.unit)
    high = record.side("high", value + half, analyte.most, analyte.unit)
    if (low is not None and low > value) or (high is not None and high < value):
        raise LogError(
            f"{record.where}: the band {_side(low)} to {_side(high)} does not hold "
            f"its value {value:g}; correct value, low or high"
        )
    return Reading(when, name, value, low, high, source, sample, place)


def _side(side: float | None) -> str:
    return "open" if side is None else f"{side:g}"


def _dose(record: _Record, when: datetime, place: int) -> Dose:
    amount_g = record.number("amount_g", 0.0, 1_000_000.0, "grams")
    return Dose(when, record.text("product"), amount_g, place)


def _replaced(record: _Record, when: datetime, place: int) -> ReplacedWater:
    fraction = record.number("fraction", 0.0, 1.0, "a share from 0 to 1")
    return ReplacedWater(when, fraction, place)


def _done(record: _Record, when: datetime, place: int) -> Done:
    return Done(when, record.text("step"), place)


_EVENTS: dict[str, tuple[tuple[str, ...], tuple[str, ...], Any]] = {
    "reading": (
        ("analyte", "value", "unit", "source"),
        ("low", "high", "sample"),
        _reading,
    ),
    "dose": (("product", "amount_g"), (), _dose),
    "replaced_water": (("fraction",), (), _replaced),
    "done": (("step",), (), _done),
}


def _in_order(events: Iterable[Event]) -> Iterator[Event]:
    """Yield by time, not by place in the file; a reading at a dose's moment came before it.

    What happened at one moment goes by its words, which are dear to write and seldom needed.
    """
    for _, same in groupby(sorted(events, key=_when_and_rank), key=_when_and_rank):
        together = list(same)
        yield from together if len(together) == 1 else sorted(together, key=_what_and_place)


_RANKS = {kind: rank for rank, kind in enumerate((Done, Reading, ReplacedWater, Dose))}


def _when_and_rank(event: Event) -> tuple[datetime, int]:
    return event.at, _RANKS[type(event)]


def _what_and_place(event: Event) -> tuple[str, int]:
    return repr(replace(event, place=0)), event.place


def _once(events: Iterable[Event]) -> tuple[list[Event], list[str]]:
    """Return each event once, and a caution for each that was entered again."""
    first: dict[Event, int] = {}
    kept, cautions = [], []
    for event in events:
        if event in first:
            cautions.append(
                f"events[{event.place}] is the same as events[{first[event]}]: it counts once. "
                "If both happened, correct the time of one."
            )
            continue
        first[event] = event.place
        kept.append(event)
    return kept, cautions


class _Record:
    """One JSON object, with checked access to its keys."""

    def __init__(
        self,
        data: Any,
        where: str,
        required: tuple[str, ...],
        optional: tuple[str, ...] | None,
    ) -> None:
        if not isinstance(data, dict):
            raise LogError(f"{where}: must be an object in braces, not {_kind(data)}")
        self.record: dict[str, Any] = data
        self.where = where
        for key in required:
            if key not in data:
                raise LogError(f"{where}: the key {key!r} is missing{_instead(key, data)}; add it")
        if optional is not None and len(data) > len(required):
            self._refuse_near_misses(required, optional)

    def _refuse_near_misses(self, required: tuple[str, ...], optional: tuple[str, ...]) -> None:
        """Other programs may add keys of their own; a misspelled one of ours must be heard."""
        for key in self.record.keys() - set(required) - set(optional):
            near = get_close_matches(key, (*required, *optional), 1, cutoff=0.85)
            if near:
                raise LogError(
                    f"{self.where}: the key {key!r} is unknown; did you mean {near[0]!r}?"
                )

    def text(self, key: str) -> str:
        value = self.record[key]
        if not isinstance(value, str) or not value.strip():
            raise LogError(f"{self.where}.{key}: must be a text that is not empty")
        return value

    def choice(self, key: str, known: tuple[str, ...]) -> str:
        value = self.record[key]
        if not isinstance(value, str) or value not in known:
            near = get_close_matches(value, known, 1) if isinstance(value, str) else []
            hint = f"did you mean {near[0]!r}?" if near else f"known are: {', '.join(known)}"
            raise LogError(f"{self.where}.{key}: {value!r} is unknown; {hint}")
        return value

    def number(self, key: str, least: float, most: float, unit: str) -> float:
        value = self.record[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise LogError(
                f"{self.where}.{key}: {_kind(value)} is not a number; write it in {unit}"
            )
        if not _finite(value):
            raise LogError(f"{self.where}.{key}: is not a finite number; write it in {unit}")
        if not least <= value <= most:
            raise LogError(
                f"{self.where}.{key}: {value:g} is not possible (from {least:g} to {most:g}); "
                f"check the entry, it is in {unit}"
            )
        return float(value)

    def side(self, key: str, default: float, most: float, unit: str) -> float | None:
        """Return one side of a band: as written, None when open, else the default."""
        if key not in self.record:
            return default
        return None if self.record[key] is None else self.number(key, 0.0, 2.0 * most, unit)

    def moment(self, key: str) -> datetime:
        text = self.record[key]
        example = "write it like 2025-06-01T09:00:00+02:00"
        try:
            when = datetime.fromisoformat(text)
            if when.tzinfo is None:
                raise LogError(f"{self.where}.{key}: {text!r} has no offset; {example}")
            return when.astimezone(UTC)
        except (TypeError, ValueError, OverflowError) as fault:
            if isinstance(fault, LogError):
                raise
            raise LogError(f"{self.where}.{key}: {text!r} is not a time; {example}") from None


def _instead(key: str, data: dict[str, Any]) -> str:
    near = get_close_matches(key, [str(name) for name in data], 1, cutoff=0.75)
    return f" (there is {near[0]!r})" if near else ""


def _kind(value: Any) -> str:
    names = {dict: "an object", list: "a list", str: "text", bool: "true or false"}
    return "null" if value is None else names.get(type(value), f"{value!r}")


def _finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:
        return False
