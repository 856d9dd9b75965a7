"""The card as a PDF to print at true scale, alone or on sheets with crop marks.

Colours go out as sRGB. Places are the layout's, to a thousandth of a millimetre.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any

import cv2
import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from reader.card import Card, Lab, Marker, Rect
from reader.encoding import SRGB_TO_XYZ_D50, encode_srgb

SHEETS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Sheet sizes in millimetres, upright."""
EDGE_MM = 5.0
"""Most printers leave this much of a sheet's edge blank."""
GAP_MM = 4.0
"""Between cards, for the crop marks."""
RULER_MM = 40
BLACK, GREY = (0.0, 0.0, 0.0), (0.35, 0.35, 0.35)
SLOT_GROUND: Lab = (45.0, -2.0, -8.0)
"""Printed where a layout names no ground: contrasts with white plastic."""
SERIAL_LENGTH = 24
Writer = Callable[[Any, Card, tuple[float, float]], None]
HINTS = (
    "Lay the dipped strip in the slot, pads up,",
    "dipped end at the arrow. Keep clean and dry.",
)


def draw_sheet(card: Card, sheet: str = "card", serial: str | None = None) -> bytes:
    """Return a PDF of the card at true scale.

    Parameters
    ----------
    card
        The design to draw; nominal colours are what the printer is asked for.
    sheet
        `card`: one page of the card's size. `a4` or `letter`: a sheet with as many cards as fit.
    serial
        What to print on the card, to know it again; several on a sheet are counted from 1.

    Raises
    ------
    ValueError
        If the sheet's name is unknown, the card does not fit on it, or the serial on the card.
    """
    if serial is not None:
        _check_serial(serial)
    if sheet != "card" and sheet not in SHEETS:
        raise ValueError(f"there is no sheet {sheet!r}; choose card, a4 or letter")
    page = card.size_mm if sheet == "card" else _turned(card, SHEETS[sheet])
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(page[0] * mm, page[1] * mm), invariant=1, pageCompression=1)
    canvas.setTitle(f"Reference card {card.design}")
    canvas.setViewerPreference("PrintScaling", "None")
    pen = _Pen(canvas, page[1])
    places = [(0.0, 0.0)] if sheet == "card" else _places(card, page)
    for number, (x, y) in enumerate(places, start=1):
        pen.x, pen.y = x, y
        own = serial if serial is None or len(places) == 1 else f"{serial}-{number}"
        _draw_card(pen, card, own)
        if sheet != "card":
            _draw_crop_marks(pen, card)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _check_serial(serial: str) -> None:
    plain = serial.strip() == serial and serial.isprintable() and serial.isascii()
    if not plain or not 1 <= len(serial) <= SERIAL_LENGTH:
        raise ValueError(
            f"the serial {serial!r} cannot be printed; "
            f"give 1 to {SERIAL_LENGTH} plain letters and figures, for example 2026-1"
        )


def _turned(card: Card, sheet: tuple[float, float]) -> tuple[float, float]:
    """Return the sheet, upright or across, whichever holds more cards."""
    best = max((sheet, sheet[::-1]), key=lambda s: len(_places(card, s)))
    if not _places(card, best):
        raise ValueError(
            f"the card of {card.size_mm[0]:g} x {card.size_mm[1]:g} mm does not fit on the sheet; "
            "print it with --sheet card"
        )
    return best


def _places(card: Card, sheet: tuple[float, float]) -> list[tuple[float, float]]:
    """Return the top left corners of the cards on a sheet, centred."""
    starts = []
    for size, room in zip(card.size_mm, sheet, strict=True):
        count = int((room - 2 * EDGE_MM + GAP_MM) / (size + GAP_MM))
        first = (room - count * size - (count - 1) * GAP_MM) / 2
        starts.append([first + i * (size + GAP_MM) for i in range(count)])
    return [(x, y) for y in starts[1] for x in starts[0]]


