"""What of the free chlorine works: hypochlorous acid, with and without cyanuric acid.

Dilute solution, no activity correction: a share of acid is wanted here, not a pH.
"""

from __future__ import annotations

from typing import Final

from dosing.constants import MOLAR_MASS
from dosing.equilibria import ChemistryError, equilibria

BROMINE_PER_CHLORINE: Final = 159.808 / MOLAR_MASS["Cl2"]
"""mg/L as Br2 for a reading of 1 mg/L as Cl2 (2.254)."""


def hypochlorous_share(ph: float, temperature_c: float) -> float:
    """Return the share of free chlorine that is hypochlorous acid, without cyanuric acid.

    pKa = 3000.00 / T - 10.0686 + 0.0253 T, T in kelvin; fitted 5 to 35 C. Source key: morris1966.

    >>> round(hypochlorous_share(7.5, 25.0), 3)
    0.521
    """
    share: float = 1.0 / (1.0 + equilibria(temperature_c).hypochlorous * 10.0**ph)
    return share


def hypochlorous_mg_l(
    free_chlorine: float, cyanuric_acid: float, ph: float, temperature_c: float
) -> float:
    """Return the hypochlorous acid in a water [mg/L as Cl2], cyanuric acid binding the rest.

    Parameters
    ----------
    free_chlorine
        As tests read it, mg/L as Cl2: chlorine bound to cyanurate counts as free.
    cyanuric_acid
        mg/L.

    Notes
    -----
    H3Cy, H2Cy-, HClCy-, Cl2Cy-, HOCl and OCl- at rest with each other. Source keys: wahman2018,
    wahman2019 (5 to 35 C, carried on beyond), morris1966.
    """
    if free_chlorine < 0.0 or cyanuric_acid < 0.0:
        raise ChemistryError("chlorine and cyanuric acid cannot be negative; check the readings")
    known = equilibria(temperature_c)
    hydrogen: float = 10.0**-ph
    chlorine = free_chlorine / MOLAR_MASS["Cl2"] / 1000.0
    cyanurate = cyanuric_acid / MOLAR_MASS["C3H3N3O3"] / 1000.0
    acid_share = hypochlorous_share(ph, temperature_c)
    bare = 1.0 + hydrogen / known.cyanuric

    def excess(hypochlorous: float) -> float:
        once = hypochlorous / known.monochlorocyanurate
        twice = once * hypochlorous / known.dichlorocyanurate
        bound = cyanurate * (once + 2.0 * twice) / (bare + once + twice)
        return hypochlorous / acid_share + bound - chlorine

    low, high = 0.0, chlorine * acid_share
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if excess(middle) > 0.0 else (middle, high)
    return 0.5 * (low + high) * MOLAR_MASS["Cl2"] * 1000.0
