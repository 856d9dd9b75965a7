"""The flattened card with what was found: what the reader believes it looks at."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from skimage.transform import resize

from reader.inks import CASING, FOUND, VERDICT_INK, Canvas, encoded
from reader.lab import delta_e00, srgb_from_lab
from reader.read_strip import StripSeen, Traces

PX_PER_MM = 8.0


def draw_flat(seen: StripSeen) -> bytes | None:
    """Return a JPEG of the flattened card, or None where no card was found.

    Each patch shows, in its lower right half, the colour that the card's file says it has, as the
    fitted camera would show it as seen now: where the diagonal is invisible, the fit is good. Its
    leave-one-out error stands below it; patches left out are crossed.
    """
    traces = seen.traces
    if traces is None or traces.flat is None or traces.fit is None:
        return None
    canvas = _flat_canvas(traces)
    picture = Image.fromarray(canvas)
    _draw_patches(ImageDraw.Draw(picture), traces)
    canvas = np.array(picture)
    if traces.strip is not None:
        for quad in [traces.strip.outline_mm, *traces.strip.quads_mm]:
            _outline(canvas, np.asarray(quad))
    return encoded(canvas)


def _flat_canvas(traces: Traces) -> Canvas:
    """Return the flattened card after correction, so that it looks as under D50."""
    assert traces.flat is not None  # noqa: S101 - the caller has looked
    assert traces.fit is not None  # noqa: S101
    assert traces.light is not None  # noqa: S101
    width, height = (round(side * PX_PER_MM) for side in traces.card.size_mm)
    half = (width // 2, height // 2)
    rgb = cv2.resize(np.nan_to_num(traces.flat.rgb, nan=0.0), half, interpolation=cv2.INTER_AREA)
    coarse = np.stack(np.meshgrid(np.arange(half[0] / 8), np.arange(half[1] / 8)), axis=-1)
    at_mm = (coarse.reshape(-1, 2) + 0.5) * 16.0 / PX_PER_MM
    white = cv2.resize(traces.light.code_at(at_mm).reshape((*coarse.shape[:2], 3)), half)
    code = rgb.reshape(-1, 3).astype(np.float64)
    lab = traces.fit.quick(code, np.asarray(white, np.float64).reshape(-1, 3))
    shown = np.round(srgb_from_lab(np.clip(lab, [0, -128, -128], [100, 128, 128])) * 255)
    small = shown.reshape(half[1], half[0], 3)
    return np.asarray(resize(small, (height, width), order=1, preserve_range=True), np.uint8)


def _draw_patches(draw: ImageDraw.ImageDraw, traces: Traces) -> None:
    assert traces.fit is not None  # noqa: S101 - the caller has looked
    fit = traces.fit
    error = delta_e00(np.clip(fit.loo_lab, -300, 300), fit.samples.lab)
    known = np.round(srgb_from_lab(fit.samples.lab) * 255).astype(int)
    font = ImageFont.load_default(1.5 * PX_PER_MM)
    for patch, off, used, colour in zip(traces.card.patches, error, fit.used, known, strict=True):
        x, y, w, h = (v * PX_PER_MM for v in patch.rect_mm)
        corners = [(x + w, y), (x + w, y + h), (x, y + h)]
        draw.polygon(corners, tuple(int(v) for v in colour))
        if not used:
            _cross(draw, (x, y, x + w, y + h))
        ink = FOUND if off < 1.5 else VERDICT_INK["recheck"]
        draw.text((x + w / 2, y + h), f"{patch.id} {off:.1f}", ink, font, anchor="mt")


def _cross(draw: ImageDraw.ImageDraw, box: Sequence[float]) -> None:
    x0, y0, x1, y1 = box
    for line in ((x0, y0, x1, y1), (x0, y1, x1, y0)):
        draw.line(line, VERDICT_INK["unreadable"], 3)


def _outline(canvas: Canvas, quad_mm: NDArray[np.float64]) -> None:
    points = [np.round((quad_mm * PX_PER_MM - 0.5) * 16).astype(np.int32)]
    for colour, thick in ((CASING, 4), (FOUND, 2)):
        cv2.polylines(canvas, points, True, colour, thick, cv2.LINE_AA, 4)
