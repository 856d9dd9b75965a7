"""The card in the photo: its coded markers, the plane they span, and whether to trust it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card, Marker, Rect
from reader.marker_edges import MarkerEdges
from reader.photo import Photo
from reader.plane import Plane, fit_plane, straight_plane

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]

WORK_SIDE = 1400
"""Markers are looked for first in a picture no longer than this, then in finer ones."""
PAIR_MM = 1.2
"""Corners of two markers of one card agree on a plane at least this well."""
RESIDUAL_LIMIT_MM = 1.0
"""Markers that miss the common plane by more are no markers of this card."""
BENT_MM = 0.25
"""Above this typical miss of the corners the card is bent or its print distorted."""
MARKERS_ENOUGH = 4
"""So many markers found at first place the card well enough to meet the others."""
SMALLEST_PX_PER_MM = 3.2
"""Below this a pad of 5 mm has less than 16 pixels a side."""
CUT_MM = 2.0
"""So much of the bare rim may lie outside the photo, or was cut off with scissors."""
TILT_LIMIT_DEG = 55.0
CONTRAST_OF_A_CARD, SOFT_SLOPE = 60.0, 0.125
DARK_GREY, BRIGHT_GREY = 40.0, 250.0
"""A photo with hardly a pixel above the first, or half of them above the second, is badly lit."""
BLURRED_MM, TOO_BLURRED_MM = 0.35, 0.75
"""Standard deviation of the edge's spread. A pad's middle half lies 1.25 mm from its edge."""


@dataclass(frozen=True, eq=False)
class CardSeen:
    """The card as it lies in the photo."""

    plane: Plane
    size_mm: tuple[float, float]
    """The card's size."""
    markers: tuple[int, ...]
    """Ids of the markers that placed it."""
    residual_mm: float
    """Root mean square miss of the markers' corners."""
    px_per_mm: float
    """Photo pixels (full size) a millimetre at the slot, mean of both directions."""
    tilt_deg: float
    blur_mm: float
    """Standard deviation of the spread of an edge, in the worse direction."""
    reasons: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Find:
    """A marker of the card found in the photo."""

    marker: Marker
    corners_px: Array
    """Shape (4, 2), full-size pixels."""

    @property
    def corners_mm(self) -> Array:
        """Corner places on the card, shape (4, 2)."""
        return np.array(self.marker.corners_mm, np.float64)


def find_card(photo: Photo, card: Card) -> CardSeen | None:
    """Return where the card lies, or None where no two of its markers agree on a plane."""
    best: CardSeen | None = None
    for grey, reduction, settings in _attempts(photo):
        finds = _markers(grey, reduction, card, settings)
        chosen = _agreeing(finds, photo.size)
        if chosen is None:
            continue
        seen = _seen(photo, card, finds, chosen, grey, reduction)
        if seen is None or (best is not None and len(best.markers) >= len(seen.markers)):
            return best
        # The plane of two or three markers strays far from them: one plainer look may find more.
        if best or len(chosen) >= MARKERS_ENOUGH or len(seen.markers) == len(card.markers):
            return seen
        best = seen
    return best


def find_two(photo: Photo, card: Card) -> tuple[CardSeen, CardSeen] | None:
    """Return where two cards of one design lie, in no order; None where two are not seen."""
    for grey, reduction, settings in _attempts(photo):
        finds = _markers(grey, reduction, card, settings)
        pair: list[CardSeen] = []
        while len(pair) < 2 and (chosen := _agreeing(finds, photo.size)) is not None:
            seen = _seen(photo, card, chosen, chosen, grey, reduction)
            if seen is None:
                break
            pair.append(seen)
            finds = _away(finds, seen.plane)
        if len(pair) == 2:
            return pair[0], pair[1]
    return None


