"""What the pictures have in common: their size, their inks and their file format."""

from __future__ import annotations

from collections.abc import Mapping

import cv2
import numpy as np
from numpy.typing import NDArray

Canvas = NDArray[np.uint8]
Colour = tuple[int, int, int]

LONG_SIDE = 1280
"""Enough for a phone's screen; a picture of about 200 kB."""

JPEG_QUALITY = 88

CASING: Colour = (255, 255, 255)
FOUND: Colour = (11, 79, 82)
"""Ink of the card's outline and markers."""

VERDICT_INK: Mapping[str, Colour] = {
    "accepted": (0, 122, 102),
    "recheck": (214, 128, 0),
    "unreadable": (176, 32, 48),
}
"""Told apart by lightness too, for who cannot tell red from green."""

VERDICT_SIGN: Mapping[str, str] = {"accepted": "", "recheck": "?", "unreadable": "!"}
"""Written beside the pad's number."""


def encoded(canvas: Canvas) -> bytes:
    """Return the picture (h, w, 3) RGB as JPEG."""
    settings = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    _, data = cv2.imencode(".jpg", cv2.cvtColor(canvas, cv2.COLOR_RGB2BGR), settings)
    return data.tobytes()
