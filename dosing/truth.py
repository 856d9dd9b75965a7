"""One tub as it may truly be: drawn once from the belief, moved by the engine's own laws.

What a law leaves open (the noise it adds to the belief) is drawn each time the tub is moved, so
that many such tubs are spread as the belief says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from random import Random

import numpy as np

from dosing.analytes import ANALYTES, NORMAL_95
from dosing.belief import Belief
from dosing.buffer import HIGHEST, LOWEST
from dosing.happenings import SHARED_SHARE
from dosing.history import History
from dosing.log import Event, Reading
from dosing.motion import RATES_DRIFT_PER_DAY
from dosing.scale import OFFSETS
from dosing.state import TUB_PRIORS


class Truth:
    """A tub without doubt, at the moment its history was asked about."""

    def __init__(self, history: History, random: Random) -> None:
        self._walk = history.walk()
        self._random = random
        for name in RATES_DRIFT_PER_DAY:  # a log long laid by knows no less than no log at all
            if self._walk.state.belief.sd(name) > TUB_PRIORS[name][1]:
                self._walk.state.belief.renew(name, *TUB_PRIORS[name])
        self._settle()

    def follow(self, history: History, events: Sequence[Event], at: datetime) -> None:
        """Let the newest events of a history happen, and time pass up to a moment."""
        self._walk = self._walk.going_on(history.log, history.course, at)
        for event in events:
            if not isinstance(event, Reading):
                self._walk.take(event)
                self._settle()
        self._walk.wait_until(at)
        self._settle()

    def value(self, analyte: str, sample: str = "tub") -> float:
        """Return what a perfect reading would show, in the analyte's unit."""
        return self._walk.state.shown(analyte, sample)[0]

    def read(self, at: datetime, analyte: str, sample: str) -> Reading:
        """Return what the usual strip shows: the truth, the lot's error, and the dip's own."""
        spread, most = ANALYTES[analyte].photo, 0.9 * ANALYTES[analyte].most
        value = self.value(analyte, sample)
        own = (1.0 - SHARED_SHARE) ** 0.5 * spread.half_band(value) / NORMAL_95
        shown = value + self._error_of_lot(analyte, value) + self._random.gauss(0.0, own)
        shown = round(min(max(shown, 0.0), most), 2)
        half = spread.half_band(shown)
        return Reading(at, analyte, shown, max(shown - half, 0.0), shown + half, "photo", sample)

    def _error_of_lot(self, analyte: str, value: float) -> float:
        """Return what all strips of the lot show too much: the belief's entry for it."""
        belief, name = self._walk.state.belief, f"error of photo {analyte}"
        weight = 1.0 if analyte == "ph" else value + OFFSETS[analyte]
        sd = SHARED_SHARE**0.5 * ANALYTES[analyte].photo.half_band(value) / NORMAL_95
        belief.add_entry(name, self._random.gauss(0.0, sd / weight), 0.0)
        return weight * belief.of(name)

    def _settle(self) -> None:
        """Let chance decide what is in doubt."""
        state = self._walk.state
        draw(state.belief, self._random)
        state.hold_positive()
        state.belief.put("ph", min(max(state.belief.of("ph"), LOWEST), HIGHEST))


def draw(belief: Belief, random: Random) -> None:
    """Turn a belief into one draw from its joint normal: a mean without covariance."""
    variances, axes = np.linalg.eigh(belief.cov)
    steps = [math.sqrt(max(one, 0.0)) * random.gauss(0.0, 1.0) for one in variances.tolist()]
    belief.mean += axes @ np.array(steps)
    belief.cov[:] = 0.0
