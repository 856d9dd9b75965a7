"""Photos that are one and the same file: counted twice, they would feign certainty."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable


def first_twice(photos: Iterable[tuple[str, bytes]]) -> tuple[str, str] | None:
    """Return the names of the first two of these that are one photo, or None."""
    known: dict[bytes, str] = {}
    for name, data in photos:
        key = hashlib.sha256(data).digest()
        if key in known:
            return known[key], name
        known[key] = name
    return None
