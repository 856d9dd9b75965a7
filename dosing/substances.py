"""What waters of known value are made from, and the usual series."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from dosing.constants import CACO3_PER_MEQ, MOLAR_MASS
from dosing.phosphate_buffer import KH2PO4_G_MOL


@dataclass(frozen=True)
class Substance:
    """What a series is made from."""

    formula: str
    name: str
    gives_mg_per_g: float
    """mg of the analyte, in its own unit's terms, from a gram of the pure compound."""
    error_95: float
    """Relative 95 % error of purity or strength as bought."""
    dissolves_mg_l: float
    """Strongest stock that dissolves easily, in terms of the analyte [mg/L]."""
    cautions: tuple[str, ...] = ()


def _caco3(equivalents: int, formula: str) -> float:
    return 1000.0 * equivalents * CACO3_PER_MEQ / MOLAR_MASS[formula]


BURNS = "Gloves and goggles on: dust and splashes of this burn eyes and skin."
CHLORINE_CAUTIONS = (
    "Chlorine solutions burn and bleach: gloves and goggles on, air the room.",
    "Nothing sour goes near them: acid sets poisonous chlorine gas free.",
    "Glass only, no metal; in the dark; use within the hour and pour the rest away with water.",
)

SUBSTANCES: Mapping[str, tuple[Substance, ...]] = MappingProxyType(
    {
        "total_alkalinity": (
            Substance("NaHCO3", "baking soda", _caco3(1, "NaHCO3"), 0.01, 20000.0),
            Substance("Na2CO3", "washing soda, dry", _caco3(2, "Na2CO3"), 0.02, 20000.0, (BURNS,)),
        ),
        "calcium_hardness": (
            Substance(
                *("CaCl2.2H2O", "calcium chloride dihydrate", _caco3(2, "CaCl2.2H2O"), 0.02),
                50000.0,
                ("It heats up as it dissolves: add it slowly to the water.",),
            ),
            Substance(
                *("CaCl2", "calcium chloride, dry", _caco3(2, "CaCl2"), 0.05, 50000.0),
                (
                    "It heats up as it dissolves: add it slowly to the water.",
                    "It draws damp from the air: weigh from a fresh, closed pack.",
                ),
            ),
        ),
        "free_chlorine": (
            Substance(
                *("NaCl2C3N3O3.2H2O", "dichlor granules, nothing added"),
                2.0e3 * MOLAR_MASS["Cl2"] / MOLAR_MASS["NaCl2C3N3O3.2H2O"],
                *(0.03, 5000.0),
                (*CHLORINE_CAUTIONS, "Never let it meet calcium hypochlorite: fire."),
            ),
            Substance("NaOCl", "plain bleach", 1000.0, 0.10, 20000.0, CHLORINE_CAUTIONS),
        ),
        "salt": (Substance("NaCl", "pure salt without additives", 1000.0, 0.01, 50000.0),),
        "cyanuric_acid": (
            Substance(
                *("C3H3N3O3", "cyanuric acid", 1000.0, 0.02, 1500.0),
                ("It dissolves slowly: warm water to 40 C, stir for an hour, let it cool.",),
            ),
        ),
        "phosphate": (
            Substance(
                *(
                    "KH2PO4",
                    "potassium dihydrogen phosphate",
                    1e3 * MOLAR_MASS["PO4"] / KH2PO4_G_MOL,
                ),
                *(0.01, 20000.0),
            ),
        ),
    }
)
"""What makes each analyte, the usual choice first. `NaOCl` is a solution: its available chlorine
is given as its purity. KH2PO4 as in the phosphate stocks of water laboratories."""

ALIASES: Mapping[str, str] = MappingProxyType(
    {"total_chlorine": "free_chlorine", "total_hardness": "calcium_hardness"}
)
"""Analytes whose waters are mixed like another's: no combined chlorine, no magnesium in them."""

SERIES: Mapping[str, tuple[float, ...]] = MappingProxyType(
    {
        "total_alkalinity": (0, 40, 80, 120, 180, 240),
        "calcium_hardness": (0, 50, 100, 200, 350, 500),
        "free_chlorine": (0, 0.5, 1, 3, 5, 10),
        "salt": (0, 500, 1000, 1500, 2000, 3000),
        "cyanuric_acid": (0, 30, 50, 100, 150, 300),
        "phosphate": (0, 100, 200, 500, 1000, 2500),
        "ph": (6.8, 7.2, 7.5, 7.8, 8.2),
    }
)

PER_MG_L: Mapping[str, float] = MappingProxyType({"phosphate": 1000.0})
"""Units of the analyte in one mg/L; 1 unless said."""