class _Pen:
    """Draws in millimetres from a card's top left corner, y down."""

    def __init__(self, canvas: Canvas, page_height_mm: float) -> None:
        self.canvas = canvas
        self.height = page_height_mm
        self.x = self.y = 0.0

    def rects(self, rects: Sequence[Rect], colour: Sequence[float]) -> None:
        """Fill rectangles in one path, so that no seam shows between neighbours."""
        self.canvas.setFillColorRGB(*colour)
        path = self.canvas.beginPath()
        for x, y, w, h in rects:
            path.rect((self.x + x) * mm, (self.height - self.y - y - h) * mm, w * mm, h * mm)
        self.canvas.drawPath(path, stroke=0, fill=1)

    def polygon(self, points: Sequence[tuple[float, float]], colour: Sequence[float]) -> None:
        """Fill a polygon."""
        self.canvas.setFillColorRGB(*colour)
        path = self.canvas.beginPath()
        for i, (x, y) in enumerate(points):
            step = path.lineTo if i else path.moveTo
            step((self.x + x) * mm, (self.height - self.y - y) * mm)
        path.close()
        self.canvas.drawPath(path, stroke=0, fill=1)

    def line(self, start: tuple[float, float], end: tuple[float, float], width: float) -> None:
        """Draw a thin black line."""
        self.canvas.setStrokeColorRGB(*BLACK)
        self.canvas.setLineWidth(width * mm)
        (x0, y0), (x1, y1) = start, end
        self.canvas.line(
            (self.x + x0) * mm, (self.height - self.y - y0) * mm,
            (self.x + x1) * mm, (self.height - self.y - y1) * mm,
        )  # fmt: skip

    def text(self, at: tuple[float, float], text: str, size: float, bold: bool = False) -> None:
        """Write from the left; `at` is the start of the base line."""
        self.canvas.setFillColorRGB(*(BLACK if bold else GREY))
        self.canvas.setFont("Helvetica-Bold" if bold else "Helvetica", size)
        self.canvas.drawString((self.x + at[0]) * mm, (self.height - self.y - at[1]) * mm, text)


def srgb_of(lab: Lab) -> tuple[float, float, float]:
    """Return the sRGB code values 0 to 1 of a colour (CIELAB, D50), clamped to what sRGB holds."""
    lightness, a, b = lab
    f = np.array([(lightness + 16) / 116 + a / 500, (lightness + 16) / 116, 0.0])
    f[2] = f[1] - b / 200
    white = SRGB_TO_XYZ_D50.sum(axis=1)
    xyz = white * np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29))
    linear = np.clip(np.linalg.solve(SRGB_TO_XYZ_D50, xyz), 0.0, 1.0).astype(np.float32)
    red, green, blue = (float(v) for v in np.clip(encode_srgb(linear), 0, 1))
    return red, green, blue


def _draw_card(pen: _Pen, card: Card, serial: str | None) -> None:
    pen.rects([card.slot.rect_mm], srgb_of(card.slot.ground_lab or SLOT_GROUND))
    for patch in card.patches:
        pen.rects([patch.rect_mm], srgb_of(patch.lab))
    for marker in card.markers:
        _draw_marker(pen, marker)
    _draw_arrow(pen, card)
    _draw_words(pen, card, serial)


def _draw_marker(pen: _Pen, marker: Marker) -> None:
    """Draw one black square and the white cells over it."""
    (x, y), (right, _), *_ = marker.corners_mm
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, marker.dictionary))
    cells = dictionary.markerSize + 2
    side = (right - x) / cells
    code = cv2.aruco.generateImageMarker(dictionary, marker.id, cells)
    pen.rects([(x, y, right - x, right - x)], BLACK)
    pen.rects(
        [(x + c * side, y + r * side, n * side, side) for r, c, n in _runs(np.asarray(code) > 127)],
        (1.0, 1.0, 1.0),
    )


