"""Waters of known value for a calibration table: what to weigh, how to dilute, how sure it is.

A salt of known formula is weighed into a stock; the series is diluted from it, through a middle
dilution where the scale could not weigh so little. Every value is computed from the amounts as
rounded for scale and measure, with its 95 % band from purity, weighing and volumes.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

from dosing.cautions import ALWAYS
from dosing.phosphate_buffer import PhosphateBuffer, phosphate_buffer
from dosing.substances import ALIASES, PER_MG_L, SERIES, SUBSTANCES, Substance

SCALE_ERROR_G: Final = 0.01
"""95 % error of a pocket scale that shows 0.01 g (common practice, no source)."""

FLASK_ERROR: Final = 0.01
"""Relative 95 % error of a litre marked on a jug or cylinder (common practice, no source)."""

SYRINGE_ERROR_ML: Final = 0.1
SYRINGE_ERROR: Final = 0.01
"""95 % error of what a 10 mL syringe gives: this much and this share (common practice)."""

WELL_WEIGHED: Final = 100.0
"""Weigh at least this many scale errors, so that weighing errs by no more than 1 %."""

LEAST_ML: Final = 2.0
"""Smallest amount to measure with a syringe."""

LARGEST_SHARE: Final = 0.2
"""The strongest standard takes at most this share of its volume as stock."""


class RecipeError(ValueError):
    """A series that cannot be mixed; says what is wrong and what to do."""


@dataclass(frozen=True)
class Standard:
    """One water of the series."""

    value: float
    """From the amounts as rounded."""
    low: float
    high: float
    """95 % band."""
    parts_ml: Mapping[str, float]
    """What to measure, mL by name; filled up with water to the volume."""


@dataclass(frozen=True)
class Recipe:
    """A series of waters of known value."""

    analyte: str
    unit: str
    volume_ml: float
    standards: tuple[Standard, ...]
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    """Keys of the bibliography."""


@dataclass(frozen=True)
class Means:
    """What the shop measures with; errors are 95 %."""

    scale_error_g: float = SCALE_ERROR_G
    flask_error: float = FLASK_ERROR
    syringe_error_ml: float = SYRINGE_ERROR_ML
    syringe_error: float = SYRINGE_ERROR


COMMON_CAUTIONS = (
    *ALWAYS[:3],
    "Gloves and goggles on; work where the air moves.",
    "Write on every bottle what it holds, how strong it is and the date; keep it from children, "
    "and never use vessels of the kitchen again for food.",
    "These waters are for strips only: pour them away with plenty of water, never into a tub.",
)
"""With every recipe (common practice; the first two epa_550_f_01_003, narromine)."""


def mix(
    analyte: str,
    values: Sequence[float] | None = None,
    volume_ml: float = 500.0,
    formula: str | None = None,
    purity: float | None = None,
    means: Means | None = None,
) -> Recipe:
    """Return how to mix a series of waters of known value.

    Parameters
    ----------
    analyte
        A name of `SERIES`, or total_chlorine, total_hardness.
    values
        Values wanted, in the analyte's own unit; the usual series if not given.
    volume_ml
        How much of each water is made.
    formula
        What to make it from; the first of `SUBSTANCES` if not given.
    purity
        Mass fraction of the compound, 0 to 1; for NaOCl the available chlorine as Cl2.
    means
        What the shop measures with.

    Raises
    ------
    RecipeError
        For an analyte, formula or value that no recipe fits.
    """
    means = means or Means()
    base = ALIASES.get(analyte, analyte)
    if base not in SERIES:
        raise RecipeError(f"no recipe for {analyte!r}; there are: {', '.join([*SERIES, *ALIASES])}")
    wanted = _checked(SERIES[base] if values is None else values, base)
    if not 50.0 <= volume_ml <= 20000.0:
        raise RecipeError(f"{volume_ml:g} mL of each water cannot be made; choose 50 to 20000")
    if base == "ph":
        if formula is not None or purity is not None:
            raise RecipeError("pH is made from two phosphates; leave formula and purity out")
        return _ph_recipe(wanted, volume_ml, means)
    substance = _substance(base, formula)
    return _diluted(analyte, base, wanted, volume_ml, substance, _pure(substance, purity), means)


def _checked(values: Sequence[float], analyte: str) -> tuple[float, ...]:
    wanted = tuple(sorted({float(v) for v in values}))
    low, high = (6.0, 8.6) if analyte == "ph" else (0.0, 100.0 * max(SERIES[analyte]))
    for value in wanted:
        if not (math.isfinite(value) and low <= value <= high):
            raise RecipeError(f"{analyte} {value:g} cannot be mixed; choose {low:g} to {high:g}")
    if not wanted or (analyte != "ph" and wanted[-1] == 0.0):
        raise RecipeError("a series needs at least one value above zero; name more values")
    return wanted


def _substance(analyte: str, formula: str | None) -> Substance:
    known = SUBSTANCES[analyte]
    if formula is None:
        return known[0]
    for substance in known:
        if substance.formula == formula:
            return substance
    names = ", ".join(substance.formula for substance in known)
    raise RecipeError(f"{analyte} is not made from {formula!r} here; choose one of: {names}")


def _pure(substance: Substance, purity: float | None) -> float:
    if purity is None and substance.formula == "NaOCl":
        raise RecipeError(
            "bleach needs its available chlorine as a mass fraction; read it from the label, or "
            "better from a drop test of the diluted stock, for example 0.06"
        )
    pure = 1.0 if purity is None else purity
    if not 0.005 <= pure <= 1.0:
        raise RecipeError(f"purity {pure:g} cannot be; it is a mass fraction such as 0.99")
    return pure


def _diluted(
    analyte: str,
    base: str,
    wanted: Sequence[float],
    volume_ml: float,
    substance: Substance,
    pure: float,
    means: Means,
) -> Recipe:
    per_mg = PER_MG_L.get(base, 1.0)
    unit = "ug/L" if per_mg > 1.0 else "mg/L"
    stock, tenfold = _strengths(wanted[-1] / per_mg, substance, pure, means)
    grams = _rounded(stock / substance.gives_mg_per_g / pure, means.scale_error_g)
    made = grams * substance.gives_mg_per_g * pure / 10.0**tenfold
    share = "" if pure == 1.0 else f", {pure:g} pure"
    steps = [
        f"Stock: weigh {grams:.2f} g of {substance.name} ({substance.formula}{share}) into "
        f"distilled water and fill up to 1 litre: {_plain(made * 10.0**tenfold * per_mg)} {unit}."
    ]
    steps += [
        f"{name.capitalize()}: 100 mL of the {of} filled up to 1 litre with distilled water: "
        f"{_plain(made * 10.0 ** (tenfold - i) * per_mg)} {unit}."
        for i, (name, of) in enumerate(_DILUTIONS[:tenfold], 1)
    ]
    name = "stock" if tenfold == 0 else _DILUTIONS[tenfold - 1][0]
    error = _relative(means, substance, grams, tenfold)
    standards = []
    for value in wanted:
        ml = round(value / per_mg / made * volume_ml, 1)
        if value > 0.0 and ml < LEAST_ML:
            raise RecipeError(
                f"{value:g} {unit} would take {ml:g} mL of the {name}, too little to measure; "
                "make more of each water or a shorter series"
            )
        standards.append(_standard(ml, made * per_mg, volume_ml, name, error, means))
    steps.append(
        f"Each water: measure its mL of the {name} and fill up to {volume_ml:g} mL with distilled "
        "water; 0 is the distilled water itself. Turn it over ten times."
    )
    steps += _NOTES.get(base, ())
    return Recipe(
        analyte,
        unit,
        volume_ml,
        tuple(standards),
        tuple(steps),
        (*COMMON_CAUTIONS, *substance.cautions),
        ("iupac2021", "common_practice", "derived"),
    )


_DILUTIONS = (("middle dilution", "stock"), ("weak dilution", "middle dilution"))

_NOTES: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "free_chlorine": (
            "Chlorine fades: check the strongest water by a drop test right before dipping and, "
            "if it differs by more than the band, scale all values by what it shows.",
        ),
        "calcium_hardness": (
            "Add 0.13 g of baking soda a litre to every water, so that strips meet the alkalinity "
            "(80 mg/L) that they are made for.",
        ),
        "cyanuric_acid": (
            "Add 0.13 g of baking soda a litre to every water, so that strips meet the alkalinity "
            "(80 mg/L) that they are made for.",
        ),
        "total_alkalinity": (
            "Close the bottles: stirred in air the pH rises, not the alkalinity.",
        ),
    }
)


def _strengths(top: float, substance: Substance, pure: float, means: Means) -> tuple[float, int]:
    """Return the stock's strength [mg/L] and how many tenfold dilutions follow it."""
    working = _nice(min(top / LARGEST_SHARE, substance.dissolves_mg_l))
    if working < top:
        raise RecipeError(
            f"{top:g} mg/L does not dissolve from {substance.formula}; choose smaller values"
        )
    most = len(_DILUTIONS)
    for tenfold in range(most + 1):
        stock = working * 10.0**tenfold
        grams = stock / substance.gives_mg_per_g / pure
        weighed = grams >= WELL_WEIGHED * means.scale_error_g
        if weighed or tenfold == most or 10.0 * stock > substance.dissolves_mg_l * 1.001:
            break
    return stock, tenfold


