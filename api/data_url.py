"""Pictures that stand in the page itself, as data URLs."""

from __future__ import annotations

import base64
from urllib.parse import quote


def svg_url(drawn: str) -> str:
    """Return an SVG as a data URL."""
    return "data:image/svg+xml," + quote(drawn)


def jpeg_url(picture: bytes) -> str:
    """Return a JPEG as a data URL."""
    return "data:image/jpeg;base64," + base64.b64encode(picture).decode()
