"""A control water dipped each morning: Levey-Jennings series and the Westgard rules.

A control reading is turned into a z score: how many standard deviations it lies from the mean
that the control had when it was set up. The rules look at the series so far; a broken rule puts
the analyte on recheck until a person signs it off. Everything here is plain data in, data out.

References
----------
.. [1] S. Levey, E. R. Jennings, "The use of control charts in the clinical laboratory",
   Am. J. Clin. Pathol. 20 (11), 1059-1066, 1950. Source key: levey1950.
.. [2] J. O. Westgard, P. L. Barry, M. R. Hunt, T. Groth, "A multi-rule Shewhart chart for quality
   control in clinical chemistry", Clin. Chem. 27 (3), 493-501, 1981. Source key: westgard1981.
"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Literal

Grade = Literal["warning", "broken"]

FEWEST_TO_SET = 10
"""Readings of the control advised before its mean and standard deviation mean anything; common
practice asks for 20 (no source)."""


@dataclass(frozen=True)
class ControlReading:
    """One dip into the control water."""

    at: datetime
    value: float
    lot: str = ""
    analyte: str = ""
    name: str = ""
    """Photo or note that it came from."""
    judged: bool = True
    """False for the dips that the limits were set from: they are shown, not judged."""


@dataclass(frozen=True)
class ControlLimits:
    """Mean and standard deviation that the control had when it was set up."""

    mean: float
    sd: float
    n: int = 0

    def z(self, value: float) -> float:
        """Return how many standard deviations a value lies from the mean."""
        return (value - self.mean) / self.sd


@dataclass(frozen=True)
class Rule:
    """One of the Westgard rules."""

    code: str
    grade: Grade
    sentence: str
    points: int
    """How many readings, newest last, it looks at."""
    breaks: Callable[[Sequence[float]], bool]
    """Says of that many z scores, oldest first, whether they break the rule."""


def _same_side(z: Sequence[float], limit: float) -> bool:
    return all(x > limit for x in z) or all(x < -limit for x in z)


_RULES = (
    Rule("1-2s", "warning", "one reading lies past two standard deviations", 1,
         lambda z: abs(z[-1]) > 2.0),
    Rule("1-3s", "broken", "one reading lies past three standard deviations", 1,
         lambda z: abs(z[-1]) > 3.0),
    Rule("2-2s", "broken", "two readings in a row lie past two standard deviations on one side", 2,
         lambda z: _same_side(z, 2.0)),
    Rule("R-4s", "broken", "two readings in a row lie past two standard deviations on either side",
         2, lambda z: max(z) > 2.0 and min(z) < -2.0),
    Rule("4-1s", "broken", "four readings in a row lie past one standard deviation on one side", 4,
         lambda z: _same_side(z, 1.0)),
    Rule("10-x", "broken", "ten readings in a row lie on one side of the mean", 10,
         lambda z: _same_side(z, 0.0)),
)  # fmt: skip

RULES: Mapping[str, Rule] = MappingProxyType({rule.code: rule for rule in _RULES})


@dataclass(frozen=True)
class Signed:
    """A person's word that the control is right again: what went before no longer counts."""

    at: datetime
    who: str
    why: str


@dataclass(frozen=True)
class ControlState:
    """What the series of one lot and analyte says now."""

    state: Literal["unset", "in_control", "warning", "recheck"]
    """`recheck`: readings of this analyte wait for a person until someone signs it off."""
    broken: tuple[str, ...]
    """Codes of the rules that are broken or warn."""
    since: datetime | None
    """When the first rule broke that nobody has signed off."""

    @property
    def sentence(self) -> str:
        """Say in words what is the matter and what to do."""
        if self.state == "unset":
            return f"dip the control water at least {FEWEST_TO_SET} times to set its limits"
        if self.state == "in_control":
            return "the control water reads as it should"
        why = " and ".join(RULES[code].sentence for code in self.broken)
        if self.state == "warning":
            return f"{why}: a warning; dip the control water once more"
        return f"{why}: check lot, table and light, dip again, then sign it off"


def limits_of(values: Sequence[float], least_sd: float = 0.0) -> ControlLimits:
    """Return mean and standard deviation of the control's first readings.

    `least_sd` keeps strips that happened to agree from giving impossibly narrow limits.

    Raises
    ------
    ValueError
        With fewer than two readings, or none that differ and no least standard deviation.
    """
    if len(values) < 2:
        raise ValueError("two control readings or more are needed to set limits; dip again")
    sd = max(statistics.stdev(values), least_sd)
    if sd <= 0.0:
        raise ValueError("the control readings do not differ at all; enter them as measured")
    return ControlLimits(statistics.fmean(values), sd, len(values))


def broken_rules(z: Sequence[float]) -> tuple[str, ...]:
    """Return the codes of the rules that the newest reading breaks, z scores oldest first."""
    return tuple(
        rule.code for rule in _RULES if len(z) >= rule.points and rule.breaks(z[-rule.points :])
    )


def history(z: Sequence[float]) -> tuple[tuple[str, ...], ...]:
    """Return for each reading the rules it broke, looking only back."""
    return tuple(broken_rules(z[: i + 1]) for i in range(len(z)))


def control_state(
    readings: Sequence[ControlReading],
    limits: ControlLimits | None,
    signed: Sequence[Signed] = (),
) -> ControlState:
    """Return the state of one lot's analyte: on recheck from a broken rule until signed off.

    Readings up to the newest signature no longer count, neither alone nor in a run.
    """
    if limits is None:
        return ControlState("unset", (), None)
    from_ = max((word.at for word in signed), default=None)
    left = sorted((r for r in readings if from_ is None or r.at > from_), key=lambda r: r.at)
    found = history([limits.z(r.value) for r in left])
    grave = [
        (reading, codes)
        for reading, all_ in zip(left, found, strict=True)
        if (codes := tuple(code for code in all_ if RULES[code].grade == "broken"))
    ]
    if grave:
        codes = tuple(dict.fromkeys(code for _, broken in grave for code in broken))
        return ControlState("recheck", codes, grave[0][0].at)
    if found and found[-1]:
        return ControlState("warning", found[-1], left[-1].at)
    return ControlState("in_control", (), None)