def _plain(number: float) -> str:
    """Return a number to four figures, without an exponent."""
    return f"{float(f'{number:.4g}'):,.10g}"


def _nice(number: float) -> float:
    """Return the largest of 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten within it."""
    power = 10.0 ** math.floor(math.log10(number))
    steps = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
    return power * max(step for step in steps if step * power <= number * 1.0001)


def _rounded(grams: float, scale_error_g: float) -> float:
    step = 0.01 if scale_error_g >= 0.005 else 0.001
    return max(round(grams / step) * step, step)


def _relative(means: Means, substance: Substance, grams: float, tenfold: int) -> float:
    """Return the relative 95 % error of what the standards are diluted from."""
    parts = [substance.error_95, means.scale_error_g / grams, means.flask_error]
    parts += [means.flask_error] * (2 * tenfold)
    return math.sqrt(sum(part**2 for part in parts))


def _standard(
    ml: float, strength: float, volume_ml: float, name: str, error: float, means: Means
) -> Standard:
    if ml == 0.0:
        return Standard(0.0, 0.0, 0.0, MappingProxyType({}))
    value = ml * strength / volume_ml
    measured = math.hypot(means.syringe_error_ml / ml, means.syringe_error)
    reach = value * math.sqrt(error**2 + measured**2 + means.flask_error**2)
    return Standard(value, value - reach, value + reach, MappingProxyType({name: ml}))