def why_no_card(photo: Photo, card: Card) -> tuple[str, ...]:
    """Return `no_card` and the likely cause, for a photo in which `find_card` found none."""
    grey = _grey(photo, _work_reduction(photo))
    if _is_soft(grey):
        return "no_card", "nothing_sharp"
    low, middle, high = np.percentile(grey, (1, 50, 99))
    if high < DARK_GREY or (middle >= BRIGHT_GREY and high - low > CONTRAST_OF_A_CARD / 2):
        return "no_card", "underexposed" if high < DARK_GREY else "overexposed"
    finds = _markers(grey, _work_reduction(photo), card, _settings("tuned"))
    return ("no_card", "card_cut_off") if finds else ("no_card",)


def _is_soft(grey: Grey) -> bool:
    """Say whether nothing in the picture has a sharp edge in one direction or any.

    The steepest slopes in each of eight directions are set against the range of values. Sharp
    photos of cards reach 0.15 and more in every direction, those too soft to find one 0.13 and
    less. A picture with little contrast holds no card anyway.
    """
    if min(grey.shape) < 24:
        return False
    calm = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 1.5)
    low, high = np.percentile(calm, (1, 99))
    if high - low < CONTRAST_OF_A_CARD:
        return False
    across, down = (cv2.Sobel(calm, cv2.CV_32F, *way) / 8 for way in ((1, 0), (0, 1)))
    angles = np.arange(8) * np.pi / 8
    slopes = [np.percentile(np.abs(np.cos(a) * across + np.sin(a) * down), 99.8) for a in angles]
    return bool(min(slopes) < SOFT_SLOPE * (high - low))


def _attempts(photo: Photo) -> Iterator[tuple[Grey, int, Any]]:
    """Yield pictures to look at and how: the quick way first, the patient ways after."""
    work = _work_reduction(photo)
    grey = _grey(photo, work)
    for name in ("fast", "plain", "tuned"):
        yield grey, work, _settings(name)
    for finer in sorted({max(work // 2, 1), 1} - {work}, reverse=True):
        yield _grey(photo, finer), finer, _settings("tuned")
    if max(photo.size) / work > 900:
        yield _grey(photo, 2 * work), 2 * work, _settings("tuned")


def _work_reduction(photo: Photo) -> int:
    reduction = photo.base
    while max(photo.size) / reduction > WORK_SIDE:
        reduction *= 2
    return reduction


def _grey(photo: Photo, reduction: int) -> Grey:
    pixels = photo.pixels(reduction)
    if pixels.dtype == np.uint16:
        pixels = (pixels >> 8).astype(np.uint8)
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), np.uint8)


def _settings(name: str) -> Any:
    """Return detector settings.

    `fast` looks at a smaller copy and misses small markers, `plain` at one threshold; the figures
    of `tuned` were found by trial on blurred pictures.
    """
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.minMarkerPerimeterRate = 0.01
    if name != "tuned":
        settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 15
        settings.minMarkerPerimeterRate = 0.02
    settings.useAruco3Detection = name == "fast"
    if name == "tuned":
        settings.adaptiveThreshWinSizeMin = 5
        settings.adaptiveThreshWinSizeMax = 53
        settings.adaptiveThreshWinSizeStep = 12
        settings.polygonalApproxAccuracyRate = 0.05
        settings.perspectiveRemovePixelPerCell = 8
        settings.errorCorrectionRate = 0.8
    return settings


def _markers(grey: Grey, reduction: int, card: Card, settings: Any) -> list[_Find]:
    """Return what looks like the card's markers; the same id may come twice."""
    finds = []
    if min(grey.shape) < 24:
        return []
    for name in sorted({marker.dictionary for marker in card.markers}):
        wanted = {m.id: m for m in card.markers if m.dictionary == name}
        dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name))
        corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(grey)
        for places, number in zip(corners, [] if ids is None else ids.ravel(), strict=True):
            if int(number) in wanted:
                at_px = (places.reshape(4, 2).astype(np.float64) + 0.5) * reduction - 0.5
                finds.append(_Find(wanted[int(number)], at_px))
    return finds


def _agreeing(finds: Sequence[_Find], size_px: tuple[int, int]) -> list[_Find] | None:
    """Return the largest set of markers that lie on one plane as the card's do."""
    numbers = {f.marker.id for f in finds}
    if 2 <= len(finds) == len(numbers):
        plane = straight_plane(*_pairs(finds), size_px)
        if plane is not None and _misses_mm(finds, plane).max() < PAIR_MM / 2:
            return list(finds)
    return _best_of_pairs(finds, size_px)


