"""Photos that are one and the same file: counted twice, they would feign certainty."""

from __future__ import annotations

from collections.abc import Iterable


def first_twice(photos: Iterable[tuple[str, str]]) -> tuple[str, str] | None:
    """Return the names of the first two of these (name, fingerprint) that are one, or None."""
    known: dict[str, str] = {}
    for name, sha256 in photos:
        if sha256 in known:
            return known[sha256], name
        known[sha256] = name
    return None