def _ph_recipe(wanted: Sequence[float], volume_ml: float, means: Means) -> Recipe:
    buffers = [phosphate_buffer(ph, volume_ml, means.flask_error) for ph in wanted]
    standards = tuple(_ph_standard(buffer) for buffer in buffers)
    acid_g, base_g = buffers[0].acid_g_per_l, buffers[0].base_g_per_l
    steps = (
        f"Sour stock: {acid_g:.2f} g of potassium dihydrogen phosphate (KH2PO4) filled up to "
        "1 litre with distilled water.",
        f"Basic stock: {base_g:.2f} g of disodium hydrogen phosphate, dry (Na2HPO4), filled up to "
        "1 litre with distilled water.",
        f"Each water: measure its mL of both stocks and fill up to {volume_ml:g} mL with distilled "
        "water.",
        "Check each with a pH meter set on two buffers just before; what the meter shows is the "
        "value to write down. A phosphate pad cannot be made in these waters.",
    )
    sources = ("iupac2021", "davies1962", "common_practice")
    return Recipe("ph", "pH", volume_ml, standards, steps, COMMON_CAUTIONS, sources)


def _ph_standard(buffer: PhosphateBuffer) -> Standard:
    parts = {"sour stock": buffer.acid_ml, "basic stock": buffer.base_ml}
    low, high = buffer.ph - buffer.error_95, buffer.ph + buffer.error_95
    return Standard(buffer.ph, low, high, MappingProxyType(parts))


def as_dict(recipe: Recipe) -> dict[str, Any]:
    """Return the answer of `dipstep table recipe --json`."""
    return {
        "analyte": recipe.analyte,
        "unit": recipe.unit,
        "volume_ml": recipe.volume_ml,
        "standards": [
            {
                "value": float(f"{s.value:.4g}"),
                "low": float(f"{s.low:.4g}"),
                "high": float(f"{s.high:.4g}"),
                "parts_ml": dict(s.parts_ml),
            }
            for s in recipe.standards
        ],
        "steps": list(recipe.steps),
        "cautions": list(recipe.cautions),
        "sources": list(recipe.sources),
    }
