"""Invented test strips: their pads, charts, geometry and dyes, as data.

A pad is a white carrier with a dye of two forms. Bands are (centre nm, width nm, height in K/S);
`mid` is the value at which half the dye has turned, `slope` the steepness (Hill; for pH the
Henderson-Hasselbalch slope). All of it is invented.
"""

from __future__ import annotations

from dataclasses import dataclass

Bands = tuple[tuple[float, float, float], ...]


@dataclass(frozen=True)
class PadKind:
    """One pad of a strip: what it shows, its chart's blocks and its dye."""

    analyte: str
    unit: str
    blocks: tuple[float, ...]
    before: Bands
    """Bands of the form without analyte (or acid form)."""
    after: Bands
    """Bands of the turned form."""
    mid: float
    slope: float
    read_after_s: int = 15


@dataclass(frozen=True)
class StripKind:
    """One make of strip."""

    name: str
    width_mm: float
    length_mm: float
    first_centre_mm: float
    pitch_mm: float
    pad_mm: float
    pads: tuple[PadKind, ...]

    def centre_mm(self, pad: int) -> float:
        """Distance of the pad's centre from the dipped tip; pads count from 1."""
        return self.first_centre_mm + (pad - 1) * self.pitch_mm


REEDMERE = StripKind(
    "Reedmere 7", 6.0, 82.0, 4.0, 7.0, 5.0,
    (
        PadKind("free_chlorine", "mg/L", (0, 1, 3, 5, 10, 20),
                ((425, 38, 0.10),), ((548, 40, 4.2), (420, 45, 0.45)), 17.0, 1.2),
        PadKind("total_chlorine", "mg/L", (0, 1, 3, 5, 10, 20),
                ((430, 40, 0.14),), ((650, 55, 5.0), (450, 28, 0.75)), 18.0, 1.2),
        PadKind("ph", "pH", (6.2, 6.8, 7.2, 7.6, 8.0, 8.6),
                ((435, 36, 1.9),), ((556, 34, 1.8), (430, 60, 0.7)), 7.6, 0.85),
        PadKind("total_alkalinity", "mg/L", (0, 40, 80, 120, 180, 240),
                ((430, 36, 1.7),), ((618, 42, 2.0), (420, 40, 0.25)), 130.0, 1.9),
        PadKind("calcium_hardness", "mg/L", (0, 25, 75, 150, 250, 500),
                ((605, 48, 1.35), (660, 40, 0.45)), ((532, 40, 2.2), (430, 40, 0.40)), 110.0, 1.15),
        PadKind("cyanuric_acid", "mg/L", (0, 30, 50, 100, 150, 300),
                ((470, 42, 1.35),), ((545, 40, 2.3), (400, 30, 0.2)), 105.0, 1.5),
        PadKind("phosphate", "ug/L", (0, 100, 200, 500, 1000, 2500),
                ((405, 30, 0.35),), ((685, 70, 5.0), (410, 30, 0.30)), 1500.0, 1.15),
    ),
)  # fmt: skip

TARNBECK = StripKind(
    "Tarnbeck 5", 5.0, 78.0, 5.5, 8.5, 4.6,
    (
        PadKind("ph", "pH", (6.4, 6.8, 7.2, 7.6, 8.0, 8.4),
                ((448, 40, 1.3),), ((572, 36, 1.7), (545, 30, 0.6)), 7.5, 0.75),
        PadKind("total_alkalinity", "mg/L", (0, 40, 80, 120, 180, 240),
                ((442, 44, 1.3),), ((600, 36, 1.3), (640, 30, 0.7)), 95.0, 1.3),
        PadKind("free_chlorine", "mg/L", (0, 0.5, 1, 3, 5, 10),
                ((420, 30, 0.08),), ((512, 40, 1.9), (553, 32, 2.4)), 9.5, 1.1),
        PadKind("calcium_hardness", "mg/L", (0, 50, 100, 200, 400),
                ((630, 44, 1.2), (580, 30, 0.6)), ((520, 48, 1.6), (490, 30, 0.3)), 120.0, 1.1),
        PadKind("salt", "mg/L", (0, 500, 1000, 1500, 2000, 3000),
                ((500, 50, 2.6), (430, 40, 0.9)), ((410, 40, 0.35),), 1150.0, 1.7),
    ),
)  # fmt: skip

OXWELL = StripKind(
    "Oxwell 6", 5.5, 88.0, 6.0, 6.4, 5.2,
    (
        PadKind("total_chlorine", "mg/L", (0, 1, 3, 5, 10),
                ((440, 40, 0.10),), ((628, 52, 3.6), (470, 36, 0.9)), 12.0, 1.15),
        PadKind("free_chlorine", "mg/L", (0, 1, 3, 5, 10, 15),
                ((410, 40, 0.15),), ((568, 50, 3.2), (440, 50, 0.4)), 14.0, 1.2),
        PadKind("ph", "pH", (6.2, 6.8, 7.2, 7.8, 8.4),
                ((425, 40, 1.5),), ((590, 44, 1.4), (420, 44, 0.5)), 7.4, 0.9),
        PadKind("total_alkalinity", "mg/L", (0, 40, 80, 120, 180, 240),
                ((415, 44, 1.5),), ((640, 52, 1.9),), 120.0, 1.8),
        PadKind("cyanuric_acid", "mg/L", (0, 30, 50, 100, 150),
                ((455, 40, 1.1), (490, 30, 0.5)), ((560, 34, 1.5), (520, 28, 0.7)), 70.0, 1.4),
        PadKind("calcium_hardness", "mg/L", (0, 25, 50, 100, 250, 500),
                ((590, 50, 1.3),), ((552, 34, 1.5), (505, 36, 1.5)), 100.0, 1.3),
    ),
)  # fmt: skip

FAMILIES = {"reedmere": REEDMERE, "tarnbeck": TARNBECK, "oxwell": OXWELL}


def pad_of(kind: StripKind, analyte: str) -> PadKind:
    """Return the pad that shows the analyte."""
    return next(pad for pad in kind.pads if pad.analyte == analyte)
