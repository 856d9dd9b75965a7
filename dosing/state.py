"""The entries of the belief about one tub, and what is held beside them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from dosing.belief import Belief
from dosing.buffer import Buffer, near, near_to
from dosing.constants import ALKALINITY_PER_CHLORINE
from dosing.equilibria import COLDEST_C, HOTTEST_C
from dosing.log import Tub
from dosing.sample import WaterSample

VOLUME_SD: Final = 0.10 / 3.0**0.5
"""Stated volumes are good to 10 %, and one far off is as likely as one near (common practice)."""
FILL_TEMPERATURE_C: Final = 12.0
"""Water from the hose [deg C]."""

TUB_PRIORS: Final[Mapping[str, tuple[float, float]]] = {
    # What a tub may hold before anything was measured: mean and standard deviation, wide.
    "volume": (0.0, VOLUME_SD),
    "net": (110.0, 70.0),
    "ph": (7.6, 0.5),
    "calcium": (120.0, 110.0),
    "magnesium": (15.0, 20.0),
    "salt": (300.0, 600.0),
    "cyanuric_acid": (5.0, 15.0),
    "phosphate": (300.0, 350.0),
    "free": (1.0, 2.0),
    "combined": (0.15, 0.15),
    "bromine": (0.0, 0.2),
    "iron": (80.0, 150.0),
    "copper": (60.0, 120.0),
    "manganese": (15.0, 30.0),
    "softening": (0.0, 1e-6),
    "removing": (0.0, 1e-6),
    # How the water behaves; ln of the rates.
    "demand": (1.9, 1.9),
    "eats": (math.log(0.2), 0.9),
    "decay": (math.log(0.45), 0.45),
    "organics": (math.log(0.45), 0.6),
    "yield": (math.log(4.2), 0.45),
    "still": (math.log(0.009), 0.7),
    "jets": (math.log(0.75), 0.5),
}
"""Entries of the tub. Common practice, no source.

