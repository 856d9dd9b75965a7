"""pH waters from two phosphates: the second dissociation of phosphoric acid with activities."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

KH2PO4_G_MOL: Final = 136.084
NA2HPO4_G_MOL: Final = 141.957
"""Molar masses [g/mol]. Source key: iupac2021."""

PKA2_25C: Final = 7.198
"""Second dissociation of phosphoric acid at 25 C, infinite dilution; R. G. Bates, S. F. Acree,
J. Res. Natl. Bur. Stand. 30, 129, 1943 (from memory)."""

DEBYE_25C: Final = 0.509
"""Slope of the Davies equation at 25 C. Source key: davies1962."""

STOCK_MOL_L: Final = 0.1
"""Strength of both stocks."""

SHARE: Final = 0.25
"""Stock in each water: 25 mmol/L of phosphate, as in the standard buffer."""

MODEL_ERROR_95: Final = 0.04
"""Of the Davies equation, temperature from 20 to 30 C and purity [pH]. The standard buffer
(6.865 at 25 C) is met within 0.02."""


@dataclass(frozen=True)
class PhosphateBuffer:
    """How to mix one pH."""

    ph: float
    """From the amounts as rounded."""
    error_95: float
    acid_ml: float
    base_ml: float
    acid_g_per_l: float
    base_g_per_l: float


def buffer_ph(acid_mol_l: float, base_mol_l: float) -> float:
    """Return the pH at 25 C of a water with these amounts of KH2PO4 and Na2HPO4 [mol/L].

    pH = pKa2 + log(base / acid) + log(gamma2 / gamma1), activity by the Davies equation.
    """
    strength = acid_mol_l + 3.0 * base_mol_l
    root = math.sqrt(strength)
    davies = DEBYE_25C * (root / (1.0 + root) - 0.3 * strength)
    return PKA2_25C + math.log10(base_mol_l / acid_mol_l) - 3.0 * davies


def phosphate_buffer(ph: float, volume_ml: float, flask_error: float) -> PhosphateBuffer:
    """Return the mL of both stocks that give this pH (5.8 to 8.6) in the volume."""
    total_ml = SHARE * volume_ml
    low, high = 0.001, 0.999
    for _ in range(60):  # the share of the basic stock, by halving
        share = (low + high) / 2.0
        reached = _of_share(share)
        low, high = (share, high) if reached < ph else (low, share)
    base_ml = round(total_ml * share, 1)
    acid_ml = round(total_ml - base_ml, 1)
    exact = _of_share(base_ml / (acid_ml + base_ml))
    measuring = math.hypot(0.1 / acid_ml, 0.1 / base_ml, 2.0 * flask_error) / math.log(10.0)
    error = math.hypot(measuring, MODEL_ERROR_95)
    return PhosphateBuffer(
        exact, error, acid_ml, base_ml, STOCK_MOL_L * KH2PO4_G_MOL, STOCK_MOL_L * NA2HPO4_G_MOL
    )


def _of_share(share: float) -> float:
    strength = STOCK_MOL_L * SHARE
    return buffer_ph(strength * (1.0 - share), strength * share)
