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


DRAWN = b"drawn by dipstep"
"""A comment in each picture's file, by which it is not taken for a photo."""


def encoded(canvas: Canvas) -> bytes:
    """Return the picture (h, w, 3) RGB as JPEG, marked as `DRAWN`."""
    settings = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY]
    _, data = cv2.imencode(".jpg", cv2.cvtColor(canvas, cv2.COLOR_RGB2BGR), settings)
    start, rest = bytes(data[:20]), bytes(data[20:])
    # JFIF's own segment comes first (ITU-T T.871, 10.1), then our comment (ITU-T T.81, B.2.4.5).
    comment = b"\xff\xfe" + (len(DRAWN) + 2).to_bytes(2, "big") + DRAWN
    return start + comment + rest
