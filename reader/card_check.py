"""What the card's own patches say about the photo: light, exposure, print."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reader.budget import budget_of, departure, mixing
from reader.card import Card
from reader.colour_fit import ColourFit
from reader.lab import delta_e00
from reader.light import Light

Array = NDArray[np.float64]

OFF_DE00, WRONG_DE00 = 1.0, 1.6
"""Median leave-one-out error of a measured card: above the first a person looks again, above the
second nothing is read. Good photos lie at 0.35 to 0.6, careless ones under warm lamps up to 0.95;
there the bands, which grow with this error, still hold."""

FADED_DE00, FADED_WARM_DE00 = 1.9, 0.4
"""Ninth decile of a measured card's errors above which a person looks again, and what warm lamps
add to it by `mixing`: a print that fades loses its vivid patches first, which the median hardly
feels. Of cards faded by a quarter to three fifths nine in ten lie above, of photos under household
lamps one in thirty."""

NOMINAL_OFF_DE00, NOMINAL_WRONG_DE00 = 1.8, 4.0
"""The same for a card whose print was not measured: its own errors are inside."""

CUT_WHITE = 0.6
"""Share of the white cut off above which the photo is too bright. Photos of which half was cut off
were still read rightly from the rest; those too bright for pads lose all of it."""

DARK_CODE = 0.33
"""A brightest channel of white below this code (a twelfth of full light) is too dark: colours are
told worse and worse. Photos down to 0.45 are read as well as bright ones."""

FEWEST_PATCHES = 20
"""With fewer good patches curve, matrix and bend cannot be told apart."""

SPOILED_PATCHES = 4
"""So many patches left out deserve a remark."""


WARM_MIXING = 0.8
"""A 3x3 that mixes more than this was seen under 3 in 4 bulbs and warm LEDs and 1 in 30 skies."""

ODD_DEPARTURE = 0.62
"""A 3x3 farther from plain sRGB than this is seen under coloured lamps and lamps with gaps."""

POOR_GROWTH = 2.4
"""A budget so many times the usual makes most bands too wide to act on."""


@dataclass(frozen=True)
class CardCheck:
    """How well the card's patches fit each other."""

    delta_e00_median: float
    delta_e00_p95: float
    reasons: tuple[str, ...]
    left_out: tuple[str, ...] = ()
    """Ids of the patches that were left out."""


def check_card(fit: ColourFit, light: Light, card: Card) -> CardCheck:
    """Return the leave-one-out error of the card's patches, and the reasons they give."""
    used = fit.used
    error = delta_e00(np.clip(fit.loo_lab, -300, 300), fit.samples.lab)[used]
    median, p95 = float(np.median(error)), float(np.quantile(error, 0.95))
    vivid = float(np.quantile(error, 0.9)) - FADED_WARM_DE00 * max(mixing(fit), 0.0)
    of_print = _print(median, vivid, card.measured)
    reasons = (*_exposure(light), *_patches(used), *_lamp(fit, card), *of_print)
    left_out = tuple(p.id for p, good in zip(card.patches, used, strict=True) if not good)
    return CardCheck(median, p95, reasons, left_out)


def _exposure(light: Light) -> tuple[str, ...]:
    if light.clipped_share > CUT_WHITE:
        return ("overexposed",)
    return ("underexposed",) if light.white_code.max(axis=1).mean() < DARK_CODE else ()


def _patches(used: NDArray[np.bool_]) -> tuple[str, ...]:
    if used.sum() < FEWEST_PATCHES:
        return ("few_patches",)
    return ("patches_spoiled",) if np.sum(~used) >= SPOILED_PATCHES else ()


def _lamp(fit: ColourFit, card: Card) -> tuple[str, ...]:
    """Return what the lamp does to the colours."""
    too_wide = card.measured and budget_of(fit, card).growth > POOR_GROWTH
    if too_wide or departure(fit) > ODD_DEPARTURE:
        return ("light_poor",)
    return ("light_warm",) if mixing(fit) > WARM_MIXING else ()


def _print(median: float, vivid: float, measured: bool) -> tuple[str, ...]:
    """Return what the print's errors say: their median, and their ninth decile less the lamp's."""
    off, wrong = (OFF_DE00, WRONG_DE00) if measured else (NOMINAL_OFF_DE00, NOMINAL_WRONG_DE00)
    remark = () if measured else ("card_nominal",)
    if median > wrong:
        return (*remark, "card_colours_wrong")
    faded = measured and vivid > FADED_DE00
    return (*remark, "card_colours_off") if faded or median > off else remark