def _best_of_pairs(finds: Sequence[_Find], size_px: tuple[int, int]) -> list[_Find] | None:
    """Return the markers that agree with the best pair of them."""
    best: list[_Find] | None = None
    best_miss = np.inf
    for first, second in combinations(finds, 2):
        if first.marker.id == second.marker.id:
            continue
        plane = straight_plane(*_pairs([first, second]), size_px)
        if plane is None:
            continue
        near = _near(finds, plane)
        miss = float(_misses_mm(near, plane).sum()) if near else 0.0
        if len(near) >= 2 and (best is None or (-len(near), miss) < (-len(best), best_miss)):
            best, best_miss = near, miss
    return best


def _near(finds: Sequence[_Find], plane: Plane) -> list[_Find]:
    """Return the finds that fit the plane, the better one of two with the same id."""
    chosen: dict[int, _Find] = {}
    misses = _misses_mm(finds, plane)
    for i in np.argsort(misses, kind="stable"):
        # Seen from two markers side by side, a far one is predicted less well.
        if misses[i] < PAIR_MM:
            chosen.setdefault(finds[i].marker.id, finds[i])
    return list(chosen.values())


def _misses_mm(finds: Sequence[_Find], plane: Plane) -> Array:
    """Return by how much the corners of each find (n,), at least one, miss the plane."""
    at_mm, at_px = _pairs(finds)
    off = (plane.to_card(at_px) - at_mm).reshape(len(finds), -1)
    return np.asarray(np.sqrt(np.mean(off**2, axis=1)))


def _away(finds: Sequence[_Find], plane: Plane) -> list[_Find]:
    """Return the finds that do not belong to a card in this plane."""
    if not finds:
        return []
    misses = _misses_mm(finds, plane)
    return [f for f, miss in zip(finds, misses, strict=True) if miss > 3 * PAIR_MM]


def _pairs(finds: Sequence[_Find]) -> tuple[Array, Array]:
    """Return the corners of finds in millimetres and in pixels."""
    return np.vstack([f.corners_mm for f in finds]), np.vstack([f.corners_px for f in finds])


def _seen(
    photo: Photo,
    card: Card,
    finds: Sequence[_Find],
    chosen: list[_Find],
    grey: Grey,
    reduction: int,
) -> CardSeen | None:
    plane = fit_plane(*_pairs(chosen), photo.size)
    if plane is None or not plane.is_sound(card.size_mm):
        return None
    reduction = min(reduction, photo.base)
    grey = _grey(photo, reduction)
    chosen, plane, edges = _sharpened(grey, reduction, plane, chosen, photo.size)
    while more := _overlooked(grey, reduction, card, plane, chosen):
        # With each marker the plane gets truer, so that farther ones are met.
        chosen, plane, edges = _sharpened(grey, reduction, plane, [*chosen, *more], photo.size)
    residual = float(np.sqrt(2 * np.mean(_misses_mm(chosen, plane) ** 2)))
    if residual > RESIDUAL_LIMIT_MM or not plane.is_sound(card.size_mm):
        return None
    middle = np.array([_middle(card.slot.rect_mm)])
    seen = CardSeen(
        plane=plane,
        size_mm=card.size_mm,
        markers=tuple(sorted(f.marker.id for f in chosen)),
        residual_mm=residual,
        px_per_mm=float(np.sqrt(np.prod(plane.px_per_mm(middle)))),
        tilt_deg=plane.tilt_deg(middle[0]),
        blur_mm=edges.blur_mm(),
        reasons=(),
    )
    return replace(seen, reasons=tuple(_reasons(seen, photo, card, finds)))


