"""Where the camera stands: card millimetres to photo pixels, with lens bow and curled paper.

Pixel centres lie at whole numbers. The plane's homography holds for the ideal lens; the bow moves
points along their radius: r_seen = r (1 + k r^2), r in half diagonals.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.render.spectra import Array

Map = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Pose:
    """One camera's stand."""

    width_px: int
    height_px: int
    homography: Array
    """Card mm to ideal photo px, shape (3, 3)."""
    bow: float
    """Lens bow k; negative is barrel."""
    curl_mm: float
    """How far the card's ends are displaced by the paper's curl, along its short side."""
    tilt_deg: float
    roll_deg: float
    middle_mm: tuple[float, float]

    def to_px(self, at_mm: Array) -> Array:
        """Seen photo pixels of card points, (n, 2) -> (n, 2)."""
        bent = np.asarray(at_mm, dtype=float).copy()
        bent[:, 1] += self.curl(bent[:, 0])
        ideal = cv2.perspectiveTransform(bent[None], self.homography)[0]
        centre, half = self.lens()
        off = ideal - centre
        r2 = (off**2).sum(axis=1, keepdims=True) / half**2
        return centre + off * (1.0 + self.bow * r2)

    def curl(self, x_mm: Array) -> Array:
        """Displacement [mm] at a place along the card."""
        return self.curl_mm * (((x_mm - self.middle_mm[0]) / 70.0) ** 2 - 0.3)

    def lens(self) -> tuple[Array, float]:
        """Centre [px] and half diagonal [px]."""
        centre = np.array([(self.width_px - 1) / 2.0, (self.height_px - 1) / 2.0])
        return centre, float(np.hypot(self.width_px, self.height_px) / 2.0)

    def mm_grid(self, step: int, left: int, top: int, right: int, bottom: int) -> tuple[Map, Map]:
        """Card mm seen at every `step`-th pixel of a window: two maps (rows, columns)."""
        centre, half = self.lens()
        middle = (step - 1) / 2.0
        u = (np.arange(left, right, step, dtype=np.float32) + float(middle - centre[0]))[None, :]
        v = (np.arange(top, bottom, step, dtype=np.float32) + float(middle - centre[1]))[:, None]
        r2 = (u**2 + v**2) / half**2
        # Two rounds of the inverse suffice for the bows drawn here.
        ideal = 1.0 / (1.0 + self.bow * r2 / (1.0 + self.bow * r2) ** 2)
        x, y = u * ideal + float(centre[0]), v * ideal + float(centre[1])
        # Plain floats keep the arrays at single precision.
        back = np.linalg.inv(self.homography / self.homography[2, 2]).tolist()
        w = back[2][0] * x + back[2][1] * y + back[2][2]
        x_mm = ((back[0][0] * x + back[0][1] * y + back[0][2]) / w).astype(np.float32)
        y_mm = ((back[1][0] * x + back[1][1] * y + back[1][2]) / w).astype(np.float32)
        if self.curl_mm:
            y_mm = (y_mm - self.curl(x_mm)).astype(np.float32)
        return x_mm, y_mm

    def window(self, size_mm: tuple[float, float], margin_px: int) -> tuple[int, int, int, int]:
        """Pixels (left, top, right, bottom) that hold the card, inside the photo."""
        x, y = np.meshgrid(np.linspace(0, size_mm[0], 9), np.linspace(0, size_mm[1], 9))
        seen = self.to_px(np.stack([x.ravel(), y.ravel()], axis=1))
        low, high = seen.min(axis=0) - margin_px, seen.max(axis=0) + margin_px
        return (
            int(np.clip(low[0], 0, self.width_px)),
            int(np.clip(low[1], 0, self.height_px)),
            int(np.clip(high[0], 0, self.width_px)),
            int(np.clip(high[1], 0, self.height_px)),
        )

    def px_per_mm(self) -> float:
        """Resolution in the middle of the card."""
        at = np.array(self.middle_mm)
        seen = self.to_px(at + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
        edges = np.linalg.norm(seen[1:] - seen[0], axis=1)
        return float(np.sqrt(edges[0] * edges[1]))


def rotation(tilt_deg: float, towards_deg: float, roll_deg: float) -> Array:
    """Roll in the plane, then tilt about an axis in the plane."""
    axis = np.array([-np.sin(np.radians(towards_deg)), np.cos(np.radians(towards_deg)), 0.0])
    tilt = cv2.Rodrigues(axis * np.radians(tilt_deg))[0]
    roll = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(roll_deg)]))[0]
    return np.asarray(tilt @ roll)


def stand(
    size_px: tuple[int, int],
    size_mm: tuple[float, float],
    tilt_deg: float,
    towards_deg: float,
    roll_deg: float,
    fill: float,
    shift: tuple[float, float],
    bow: float,
    curl_mm: float,
) -> Pose:
    """Put the camera so that the card's box fills a share of the frame, shifted within it."""
    width, height = size_px
    middle = (size_mm[0] / 2.0, size_mm[1] / 2.0)
    focal = 0.76 * max(size_px)
    turn = rotation(tilt_deg, towards_deg, roll_deg)
    camera = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    to_middle = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1.0]])
    x, y = np.meshgrid([0, size_mm[0]], [0, size_mm[1]])
    corners = np.stack([x.ravel(), y.ravel()], axis=1).astype(float)

    def plane(distance: float, aim: Array) -> Array:
        move = np.array([aim[0] * distance / focal, aim[1] * distance / focal, distance])
        return camera @ np.column_stack([turn[:, 0], turn[:, 1], move]) @ to_middle

    def box(distance: float) -> tuple[Array, Array]:
        seen = cv2.perspectiveTransform(corners[None], plane(distance, np.zeros(2)))[0]
        return seen.min(axis=0), seen.max(axis=0)

    low, high = 60.0, 5000.0
    for _ in range(40):
        distance = np.sqrt(low * high)
        first, last = box(distance)
        share = max((last[0] - first[0]) / width, (last[1] - first[1]) / height)
        low, high = (distance, high) if share > fill else (low, distance)
    first, last = box(distance)
    room = (np.array(size_px) - (last - first)) / 2.0
    centre = (first + last) / 2.0 - np.array([(width - 1) / 2, (height - 1) / 2])
    aim = np.asarray(shift) * np.maximum(room, 0.0) - centre
    if max(abs(shift[0]), abs(shift[1])) > 1.0:
        aim = np.asarray(shift) * np.array(size_px) / 2.0 - centre
    return Pose(width, height, plane(distance, aim), bow, curl_mm, tilt_deg, roll_deg, middle)
