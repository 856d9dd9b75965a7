"""What we believe of a tub's water, with bands: the log's readings, doses and time in one estimate.

`believe` walks the log once. The `Water` it returns is never changed; it answers what a value is,
how sure that is, and what the water would be after a dose, a change of water, or some hours.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from typing import Final

from dosing import happenings
from dosing.belief import sigma_points
from dosing.chemistry import calcite_index
from dosing.log import Done, Log, Reading
from dosing.motion import CHLORINE_INPUTS, advance, chlorine_after
from dosing.products import Product
from dosing.sample import WaterSample
from dosing.scale import inside, quantile
from dosing.state import TUB_PRIORS, VOLUME_SD, State, sample_at
from dosing.walk import NO_COURSE, Course, Filled, Walk, worth_keeping

LAW_ERROR: Final = {"decay": 0.3, "yield": 0.25, "still": 0.2}
"""What a rate's law leaves out, as a deviation of its ln: a cell makes less in cool or weak water,
chlorine is eaten at a fixed rate as well as by its share. On simulated tubs of other laws."""

__all__ = ["Course", "Filled", "Walk", "Water", "believe"]


class Water:
    """A belief about one tub's water at one moment; questions only, nothing changes it."""

    def __init__(self, state: State, at: datetime) -> None:
        self._state = state
        self._dosed: dict[tuple[Product, float, bool], Water] = {}
        self.at = at
        """The moment it speaks of."""

    @property
    def state(self) -> State:
        """Return the belief behind it; to look at, not to move."""
        return self._state

    # What a value is
    def value(self, analyte: str, sample: str = "tub") -> float:
        """Return the middle of what is believed of an analyte, in its unit."""
        return quantile(analyte, *self._state.shown(analyte, sample), 0.5)

    def sd(self, analyte: str, sample: str = "tub") -> float:
        """Return the standard deviation of an analyte, in its unit."""
        return math.sqrt(self._state.shown(analyte, sample)[1])

    def band(
        self, analyte: str, confidence: float = 0.95, sample: str = "tub"
    ) -> tuple[float, float]:
        """Return the limits that hold the truth with this confidence, in the analyte's unit."""
        mean, variance = self._state.shown(analyte, sample)
        tail = 0.5 * (1.0 - confidence)
        return (
            quantile(analyte, mean, variance, tail),
            quantile(analyte, mean, variance, 1.0 - tail),
        )

    def probability(
        self, analyte: str, low: float | None, high: float | None, sample: str = "tub"
    ) -> float:
        """Return the probability that an analyte lies from low to high; None is an open side."""
        return inside(analyte, *self._state.shown(analyte, sample), low, high)

    # What would be
    def after_dose(self, product: Product, grams: float, *, moves_ph: bool = True) -> Water:
        """Return the water after a dose has mixed; slow products have only begun.

        Who does not ask for the pH says so: its law is the dear part, and nothing else hangs on it.
        """
        key = product, grams, moves_ph
        if key not in self._dosed:  # the search for an amount asks for the same one again
            state = self._state.copy()
            happenings.dose(state, product, grams, moves_ph=moves_ph)
            self._dosed[key] = Water(state, self.at)
        return self._dosed[key]

    def after_replacement(self, fraction: float) -> Water:
        """Return the water after a share of it was replaced from the hose."""
        state = self._state.copy()
        happenings.replace_water(state, fraction)
        return Water(state, self.at)

    def later(self, hours: float, *, aerated: bool = False, output: float | None = None) -> Water:
        """Return the water some hours later.

        Parameters
        ----------
        hours
            How long it stands.
        aerated
            Whether the jets run with air all the while.
        output
            Generator output from now on, 0 to 1; as it is when None.
        """
        state = self._state.copy()
        if output is not None:
            state.set_output(output)
        advance(state, hours, hours if aerated else 0.0)
        return Water(state, self.at + timedelta(hours=hours))

    # The tub
    @property
    def volume_l(self) -> float:
        """Return the middle of what is believed of the volume [L]."""
        return self._state.tub.volume_l * math.exp(self._state.belief.of("volume"))

    @property
    def volume_sd_l(self) -> float:
        """Return the standard deviation of the volume [L]."""
        return self.volume_l * self._state.belief.sd("volume")

    def volume_band_l(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the limits that hold the volume with this confidence [L]."""
        return self._ln_band(self._state.tub.volume_l, "volume", confidence)

    def strength(self, product_id: str) -> float:
        """Return true strength over the label's, as far as doses have shown."""
        name = f"strength of {product_id}"
        belief = self._state.belief
        return math.exp(belief.of(name)) if name in belief.index else 1.0

    @property
    def output(self) -> float:
        """Return the generator's output now, 0 to 1; 0 when it was never told."""
        return self._state.output if self._state.output_known else 0.0

    @property
    def sample(self) -> WaterSample:
        """Return the water believed in as a sample for `dosing.chemistry`."""
        return sample_at(self._state, self._state.tub.temperature_c)

    @property
    def calcite_index(self) -> float:
        """Return the saturation index of calcite of the water believed in."""
        return calcite_index(self.sample)

    # How the water behaves
    def decay_per_day(self) -> tuple[float, float, float]:
        """Return the share of chlorine that fades in a day as a rate: middle, low, high (95 %)."""
        return self._rate("decay")

    def daily_loss_mg_l(self) -> tuple[float, float, float]:
        """Return what the water takes of its chlorine in a day: middle, low, high (95 %).

        mg/L as Cl2, from the level of now, generator off: fading, what demand is left, new dirt.
        """
        belief = self.state.belief
        columns = belief.places(CHLORINE_INPUTS)
        points, _ = sigma_points(belief.mean[columns], belief.cov[columns[:, None], columns])
        taken = [max(one[0], 0.0) - chlorine_after(one, 24.0, 0.0)[0] for one in points.tolist()]
        mean = sum(taken) / len(taken)
        half = happenings.two_sided(0.95) * math.dist(taken, [mean] * len(taken))
        half /= math.sqrt(len(taken))
        return mean, max(mean - half, 0.0), mean + half

    def yield_mg_l_day(self) -> tuple[float, float, float]:
        """Return what the generator makes in a day at full output [mg/L]: middle, low, high."""
        return self._rate("yield")

    def co2_loss_per_h(self, *, aerated: bool = False) -> tuple[float, float, float]:
        """Return the share of excess CO2 lost in an hour as a rate: middle, low, high (95 %)."""
        return self._rate("jets" if aerated else "still")

    def _rate(self, name: str) -> tuple[float, float, float]:
        band = self._ln_band(1.0, name, 0.95, LAW_ERROR.get(name, 0.0))
        return (math.exp(self._state.belief.of(name)), *band)

    def _ln_band(
        self, unit: float, name: str, confidence: float, unknown: float = 0.0
    ) -> tuple[float, float]:
        mean, variance = self._state.belief.moments({name: 1.0})
        variance += unknown * unknown
        half = happenings.two_sided(confidence) * math.sqrt(max(variance, 0.0))
        return unit * math.exp(mean - half), unit * math.exp(mean + half)

    @property
    def facts(self) -> tuple[str, ...]:
        """Return what the log has taught about this tub, as sentences."""
        return tuple(_facts(self, self._state))


def _facts(water: Water, state: State) -> Iterable[str]:
    """Tell only what the log has taught: a belief clearly narrower than it began."""
    stated = state.tub.volume_l
    low, high = water.volume_band_l()
    if state.belief.sd("volume") < 0.8 * VOLUME_SD and not 0.97 < water.volume_l / stated < 1.03:
        yield (
            f"This tub seems to hold {water.volume_l:,.0f} L, not {stated:,.0f} "
            f"(95 %: {low:,.0f} to {high:,.0f})."
        )
    for name, place in state.belief.index.items():
        if name.startswith("strength of ") and abs(state.belief.mean[place]) > 0.03:
            half = happenings.two_sided(0.95) * state.belief.sd(name)
            seems, least, most = (
                _against_label(float(state.belief.mean[place]) + by) for by in (0.0, -half, half)
            )
            yield f"{name[12:]} seems {seems} than its label (95 %: {least} to {most})."
    yield from _rates_told(water, state)


def _against_label(ln_strength: float) -> str:
    share = math.expm1(ln_strength)
    return f"{_percent(abs(share))} {'stronger' if share > 0.0 else 'weaker'}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _faded(rate_per_day: float) -> str:
    """Return what a rate takes away in a day, as a share."""
    return _percent(-math.expm1(-rate_per_day))


def _taught(state: State, name: str) -> bool:
    return state.belief.sd(name) < 0.8 * TUB_PRIORS[name][1]


def _rates_told(water: Water, state: State) -> Iterable[str]:
    if _taught(state, "decay"):
        middle, low, high = water.decay_per_day()
        yield (
            f"Chlorine fades by {_faded(middle)} a day by itself "
            f"(95 %: {_faded(low)} to {_faded(high)})."
        )
    if _taught(state, "decay") or _taught(state, "organics"):
        middle, low, high = water.daily_loss_mg_l()
        yield (
            f"With its demand the water takes {middle:.1f} mg/L of its chlorine in the next day "
            f"(95 %: {low:.1f} to {high:.1f})."
        )
    if _taught(state, "yield"):
        middle, low, high = water.yield_mg_l_day()
        yield (
            f"The generator makes {middle:.1f} mg/L a day at full output "
            f"(95 %: {low:.1f} to {high:.1f})."
        )
    if _taught(state, "still"):
        middle, low, high = water.co2_loss_per_h()
        yield (
            f"Standing water loses {_faded(24 * middle)} of its excess carbon dioxide a day "
            f"(95 %: {_faded(24 * low)} to {_faded(24 * high)}), which lifts the pH."
        )


def believe(
    log: Log,
    products: Mapping[str, Product],
    at: datetime,
    course: Course = NO_COURSE,
    counts: Callable[[Reading], bool] | None = None,
) -> Water:
    """Return what is believed of the water at a moment, from all the log says up to it.

    Parameters
    ----------
    log
        Events in order of time.
    products
        Every product a dose of the log names.
    at
        The moment asked about; later events are left out.
    course
        What the steps done tell: when the tub was filled, outputs set, jets run.
    counts
        Which readings count; all when None. A sensor's before it has settled should not.
    """
    past = [event for event in log.events if event.at <= at and not isinstance(event, Done)]
    if counts is not None:
        past = [event for event in past if not isinstance(event, Reading) or counts(event)]
    kept = worth_keeping(past)
    walk = Walk(log, products, course, at)
    walk.begin(kept[0].at if kept else at, anew=bool(kept) and kept[0] is not past[0])
    for event in kept:
        walk.take(event)
    walk.wait_until(at)
    return Water(walk.state, at)