`net` is the alkalinity as titrated less that of the chlorine [mg/L as CaCO3]; `demand` what the
water will still eat of chlorine [mg/L] and `eats` how fast [1/(mg/L h)]; `decay` [1/day];
`organics` new demand [mg/L a day]; `yield` of the generator at full output [mg/L a day]; `still`
and `jets` the share of excess carbon dioxide lost [1/h]; `softening` and `removing` what a medium
and a remover will still take; `volume` is ln(true / stated)."""

CELL_FITS: Final = 0.7
"""Correlation of the ln of `yield` and `decay`: a cell was chosen for what its tub loses."""
YIELD_AT_UNKNOWN_OUTPUT: Final = (math.log(1.8), 0.9)
"""`yield` where nobody told the output: from hardly anything to a strong cell at full output."""

HOSE_PRIORS: Final[Mapping[str, tuple[float, float]]] = {
    "hose_net": (120.0, 80.0),
    "hose_ph": (7.6, 0.45),
    "hose_calcium": (130.0, 120.0),
    "hose_magnesium": (15.0, 20.0),
    "hose_salt": (70.0, 55.0),
    "hose_cyanuric_acid": (0.0, 0.5),
    "hose_phosphate": (300.0, 350.0),
    "hose_free": (0.3, 0.3),
    "hose_combined": (0.1, 0.1),
    "hose_bromine": (0.0, 0.02),
    "hose_iron": (80.0, 150.0),
    "hose_copper": (60.0, 120.0),
    "hose_manganese": (15.0, 30.0),
}
"""The water from the hose."""

DISSOLVED: Final = (
    *("net", "calcium", "magnesium", "salt", "cyanuric_acid", "phosphate", "free", "combined"),
    *("bromine", "iron", "copper", "manganese"),
)
"""What mixes by mass when water is replaced."""

SHOWN: Final[Mapping[str, Mapping[str, float]]] = {
    "ph": {"ph": 1.0},
    "free_chlorine": {"free": 1.0},
    "total_chlorine": {"free": 1.0, "combined": 1.0},
    "bromine": {"bromine": 1.0},
    "total_alkalinity": {"net": 1.0, "free": ALKALINITY_PER_CHLORINE},
    "calcium_hardness": {"calcium": 1.0},
    "total_hardness": {"calcium": 1.0, "magnesium": 1.0},
    "cyanuric_acid": {"cyanuric_acid": 1.0},
    "salt": {"salt": 1.0},
    "phosphate": {"phosphate": 1.0},
    "iron": {"iron": 1.0},
    "copper": {"copper": 1.0},
    "manganese": {"manganese": 1.0},
}
"""What a reading shows, as a sum of entries."""

SHOWN_OF_HOSE: Final = {
    analyte: {f"hose_{entry}": factor for entry, factor in parts.items()}
    for analyte, parts in SHOWN.items()
}

POSITIVE: Final = (*DISSOLVED, "demand", "softening", "removing")


@dataclass(slots=True)
class State:
    """A belief and what is taken as known beside it; moved in place."""

    belief: Belief
    tub: Tub
    sulfate: float = 20.0
    """mg/L, followed by the books alone."""
    softens_per_h: float = 0.0
    removes_per_h: float = 0.0
    output: float = 0.0
    """Generator output, 0 to 1; 1 when it is not known, `yield` being that of the unknown one."""
    output_known: bool = True
    caught: float = 0.0
    """Caught phosphate that the filter may give back [ug/L]."""

    jets_left_h: float = 0.0
    """How long the jets still run for the last dose [h]."""

    read_h: dict[str, float] = field(default_factory=dict)
    """How long ago each analyte of the tub was read, as long as the water is the same [h]."""

    def copy(self) -> State:
        """Return a state that can be moved without moving this."""
        return State(
            self.belief.copy(),
            self.tub,
            self.sulfate,
            self.softens_per_h,
            self.removes_per_h,
            self.output,
            self.output_known,
            self.caught,
            self.jets_left_h,
            self.read_h.copy(),
        )

    def forget_output(self) -> None:
        """Take the generator as running at an output nobody told."""
        self.output, self.output_known = 1.0, False
        self.belief.renew("yield", *YIELD_AT_UNKNOWN_OUTPUT)

    def set_output(self, output: float) -> None:
        """Set the generator's output, 0 to 1."""
        if not self.output_known:
            self.belief.renew("yield", *TUB_PRIORS["yield"])
        self.output, self.output_known = min(max(output, 0.0), 1.0), True

    def shown(self, analyte: str, sample: str = "tub") -> tuple[float, float]:
        """Return mean and variance of what a perfect reading would show."""
        parts = SHOWN_OF_HOSE if sample == "fill" else SHOWN
        mean, variance = self.belief.moments(parts[analyte])
        return max(mean, 0.0), max(variance, 1e-12)

    def hold_positive(self) -> None:
        """Bring means that corrections carried below zero back to it."""
        mean, index = self.belief.mean, self.belief.index
        for name in POSITIVE:
            if mean.item(index[name]) < 0.0:
                mean[index[name]] = 0.0

    def buffer(self) -> Buffer:
        """Return the buffer near the water believed in."""
        of = self.belief.of
        return near_to(
            min(max(self.tub.temperature_c, COLDEST_C), HOTTEST_C),
            of("ph"),
            of("net") + ALKALINITY_PER_CHLORINE * of("free"),
            (of("calcium"), of("salt"), of("cyanuric_acid"), self.sulfate),
        )

    def hose_buffer(self) -> Buffer:
        """Return the buffer near the water from the hose."""
        of = self.belief.of
        return near(
            _bold_sample(
                FILL_TEMPERATURE_C,
                of("hose_ph"),
                of("hose_net") + ALKALINITY_PER_CHLORINE * of("hose_free"),
                (of("hose_calcium"), of("hose_salt"), 0.0, 20.0, of("hose_free")),
            )
        )


def new_state(tub: Tub) -> State:
    """Return what is believed of a tub of which nothing is known but its papers."""
    priors = dict(TUB_PRIORS)
    if tub.sanitizer == "bromine":
        priors |= {"bromine": (2.0, 3.0), "free": (0.0, 0.3)}
    belief = Belief(priors | dict(HOSE_PRIORS))
    belief.tie("decay", "yield", CELL_FITS)
    return State(belief, tub)


def sample_at(state: State, temperature_c: float) -> WaterSample:
    """Return the water believed in, as a sample for `dosing.chemistry`."""
    of = state.belief.of
    return _bold_sample(
        temperature_c,
        of("ph"),
        of("net") + ALKALINITY_PER_CHLORINE * of("free"),
        (of("calcium"), of("salt"), of("cyanuric_acid"), state.sulfate, of("free")),
    )


def _bold_sample(
    temperature_c: float, ph: float, alkalinity: float, rest: tuple[float, ...]
) -> WaterSample:
    """Return a sample with every number brought into the range of a possible water."""
    calcium, salt, cyanuric_acid, sulfate, chlorine = (max(value, 0.0) for value in rest)
    alkalinity = min(max(alkalinity, 5.0), 2000.0)
    return WaterSample(
        temperature_c=min(max(temperature_c, COLDEST_C), HOTTEST_C),
        ph=min(max(ph, 5.0), 9.8),
        total_alkalinity=alkalinity,
        calcium_hardness=min(calcium, 5000.0),
        salt=min(salt, 40000.0),
        cyanuric_acid=min(cyanuric_acid, 1000.0, 2.0 * alkalinity),
        sulfate=min(sulfate, 5000.0),
        free_chlorine=min(chlorine, 500.0, alkalinity),
    )