def _sharpened(
    grey: Grey, reduction: int, plane: Plane, chosen: list[_Find], size_px: tuple[int, int]
) -> tuple[list[_Find], Plane, MarkerEdges]:
    """Return the markers with corners from their edges, the plane through them, and the edges."""
    edges = MarkerEdges.seen(grey, reduction, plane, [f.corners_mm for f in chosen])
    corners = edges.corners_px([f.corners_px for f in chosen])
    finds = [_Find(f.marker, c) for f, c in zip(chosen, corners, strict=True)]
    return finds, fit_plane(*_pairs(finds), size_px) or plane, edges


def _overlooked(
    grey: Grey, reduction: int, card: Card, plane: Plane, chosen: Sequence[_Find]
) -> list[_Find]:
    """Return markers the detector missed whose cells show their code where they must lie."""
    known = {f.marker.id for f in chosen}
    finds = []
    for marker in card.markers:
        corners_mm = np.array(marker.corners_mm, np.float64)
        if marker.id not in known and _shows(grey, reduction, plane, marker, corners_mm):
            finds.append(_Find(marker, plane.to_photo(corners_mm)))
    return finds


def _shows(grey: Grey, reduction: int, plane: Plane, marker: Marker, corners_mm: Array) -> bool:
    """Say whether the cells at a marker's place show its code, but for at most one cell."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, marker.dictionary))
    cells = dictionary.markerSize + 2
    code = np.asarray(cv2.aruco.generateImageMarker(dictionary, marker.id, cells)) > 127
    middles = (np.arange(cells) + 0.5) / cells
    down, right = corners_mm[3] - corners_mm[0], corners_mm[1] - corners_mm[0]
    at_mm = corners_mm[0] + middles[:, None, None] * down + middles[None, :, None] * right
    at_px = (plane.to_photo(at_mm.reshape(-1, 2)) + 0.5) / reduction - 0.5
    x, y = (v.reshape(cells, cells).astype(np.float32) for v in at_px.T)
    seen = np.asarray(cv2.remap(grey, x, y, cv2.INTER_LINEAR), np.float64)
    black, white = seen[~code].mean(), seen[code].mean()
    told = (seen > (black + white) / 2) == code
    return bool(white - black > 25 and np.sum(~told) <= 1)


def _middle(rect: Rect) -> tuple[float, float]:
    return rect[0] + rect[2] / 2, rect[1] + rect[3] / 2


def _reasons(seen: CardSeen, photo: Photo, card: Card, finds: Sequence[_Find]) -> Iterator[str]:
    """Yield what is doubtful about the card's place."""
    inside = _inside(seen.plane, photo.size, card)
    if not inside.all():
        yield "card_cut_off"
    elif len(seen.markers) < len(card.markers):
        yield "card_covered"
    if _has_second_card(finds, seen, photo.size):
        yield "two_cards"
    if seen.residual_mm > BENT_MM:
        yield "card_bent"
    if seen.px_per_mm < SMALLEST_PX_PER_MM:
        yield "card_small"
    if seen.tilt_deg > TILT_LIMIT_DEG:
        yield "card_tilted"
    if seen.blur_mm > BLURRED_MM:
        yield "too_blurred" if seen.blur_mm > TOO_BLURRED_MM else "blurred"


def _inside(plane: Plane, size_px: tuple[int, int], card: Card) -> NDArray[np.bool_]:
    """Say for each corner of what is printed, and of the card itself, whether it is seen."""
    corners = [c for m in card.markers for c in m.corners_mm]
    x, y = card.size_mm
    sheet = (CUT_MM, CUT_MM, x - 2 * CUT_MM, y - 2 * CUT_MM)
    for x, y, w, h in [sheet, *(p.rect_mm for p in card.patches), card.slot.rect_mm]:
        corners += [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
    at_px = plane.to_photo(np.array(corners))
    return np.asarray(np.all((at_px >= -0.5) & (at_px <= np.array(size_px) - 0.5), axis=1))


def _has_second_card(finds: Sequence[_Find], seen: CardSeen, size_px: tuple[int, int]) -> bool:
    """Say whether markers away from the card agree on another one."""
    second = _agreeing(_away(finds, seen.plane), size_px)
    plane = None if second is None else fit_plane(*_pairs(second), size_px)
    return plane is not None and bool(np.linalg.det(plane.matrix) > 0)
