"""What must be said beside a step so that no one is hurt."""

from __future__ import annotations

from collections.abc import Mapping

from dosing.products import Product

ALWAYS = (
    "Never mix chemicals with each other, acid and chlorine above all: the gas is poisonous.",
    "Add the chemical to the water, never water to the chemical; a clean dry scoop for each.",
    "The product's label, the local code and licensed practice come first.",
    "No bathers while dosing, nor before the next test is in range.",
)
"""With every dose. Sources: epa_550_f_01_003, narromine; the last two are common practice."""

BY_KIND: Mapping[str, tuple[str, ...]] = {
    "acid": (
        "Acid burns: gloves and goggles on, air the room, pour slowly in front of a running jet.",
        "Keep acid and chlorine at least 15 minutes apart.",
    ),
    "chlorinating": (
        "Chlorine products burn and bleach: gloves and goggles on, air the room.",
        "Keep chlorine and acid at least 15 minutes apart.",
    ),
    "base_carbonate": (
        "Soda ash clouds water that holds calcium: dissolve it first, pour slowly.",
    ),
    "calcium": ("Calcium chloride heats up as it dissolves: stir it into a bucket of tub water.",),
    "phosphate_remover": ("The water clouds; the catch lies in the filter until it is rinsed.",),
    "dechlorinating": (
        "A neutraliser acts stronger or weaker than computed: test again after it.",
    ),
}
"""With a dose of the kind (common practice)."""

BY_FORMULA: Mapping[str, str] = {
    "Ca(OCl)2": "Calcium hypochlorite and chlorinated isocyanurates never meet, not even in a "
    "scoop or a store room: fire.",
    "NaCl2C3N3O3.2H2O": "Chlorinated isocyanurates and calcium hypochlorite never meet, not even "
    "in a scoop or a store room: fire. Each mg/L of chlorine leaves 0.91 mg/L of cyanuric acid.",
}
"""Source: fire_engineering, narromine, wahman2019."""

POWER = "Power off at the breaker before hands go into the filter well or the equipment bay."


def with_dose(product: Product) -> tuple[str, ...]:
    """Return every caution that belongs beside a dose of the product."""
    own = BY_KIND.get(product.kind, ())
    formula = BY_FORMULA.get(product.formula or "")
    return (*ALWAYS, *own, *((formula,) if formula else ()))


def no_bathers(sanitizer: str) -> str:
    """Return who stays out of water that is still being brought in."""
    what = "bromine" if sanitizer == "bromine" else "chlorine"
    return f"No bathers until {what} and pH are in range; local code and label come first."


def with_action(action: str) -> tuple[str, ...]:
    """Return the cautions that belong beside something a person does."""
    if action in ("cell_in", "clean_filter", "sensor_in"):
        return (POWER,)
    if action in ("drain", "purge"):
        return (
            POWER,
            "Let the chlorine fall before draining, and drain where the local code allows.",
        )
    return ()