def _runs(white: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Iterator[tuple[int, int, int]]:
    """Yield row, first column and length of each run of white cells."""
    for row, cells in enumerate(white):
        steps = np.diff(np.concatenate([[0], cells.astype(int), [0]]))
        for start, stop in zip(
            np.flatnonzero(steps == 1), np.flatnonzero(steps == -1), strict=True
        ):
            yield row, int(start), int(stop - start)


def _draw_arrow(pen: _Pen, card: Card) -> None:
    """Draw an arrow ahead of the slot's dipped end, pointing out of the slot."""
    x, y, w, h = card.slot.rect_mm
    tip, along = {
        "left": ((x - 2.0, y + h / 2), (-1.0, 0.0)),
        "right": ((x + w + 2.0, y + h / 2), (1.0, 0.0)),
        "top": ((x + w / 2, y - 2.0), (0.0, -1.0)),
        "bottom": ((x + w / 2, y + h + 2.0), (0.0, 1.0)),
    }[card.slot.dip_end]
    shape = [(0.0, -0.7), (5.0, -0.7), (5.0, -2.2), (9.0, 0.0), (5.0, 2.2), (5.0, 0.7), (0.0, 0.7)]
    pen.polygon(
        [
            (tip[0] + a * along[0] - b * along[1], tip[1] + a * along[1] + b * along[0])
            for a, b in shape
        ],
        GREY,
    )


def _draw_words(pen: _Pen, card: Card, serial: str | None) -> None:
    """Write name, hints and the ruler into the card's free places, where they are free."""
    width, height = card.size_mm
    free = [
        (x, y)
        for y in (4.0, height - 14.0)
        for x in (17.5, width / 2 + 8.5)
        if _is_free(card, (x, y, 44.0, 10.0))
    ]
    name: Writer = partial(_write_name, serial=serial)
    writers: list[Writer] = [name, _write_hints, _draw_ruler, _write_dates]
    for writer, place in zip(writers, free, strict=False):
        writer(pen, card, place)
    _write_dip_end(pen, card)


def _is_free(card: Card, rect: Rect) -> bool:
    """Say whether nothing that is measured lies in or near a rectangle."""
    boxes = [p.rect_mm for p in card.patches] + [card.slot.rect_mm]
    for marker in card.markers:
        (x, y), _, (right, low), _ = marker.corners_mm
        boxes.append((x, y, right - x, low - y))
    u, v, r, s = rect
    inside = u >= 0 and v >= 0 and u + r <= card.size_mm[0] and v + s <= card.size_mm[1]
    return inside and all(
        max(u - x - w, x - u - r, v - y - h, y - v - s) >= 1.0 for x, y, w, h in boxes
    )


def _write_name(pen: _Pen, card: Card, at: tuple[float, float], serial: str | None = None) -> None:
    lift = 1.2 if serial else 0.0
    pen.text((at[0], at[1] + 4.5 - lift), "Dipstep reference card", 10, bold=True)
    pen.text((at[0], at[1] + 8.6 - 1.8 * lift), f"Design {card.design}, for matte paper", 6)
    if serial:
        pen.text((at[0], at[1] + 9.6), f"Serial {serial}", 6.5, bold=True)


def _write_hints(pen: _Pen, card: Card, at: tuple[float, float]) -> None:
    del card
    for line, hint in enumerate(HINTS):
        pen.text((at[0], at[1] + 4.0 + 3.2 * line), hint, 6)


def _draw_ruler(pen: _Pen, card: Card, at: tuple[float, float]) -> None:
    del card
    x, y = at[0] + 2.0, at[1] + 3.0
    pen.line((x, y), (x + RULER_MM, y), 0.2)
    for tick in range(RULER_MM + 1):
        long = 2.4 if tick % 10 == 0 else 1.8 if tick % 5 == 0 else 1.1
        pen.line((x + tick, y), (x + tick, y + long), 0.15)
    text = f"This ruler is {RULER_MM} mm long. If not, print again at 100 %."
    pen.text((at[0], at[1] + 9.0), text, 5.5)


def _write_dates(pen: _Pen, card: Card, at: tuple[float, float]) -> None:
    del card
    for line, word in enumerate(("Printed on", "Measured on")):
        y = at[1] + 4.0 + 5.0 * line
        pen.text((at[0], y), word, 6)
        pen.line((at[0] + 14.0, y + 0.3), (at[0] + 42.0, y + 0.3), 0.1)


def _write_dip_end(pen: _Pen, card: Card) -> None:
    x, y, _, h = card.slot.rect_mm
    at = (x - 16.0, y + h / 2 - 3.4)
    if card.slot.dip_end == "left" and _is_free(card, (at[0], at[1] - 1.8, 14.0, 2.0)):
        pen.text(at, "dipped end", 6.5, bold=True)


def _draw_crop_marks(pen: _Pen, card: Card) -> None:
    """Draw short lines outside the card's corners to cut along."""
    width, height = card.size_mm
    for x, outward_x in ((0.0, -1), (width, 1)):
        for y, outward_y in ((0.0, -1), (height, 1)):
            pen.line((x + outward_x * 0.8, y), (x + outward_x * 3.2, y), 0.1)
            pen.line((x, y + outward_y * 0.8), (x, y + outward_y * 3.2), 0.1)
