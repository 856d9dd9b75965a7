"""A file as it came in: its bytes, and the name to use in messages."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property


@dataclass(frozen=True)
class Named:
    """A file's bytes and the name to use in messages."""

    name: str
    data: bytes

    @cached_property
    def sha256(self) -> str:
        """The bytes' fingerprint, as hexadecimal digits."""
        return hashlib.sha256(self.data).hexdigest()

    def text(self) -> str:
        """Return the bytes as text; raise ValueError with place and cure when they are none."""
        try:
            return self.data.decode("utf-8-sig")
        except UnicodeDecodeError as fault:
            raise ValueError(
                f"{self.name}: byte {fault.start + 1} is not UTF-8 text; save the file as UTF-8"
            ) from None
