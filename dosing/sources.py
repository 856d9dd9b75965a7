"""The bibliography: every limit and constant names a key, every key has a citation here."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

READ = ("full", "excerpt", "quoted", "memory", "practice", "derived")


@dataclass(frozen=True, slots=True)
class Source:
    """One work, and how far we know it."""

    key: str
    citation: str
    read: str
    """One of `READ`: read whole, in part, quoted elsewhere, recalled, trade practice, computed."""


class SourceError(ValueError):
    """A key without a citation; the message says which."""


@lru_cache(maxsize=1)
def sources() -> Mapping[str, Source]:
    """Return the bibliography by key."""
    text = (Path(__file__).parent / "data" / "sources.toml").read_text(encoding="utf-8")
    return MappingProxyType(
        {
            key: Source(key, entry["citation"], entry["read"])
            for key, entry in tomllib.loads(text).items()
        }
    )


def cite(key: str) -> str:
    """Return the citation of a key; raise `SourceError` if there is none."""
    try:
        return sources()[key].citation
    except KeyError:
        raise SourceError(
            f"source key {key!r} is not in the bibliography; add it to dosing/data/sources.toml"
        ) from None
