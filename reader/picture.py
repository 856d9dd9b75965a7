"""The photo with what was found drawn over it: card, markers, slot, strip and pads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from reader.inks import CASING, FOUND, LONG_SIDE, VERDICT_INK, VERDICT_SIGN, Canvas, Colour, encoded
from reader.lab import srgb_from_lab
from reader.photo import Photo
from reader.read_strip import StripSeen, Traces

Array = NDArray[np.float64]

PLATE_MM = 3.2
"""Side of the plates that carry numbers and colours; the white beside the slot has 4 mm."""


def draw_seen(photo: Photo, seen: StripSeen, verdicts: Mapping[int, str] | None = None) -> bytes:
    """Return a JPEG of the photo with what was found.

    Parameters
    ----------
    photo
        The photo `seen` was read from.
    seen
        What was seen in it.
    verdicts
        By pad: "accepted", "recheck" or "unreadable"; a pad without one is drawn neutrally.
    """
    traces = seen.traces
    if traces is None or traces.card_seen is None:
        return encoded(_View.of(photo, (0, 0, *photo.size)).canvas)
    drawing = _Drawing(_View.of(photo, _around_card(photo, traces)), traces)
    drawing.everything(seen, verdicts or {})
    return encoded(drawing.canvas)


def _around_card(photo: Photo, traces: Traces) -> tuple[int, int, int, int]:
    """Return the part of the photo that holds the card, with some ground around it."""
    assert traces.card_seen is not None  # noqa: S101 - the caller has looked
    corners = traces.card_seen.plane.to_photo(_corners((0.0, 0.0, *traces.card.size_mm)))
    room = 0.12 * float(np.ptp(corners, axis=0).max())
    low = np.maximum(np.floor(corners.min(axis=0) - room), 0).astype(int)
    high = np.minimum(np.ceil(corners.max(axis=0) + room), photo.size).astype(int)
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _corners(rect_mm: tuple[float, float, float, float]) -> Array:
    """Return the corners (4, 2) of x, y, width, height."""
    x, y, w, h = rect_mm
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])


@dataclass(frozen=True, eq=False)
class _View:
    """A part of the photo, small and 8 bit."""

    canvas: Canvas
    scale: float
    low_px: tuple[int, int]

    @staticmethod
    def of(photo: Photo, part: tuple[int, int, int, int]) -> _View:
        """Return the view of a part x0, y0, x1, y1 of the photo [full-size pixels]."""
        x0, y0, x1, y1 = part
        scale = min(1.0, LONG_SIDE / max(x1 - x0, y1 - y0))
        reduction = max(k for k in (1, 2, 4, 8) if k == 1 or scale * k <= 1.0)
        pixels = photo.pixels(reduction)[
            y0 // reduction : -(-y1 // reduction), x0 // reduction : -(-x1 // reduction)
        ]
        size = (max(1, round((x1 - x0) * scale)), max(1, round((y1 - y0) * scale)))
        small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA)
        codes = np.round(np.clip(photo.codes(small), 0.0, 1.0) * 255.0).astype(np.uint8)
        return _View(np.ascontiguousarray(codes), scale, (x0, y0))


class _Drawing:
    """Draws card places on a small photo."""

    def __init__(self, view: _View, traces: Traces) -> None:
        assert traces.card_seen is not None  # noqa: S101 - the caller has looked
        self.view, self.canvas, self.traces = view, view.canvas, traces
        self.seen, self.card = traces.card_seen, traces.card
        self.width = max(1, round(traces.card_seen.px_per_mm * view.scale / 5.0))

    def everything(self, seen: StripSeen, verdicts: Mapping[int, str]) -> None:
        """Draw all that was found."""
        self.shape(_corners((0.0, 0.0, *self.card.size_mm)), FOUND, 2)
        for marker in self.card.markers:
            if marker.id in self.seen.markers:
                self.shape(np.array(marker.corners_mm), FOUND, 1)
        self.shape(_corners(self.card.slot.rect_mm), FOUND, 1)
        strip = self.traces.strip
        if strip is None:
            return
        self.shape(strip.outline_mm, FOUND, 1)
        for pad, quad in zip(strip.pads, strip.quads_mm, strict=True):
            ink = VERDICT_INK.get(verdicts.get(pad, ""), FOUND)
            self.shape(np.asarray(quad), ink, 2)
        self.labels(seen, verdicts)

    def at(self, corners_mm: Array) -> Array:
        """Return canvas pixels of card places (n, 2)."""
        at_px = self.seen.plane.to_photo(np.asarray(corners_mm, np.float64))
        return np.asarray((at_px + 0.5 - self.view.low_px) * self.view.scale - 0.5)

    def shape(self, corners_mm: Array, ink: Colour, weight: int) -> None:
        """Draw a closed shape; its sides follow the lens's bow."""
        shares = np.linspace(0.0, 1.0, 9)[:-1, None]
        following = np.roll(corners_mm, -1, axis=0)
        rim = np.concatenate(
            [a + shares * (b - a) for a, b in zip(corners_mm, following, strict=True)]
        )
        points = [np.round(self.at(rim) * 16).astype(np.int32)]
        for colour, extra in ((CASING, 2), (ink, 0)):
            thick = weight * self.width + extra
            cv2.polylines(self.canvas, points, True, colour, thick, cv2.LINE_AA, 4)

    def labels(self, seen: StripSeen, verdicts: Mapping[int, str]) -> None:
        """Write each pad's number on one side of the slot, show the colour read on the other."""
        strip = self.traces.strip
        assert strip is not None  # noqa: S101 - the caller has looked
        read = {colour.pad: colour.lab for colour in seen.pads}
        picture = Image.fromarray(self.canvas)
        draw = ImageDraw.Draw(picture)
        for pad, quad in zip(strip.pads, strip.quads_mm, strict=True):
            verdict, middle = verdicts.get(pad, ""), np.asarray(quad).mean(axis=0)
            text = f"{pad}{VERDICT_SIGN.get(verdict, '')}"
            ink = VERDICT_INK.get(verdict, FOUND)
            self._plate(draw, middle, 1.0, ink, text)
            lab = read.get(pad)
            if lab is not None:
                shown = np.round(srgb_from_lab(np.clip(lab, -128, 128)) * 255).astype(int)
                self._plate(draw, middle, -1.0, (int(shown[0]), int(shown[1]), int(shown[2])), "")
        self.canvas[:] = np.asarray(picture)

    def _plate(
        self, draw: ImageDraw.ImageDraw, middle_mm: Array, side: float, ink: Colour, text: str
    ) -> None:
        """Draw a small plate beside the slot, level with a pad's middle."""
        x0, y0, width, height = self.card.slot.rect_mm
        along_x = self.card.slot.dip_end in ("left", "right")
        at_mm = np.array(middle_mm, np.float64)
        half, middle = (height / 2, y0 + height / 2) if along_x else (width / 2, x0 + width / 2)
        at_mm[1 if along_x else 0] = middle + side * (half + PLATE_MM / 2 + 0.4)
        corner = at_mm + np.array([PLATE_MM / 2, 0.0])
        (x, y), (end_x, end_y) = self.at(np.array([at_mm, corner]))
        reach = max(float(np.hypot(end_x - x, end_y - y)), 6.0)
        box = (x - reach, y - reach, x + reach, y + reach)
        draw.rounded_rectangle(box, reach / 3, ink, CASING)
        font = ImageFont.load_default(1.35 * reach)
        draw.text((x, y), text, CASING, font, anchor="mm")
