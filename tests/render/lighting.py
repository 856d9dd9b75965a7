"""How the lamps fall on the card: gradients, shadows, a second lamp from a side, mirror spots."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.render.light import Light

Map = NDArray[np.float32]


@dataclass(frozen=True)
class Edge:
    """A shadow's edge: dark on one side of a line, or within a bar."""

    at_mm: tuple[float, float]
    towards_deg: float
    depth: float
    """Share of the lamp's light that is kept out."""
    soft_mm: float
    bar_mm: float = 0.0
    """Width where the shadow is a bar; 0 for a half plane."""

    def kept(self, x_mm: Map, y_mm: Map) -> Map:
        """Share of the light that arrives."""
        angle = np.radians(self.towards_deg)
        off = (x_mm - self.at_mm[0]) * np.cos(angle) + (y_mm - self.at_mm[1]) * np.sin(angle)
        if self.bar_mm:
            off = self.bar_mm / 2.0 - np.abs(off)
        dark = 1.0 / (1.0 + np.exp(-np.clip(off / max(self.soft_mm, 1e-3) * 2.2, -40, 40)))
        return (1.0 - self.depth * dark).astype(np.float32)


@dataclass(frozen=True)
class Spot:
    """A mirror image of a lamp on a glossy place."""

    at_mm: tuple[float, float]
    size_mm: tuple[float, float]
    turn_deg: float
    strength: float
    """Mirrored light against the diffuse light of white."""

    def on(self, x_mm: Map, y_mm: Map) -> Map:
        """Strength at places."""
        angle = np.radians(self.turn_deg)
        x, y = x_mm - self.at_mm[0], y_mm - self.at_mm[1]
        u = (x * np.cos(angle) + y * np.sin(angle)) / self.size_mm[0]
        v = (y * np.cos(angle) - x * np.sin(angle)) / self.size_mm[1]
        return (self.strength * np.exp(-0.5 * np.minimum(u**2 + v**2, 60.0))).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Lighting:
    """The lamps and what shapes them."""

    lamps: tuple[Light, ...]
    share: float = 0.0
    """Share of the second lamp where it is strongest."""
    side_deg: float = 0.0
    """Where the second lamp stands."""
    side_fall_mm: float = 80.0
    """Over which length the second lamp fades."""
    slope: float = 0.0
    """Relative change of the first lamp over 50 mm."""
    slope_deg: float = 0.0
    edges: tuple[Edge, ...] = ()
    spots: tuple[Spot, ...] = ()
    middle_mm: tuple[float, float] = field(default=(70.0, 45.0))

    def fields(self, x_mm: Map, y_mm: Map) -> list[Map]:
        """Irradiance by each lamp, relative to the first lamp in the card's middle."""
        x, y = x_mm - self.middle_mm[0], y_mm - self.middle_mm[1]
        angle = np.radians(self.slope_deg)
        along = np.clip(x * np.cos(angle) + y * np.sin(angle), -150, 150)
        first = np.exp(np.log1p(self.slope) * along / 50.0) * (1.0 - self.share)
        for edge in self.edges:
            first = first * edge.kept(x_mm, y_mm)
        if len(self.lamps) == 1:
            return [first.astype(np.float32)]
        side = np.radians(self.side_deg)
        off = x * np.cos(side) + y * np.sin(side)
        second = self.share * (0.35 + 1.3 / (1.0 + np.exp(-off / self.side_fall_mm * 4.0)))
        return [first.astype(np.float32), second.astype(np.float32)]

    def mirrored(self, x_mm: Map, y_mm: Map) -> Map:
        """Sum of the mirror spots."""
        total = np.zeros(np.broadcast(x_mm, y_mm).shape, dtype=np.float32)
        for spot in self.spots:
            total += spot.on(x_mm, y_mm)
        return total
