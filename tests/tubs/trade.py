"""The limits, waits and order the umpire goes by.

Limits are those of the contract's salt start-up (common practice, no published source); the
tolerances are ours.
"""

from datetime import UTC, datetime

START = datetime(2026, 5, 4, 8, tzinfo=UTC)
UPKEEP_DAYS = {"total_alkalinity": 10, "calcium_hardness": 10, "phosphate": 30}
METALS = ("iron", "copper", "manganese")
METAL_LIMIT = {"iron": 200.0, "copper": 200.0, "manganese": 50.0}
# How far outside the truth may be before an open gate is a fault: absolute and relative part.
TOLERANCE = {
    "ph": (0.10, 0.0),
    "total_alkalinity": (5.0, 0.08),
    "calcium_hardness": (3.0, 0.08),
    "free_chlorine": (0.2, 0.10),
    "salt": (20.0, 0.03),
    "phosphate": (10.0, 0.15),
    "iron": (10.0, 0.15),
    "copper": (10.0, 0.15),
    "manganese": (3.0, 0.15),
}
RETEST_AFTER = {  # analyte: kind of product and least wait in minutes (None: acts_over_h)
    "salt": ("salt", 5.0),
    "free_chlorine": ("chlorinating", 5.0),
    "calcium_hardness": ("softening_medium", None),
    "phosphate": ("phosphate_remover", None),
}
RANK = {
    "calcium": 1, "softening_medium": 1, "bicarbonate": 2, "acid": 2, "base_carbonate": 3,
    "phosphate_remover": 4, "salt": 5, "chlorinating": 6,
}  # fmt: skip
NEEDS_OPEN = {  # rank: analytes whose gates must once have been declared open before
    2: ("calcium_hardness",),
    3: ("calcium_hardness",),
    4: ("calcium_hardness", "total_alkalinity", "ph"),
    5: ("calcium_hardness", "total_alkalinity", "ph", "phosphate"),
    6: ("calcium_hardness", "total_alkalinity", "ph", "phosphate", "salt"),
}
NEEDS_OPEN_CHLORINE = {
    2: (),
    3: (),
    4: ("total_alkalinity", "ph"),
    6: ("total_alkalinity", "ph"),
}
AIM = {"salt": 1750.0, "free_chlorine": 5.0, "calcium_hardness": 50.0, "total_alkalinity": 100.0,
       "phosphate": 150.0}  # fmt: skip
MOVES = {
    "salt": "salt", "chlorinating": "free_chlorine", "calcium": "calcium_hardness",
    "softening_medium": "calcium_hardness", "bicarbonate": "total_alkalinity",
    "phosphate_remover": "phosphate",
}  # fmt: skip


SERVES = {
    "acid": ("ph", "total_alkalinity"),
    "base_carbonate": ("ph",),
    "dechlorinating": ("free_chlorine",),
    **{kind: (analyte,) for kind, analyte in MOVES.items()},
}
