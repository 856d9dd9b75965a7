"""The flattened card with what was found: what the reader believes it looks at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from skimage.transform import resize

from reader.inks import CASING, FOUND, VERDICT_INK, VERDICT_SIGN, Canvas, Colour, encoded
from reader.lab import delta_e00, srgb_from_lab
from reader.read_strip import StripSeen, Traces
from reader.reasons import REASONS

PX_PER_MM = 8.0


PLATE_PX = 24.0
"""Side of the plates that carry the pads' numbers; the white beside the slot has 32."""
TEXT_PX, LINE_PX, EDGE_PX = 15.0, 24.0, 28.0
LEGEND = (
    "Each patch: upper left as seen and corrected, lower right as the card's file has it; "
    "no diagonal to be seen is a good fit.",
    "Below it: its name and how far the others would miss it (CIEDE2000), orange from 1.5 on. "
    "Crossed out: not used.",
)
WEIGHT_INK = {
    "note": FOUND,
    "doubt": VERDICT_INK["recheck"],
    "spoils": VERDICT_INK["unreadable"],
}
VERDICT_MEANS = {
    "accepted": "pad accepted",
    "recheck": "pad to be checked by hand",
    "unreadable": "pad that cannot be told",
}
PAPER: Colour = (255, 255, 255)
MOST_SENTENCES = 4


def draw_flat(seen: StripSeen, verdicts: Mapping[int, str] | None = None) -> bytes | None:
    """Return a JPEG of the flattened card, or None where no card was found.

    Each patch shows, in its lower right half, the colour that the card's file says it has, as the
    fitted camera would show it as seen now: where the diagonal is invisible, the fit is good. Its
    leave-one-out error stands below it; patches left out are crossed. Pads bear their numbers, in
    the colour of their verdict ("accepted", "recheck", "unreadable") where `verdicts` tells it.
    What is said of the photo, and what the marks mean, stands below the card.
    """
    traces, told = seen.traces, verdicts or {}
    if traces is None or traces.flat is None or traces.fit is None:
        return None
    picture = Image.fromarray(_flat_canvas(traces))
    _draw_patches(ImageDraw.Draw(picture), traces)
    canvas = np.array(picture)
    if traces.strip is not None:
        _outline(canvas, np.asarray(traces.strip.outline_mm), FOUND)
        for pad, quad in zip(traces.strip.pads, traces.strip.quads_mm, strict=True):
            _outline(canvas, np.asarray(quad), VERDICT_INK.get(told.get(pad, ""), FOUND))
    picture = Image.fromarray(canvas)
    _number_pads(ImageDraw.Draw(picture), traces, told)
    return encoded(np.asarray(_with_words(picture, seen, told)))


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
        at, words = (x + w / 2, y + h + 4.0), f"{patch.id} {off:.1f}"
        # On an overexposed card the ground is as grey as the ink.
        draw.text(at, words, ink, font, anchor="mt", stroke_width=1, stroke_fill=CASING)


def _cross(draw: ImageDraw.ImageDraw, box: Sequence[float]) -> None:
    x0, y0, x1, y1 = box
    for line in ((x0, y0, x1, y1), (x0, y1, x1, y0)):
        draw.line(line, VERDICT_INK["unreadable"], 3)


def _outline(canvas: Canvas, quad_mm: NDArray[np.float64], ink: Colour) -> None:
    points = [np.round((quad_mm * PX_PER_MM - 0.5) * 16).astype(np.int32)]
    for colour, thick in ((CASING, 4), (ink, 2)):
        cv2.polylines(canvas, points, True, colour, thick, cv2.LINE_AA, 4)


def _number_pads(draw: ImageDraw.ImageDraw, traces: Traces, verdicts: Mapping[int, str]) -> None:
    """Write each pad's number beside the slot, on the side where no patch has its words."""
    if traces.strip is None:
        return
    x, y, width, height = traces.card.slot.rect_mm
    along_x = traces.card.slot.dip_end in ("left", "right")
    for pad, quad in zip(traces.strip.pads, traces.strip.quads_mm, strict=True):
        middle = np.asarray(quad).mean(axis=0) * PX_PER_MM
        beside = (y + height if along_x else x + width) * PX_PER_MM + 4.0 + PLATE_PX / 2
        at = (float(middle[0]), beside) if along_x else (beside, float(middle[1]))
        _plate(draw, at, str(pad), verdicts.get(pad, ""))


def _plate(draw: ImageDraw.ImageDraw, at: tuple[float, float], text: str, verdict: str) -> None:
    (x, y), half = at, PLATE_PX / 2
    box = (x - half, y - half, x + half, y + half)
    draw.rounded_rectangle(box, half / 3, VERDICT_INK.get(verdict, FOUND), CASING)
    signed = text + VERDICT_SIGN.get(verdict, "")
    draw.text((x, y), signed, CASING, ImageFont.load_default(TEXT_PX), anchor="mm")


def _with_words(picture: Image.Image, seen: StripSeen, verdicts: Mapping[int, str]) -> Image.Image:
    """Return the card with what is said of the photo, and what the marks mean, below it."""
    font, width = ImageFont.load_default(TEXT_PX), picture.width
    letters = int((width - 2 * EDGE_PX) / (0.52 * TEXT_PX))
    known = [REASONS[code] for code in seen.reasons if code in REASONS]
    weights = ("spoils", "doubt", "note")
    heavy = sorted(known, key=lambda one: weights.index(one.weight))[:MOST_SENTENCES]
    said = [
        (line, WEIGHT_INK[one.weight])
        for one in heavy
        for line in wrap(f"{one.sentence} {one.cure}", letters)
    ]
    said += [(line, FOUND) for text in LEGEND for line in wrap(text, letters)]
    plates = [one for one in VERDICT_SIGN if one in verdicts.values()]
    lines = len(said) + bool(plates)
    whole = Image.new("RGB", (width, picture.height + round(LINE_PX * (lines + 1))), PAPER)
    whole.paste(picture, (0, 0))
    draw, y = ImageDraw.Draw(whole), picture.height + LINE_PX
    for text, ink in said:
        draw.text((EDGE_PX, y), text, ink, font, anchor="lm")
        y += LINE_PX
    x = EDGE_PX + PLATE_PX / 2
    for verdict in plates:
        _plate(draw, (x, y), "1", verdict)
        draw.text((x + PLATE_PX, y), VERDICT_MEANS[verdict], FOUND, font, anchor="lm")
        x += 2.5 * PLATE_PX + font.getlength(VERDICT_MEANS[verdict])
    return whole
