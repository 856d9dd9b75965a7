"""Tables of a procedure's file with checked access; every fault names its line."""

from __future__ import annotations

import math
import re
from difflib import get_close_matches
from typing import Any, NoReturn

from dosing.errors import ProcedureError
from dosing.procedure import Limit
from dosing.sources import sources

_HEADING = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.]+)\s*\]\]?")


class Lines:
    """Where things stand in the file: headings in order, keys below them."""

    def __init__(self, text: str, name: str) -> None:
        self.name = name
        self.lines = text.splitlines()
        self.starts: dict[str, list[int]] = {}
        self.headings: list[int] = []
        for number, line in enumerate(self.lines):
            if found := _HEADING.match(line):
                self.starts.setdefault(found[2], []).append(number)
                self.headings.append(number)

    def line(self, heading: str, place: int, key: str = "") -> int:
        """Return the line number (from 1) of a key under the heading's n-th occurrence."""
        starts = self.starts.get(heading, [])
        start = starts[place] if place < len(starts) else 0
        end = next((line for line in self.headings if line > start), len(self.lines))
        wanted = re.compile(rf'^\s*"?{re.escape(key)}"?\s*=')
        for number in range(start, end):
            if key and wanted.match(self.lines[number]):
                return number + 1
        return start + 1


class Table:
    """One table of the file, with checked access to its keys."""

    def __init__(self, lines: Lines, data: Any, heading: str, place: int) -> None:
        self.lines, self.heading, self.place = lines, heading, place
        if not isinstance(data, dict):
            self.fault("", f"{heading} must be a table; write [[{heading}]] above its lines")
        self.data: dict[str, Any] = data

    def fault(self, key: str, message: str) -> NoReturn:
        """Refuse the file at the line of this key."""
        line = self.lines.line(self.heading, self.place, key)
        raise ProcedureError(f"{self.lines.name}, line {line}: {message}")

    def only(self, known: tuple[str, ...]) -> None:
        """Refuse a key that is not known here."""
        for key in self.data:
            if key not in known:
                near = get_close_matches(key, known, 1)
                hint = f"did you mean {near[0]}?" if near else f"known are: {', '.join(known)}"
                self.fault(key, f"the key {key} is unknown; {hint}")

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text that is not empty, or the default."""
        value = self.data.get(key, default)
        if value is None:
            self.fault("", f'{self.heading} lacks {key}; add {key} = "..."')
        if not isinstance(value, str) or not (value.strip() or value == default):
            self.fault(key, f"{key} must be a text that is not empty")
        return value

    def flag(self, key: str, default: bool) -> bool:
        """Return true or false."""
        value = self.data.get(key, default)
        if not isinstance(value, bool):
            self.fault(key, f"{key} must be true or false")
        return value

    def choice(self, key: str, known: tuple[str, ...], default: str | None = None) -> str:
        """Return one of the known words."""
        value = self.text(key, default)
        if value not in known:
            near = get_close_matches(value, known, 1)
            hint = f"did you mean {near[0]!r}?" if near else f"known are: {', '.join(known)}"
            self.fault(key, f"{key} {value!r} is unknown; {hint}")
        return value

    def choices(self, key: str, known: tuple[str, ...]) -> tuple[str, ...]:
        """Return a list of known words."""
        values = self.data.get(key, [])
        if not isinstance(values, list):
            self.fault(key, f'{key} must be a list, such as {key} = ["{known[0]}"]')
        for value in values:
            if value not in known:
                near = get_close_matches(str(value), known, 1)
                hint = f"did you mean {near[0]!r}?" if near else f"known are: {', '.join(known)}"
                self.fault(key, f"{value!r} in {key} is unknown; {hint}")
        return tuple(values)

    def needed(self, key: str, units: tuple[str, ...]) -> Limit:
        """Return a limit that must be there."""
        limit = self.limit(key, units)
        if limit is None:
            self.fault("", f"{self.heading} lacks {key}; add {example(key, units[0])}")
        return limit

    def limit(self, key: str, units: tuple[str, ...]) -> Limit | None:
        """Return the limit under a key: value, unit and source stand together."""
        data = self.data.get(key)
        if data is None:
            return None
        pattern = example(key, units[0])
        if not isinstance(data, dict):
            self.fault(key, f"{key} must carry value, unit and source; write {pattern}")
        for part in ("value", "unit", "source"):
            if part not in data:
                self.fault(key, f"{key} lacks its {part}; write {pattern}")
        if extra := set(data) - {"value", "unit", "source"}:
            self.fault(key, f"{key} has the unknown part {min(extra)}; write {pattern}")
        return Limit(
            self._number(key, data["value"]),
            self._unit(key, data["unit"], units),
            self.source(key, data["source"]),
        )

    def _number(self, key: str, value: Any) -> float:
        plain = isinstance(value, int | float) and not isinstance(value, bool)
        if not plain or not math.isfinite(value) or value < 0:
            self.fault(key, f"the value of {key} must be a number that is not negative")
        return float(value)

    def _unit(self, key: str, unit: Any, units: tuple[str, ...]) -> str:
        if unit not in units:
            self.fault(key, f"{key} is given in {unit!r}; it must be in {' or '.join(units)}")
        return str(unit)

    def source(self, key: str, source: Any) -> str:
        """Return the key of a source that the bibliography holds."""
        if source not in sources():
            near = get_close_matches(str(source), list(sources()), 1)
            hint = f"did you mean {near[0]!r}?" if near else "use common_practice if there is none"
            self.fault(key, f"the source {source!r} is not in the bibliography; {hint}")
        return str(source)


def example(key: str, unit: str) -> str:
    """Return a line that would be right, for the message."""
    return f'{key} = {{ value = 1, unit = "{unit}", source = "common_practice" }}'
