"""Products: what a record must say, and what a gram of each does to the water."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from dosing.chemistry import MOVES, WaterSample, after
from dosing.constants import (
    ALKALINITY_PER_CHLORINE,
    CACO3_PER_MEQ,
    CACO3_PER_MMOL_HARDNESS,
    MOLAR_MASS,
)
from dosing.errors import LogError

DEFAULT_STRENGTH_ERROR_95: Final = 0.07
"""Relative 95 % error of a product's strength when its record gives none (common practice)."""


@dataclass(frozen=True, slots=True)
class Kind:
    """What a kind of product needs and moves."""

    needs: tuple[str, ...]
    formulas: tuple[str, ...]
    """Formulas a record of this kind may have; empty when it needs none."""
    analyte: str | None
    """The analyte it is bought for; None for what the engine never doses."""
    sign: int = 0
    """+1 raises that analyte, -1 lowers it."""


KINDS: Final[Mapping[str, Kind]] = {
    "chlorinating": Kind(
        ("formula", "available_chlorine"),
        ("NaOCl", "Ca(OCl)2", "NaCl2C3N3O3.2H2O"),
        *("free_chlorine", 1),
    ),
    "acid": Kind(("formula", "purity"), ("NaHSO4", "HCl", "H2SO4"), "ph", -1),
    "base_carbonate": Kind(("formula", "purity"), ("Na2CO3",), "ph", 1),
    "bicarbonate": Kind(("formula", "purity"), ("NaHCO3",), "total_alkalinity", 1),
    "calcium": Kind(("formula", "purity"), ("CaCl2", "CaCl2.2H2O"), "calcium_hardness", 1),
    "salt": Kind(("formula", "purity"), ("NaCl",), "salt", 1),
    "phosphate_remover": Kind(("removes_ug_per_g", "acts_over_h"), (), "phosphate", -1),
    "softening_medium": Kind(("removes_mg_caco3_per_g", "acts_over_h"), (), "calcium_hardness", -1),
    "dechlorinating": Kind(("removes_mg_cl2_per_g",), (), "free_chlorine", -1),
    "bromine": Kind((), (), None),
    "silver": Kind((), (), None),
    "monopersulfate": Kind((), (), None),
    "biguanide": Kind((), (), None),
}
"""The kinds of formats.md, and biguanide, which chlorine and bromine must never meet."""

RANGES: Final[Mapping[str, tuple[float, float]]] = {
    "purity": (0.0, 1.0),
    "available_chlorine": (0.0, 1.0),
    "removes_ug_per_g": (0.0, 1e6),
    "removes_mg_caco3_per_g": (0.0, 1e4),
    "removes_mg_cl2_per_g": (0.0, 1e4),
    "acts_over_h": (0.0, 24.0 * 60.0),
    "density_g_per_ml": (0.0, 5.0),
    "strength_error_95": (0.0, 0.9),
    "pack_g": (0.0, 1e6),
    "max_step_g": (0.0, 1e6),
}
"""What each number may be: more than the first, at most the second."""

MAY_BE_ZERO: Final = ("acts_over_h", "strength_error_95")
TEXTS: Final = ("id", "kind", "name", "note", "formula", "source")
CHLORINE_PER_MOLE: Final[Mapping[str, int]] = {
    "NaOCl": 1,
    "Ca(OCl)2": 2,
    "NaCl2C3N3O3.2H2O": 2,
}
"""Moles of available chlorine, as Cl2, in a mole of the compound."""
OVER_THEORY: Final = 1.15
"""A label may exceed the pure compound's chlorine by rounding and drying, not by more."""


@dataclass(frozen=True, slots=True)
class Product:
    """One product as sold; fractions are by mass, 0 to 1."""

    id: str
    kind: str
    formula: str | None = None
    purity: float | None = None
    available_chlorine: float | None = None
    removes_ug_per_g: float | None = None
    removes_mg_caco3_per_g: float | None = None
    removes_mg_cl2_per_g: float | None = None
    acts_over_h: float | None = None
    name: str | None = None
    density_g_per_ml: float | None = None
    strength_error_95: float = DEFAULT_STRENGTH_ERROR_95
    pack_g: float | None = None
    max_step_g: float | None = None
    note: str | None = None
    source: str | None = None
    former: bool = False
    """Once dosed from and no longer at hand: what it did is known, and it is never advised."""

    @property
    def label(self) -> str:
        """What to call it in a sentence."""
        return f"{self.name} ({self.id})" if self.name and self.name != self.id else self.id

    @property
    def analyte(self) -> str | None:
        """The analyte it is bought for."""
        return KINDS[self.kind].analyte

    @property
    def is_slow(self) -> bool:
        """Whether it acts over hours."""
        return bool(self.acts_over_h)

    def millilitres(self, grams: float) -> float | None:
        """Return the volume of so many grams [mL]; None for what is weighed."""
        return grams / self.density_g_per_ml if self.density_g_per_ml else None


class Products(Mapping[str, Product]):
    """The products at hand by id, in the order written."""

    def __init__(self, products: Iterable[Product]) -> None:
        self._by_id = {product.id: product for product in products}

    def __getitem__(self, key: str) -> Product:
        return self._by_id[key]

    def __iter__(self) -> Iterator[str]:
        return iter(self._by_id)

    def __len__(self) -> int:
        return len(self._by_id)

    def of_kind(self, kind: str) -> tuple[Product, ...]:
        """Return the products of a kind that are at hand, first choice first."""
        found = (product for product in self._by_id.values() if product.kind == kind)
        return tuple(product for product in found if not product.former)


def load_products(records: Iterable[Mapping[str, Any]], name: str = "products") -> Products:
    """Return the checked products.

    Parameters
    ----------
    records
        Product records as a log writes them.
    name
        What to call the list in messages.

    Raises
    ------
    LogError
        For the first record that cannot be used, naming product, field and cure.
    """
    loaded: dict[str, Product] = {}
    for place, record in enumerate(records):
        product = _product(record, f"{name}[{place}]")
        if product.id in loaded:
            raise LogError(
                f"{name}[{place}]: a second product has the id {product.id!r}; "
                "give each product its own id"
            )
        loaded[product.id] = product
    return Products(loaded.values())


@lru_cache(maxsize=1)
def generic_products() -> Products:
    """Return the built-in products, one or two a kind."""
    text = (Path(__file__).parent / "data" / "products.toml").read_text(encoding="utf-8")
    return load_products(tomllib.loads(text)["product"], "products.toml: product")


def _product(record: Mapping[str, Any], where: str) -> Product:
    for key in ("id", "kind"):
        if not isinstance(record.get(key), str) or not record[key].strip():
            raise LogError(f"{where}: the field {key!r} is missing or empty; add it as text")
    where = f"{where} ({record['id']})"
    kind = record["kind"]
    if kind not in KINDS:
        raise LogError(f"{where}: the kind {kind!r} is unknown; known are: {', '.join(KINDS)}")
    for key in KINDS[kind].needs:
        if record.get(key) is None:
            needs = " and ".join(KINDS[kind].needs)
            raise LogError(
                f"{where}: the field {key!r} is missing; a product of kind {kind} needs {needs}"
            )
    given = {key: record[key] for key in (*TEXTS, *RANGES) if record.get(key) is not None}
    for key, value in given.items():
        given[key] = _number(value, key, where) if key in RANGES else _text(value, key, where)
    _check_formula(given, kind, where)
    return Product(**given, former=_former(record, where))


def _former(record: Mapping[str, Any], where: str) -> bool:
    former = record.get("former", False)
    if not isinstance(former, bool):
        raise LogError(f"{where}: the field 'former' is {former!r}; write true or false")
    return former


def _text(value: Any, key: str, where: str) -> str:
    if not isinstance(value, str):
        raise LogError(f"{where}: the field {key!r} is {value!r}; write it as text")
    return value


def _number(value: Any, key: str, where: str) -> float:
    above, most = RANGES[key]
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise LogError(f"{where}: the field {key!r} is {value!r}; write a plain number")
    if value > most or value < above or (value == above and key not in MAY_BE_ZERO):
        hint = "; a mass fraction, 0.93 for 93 %" if most == 1.0 else ""
        raise LogError(
            f"{where}: the field {key!r} is {value:g}; it must be over {above:g} "
            f"and at most {most:g}{hint}"
        )
    return float(value)


def _check_formula(given: Mapping[str, Any], kind: str, where: str) -> None:
    formulas, formula = KINDS[kind].formulas, given.get("formula")
    if formulas and formula not in formulas:
        raise LogError(
            f"{where}: the formula {formula!r} does not fit a product of kind {kind}; "
            f"known are: {', '.join(formulas)}"
        )
    if kind == "chlorinating":
        pure = CHLORINE_PER_MOLE[str(formula)] * MOLAR_MASS["Cl2"] / MOLAR_MASS[str(formula)]
        if given["available_chlorine"] > OVER_THEORY * pure:
            raise LogError(
                f"{where}: the field 'available_chlorine' is {given['available_chlorine']:g}, but "
                f"pure {formula} holds {pure:.3f}; check strength and formula on the label"
            )


def dissolved(product: Product, grams: float, volume_l: float) -> dict[str, float]:
    """Return the pure compounds that so many grams bring into the water.

    Parameters
    ----------
    grams
        Of the product as sold.
    volume_l
        Water it dissolves in [L].

    Returns
    -------
    dict
        mg/L of each pure compound by formula, for `dosing.chemistry.after`; empty for products
        that take something away.
    """
    mg_l = grams / volume_l * 1000.0
    if product.kind == "chlorinating":
        formula = product.formula or "NaOCl"
        millimoles = mg_l * (product.available_chlorine or 0.0) / MOLAR_MASS["Cl2"]
        made = {formula: millimoles / CHLORINE_PER_MOLE[formula] * MOLAR_MASS[formula]}
        if formula == "NaOCl":  # made from chlorine and lye: as much salt as hypochlorite
            made["NaCl"] = millimoles * MOLAR_MASS["NaCl"]
        return made
    if product.purity is not None and product.formula is not None:
        return {product.formula: mg_l * product.purity}
    return {}


def effect(
    product: Product, grams: float, volume_l: float, sample: WaterSample | None = None
) -> dict[str, float]:
    """Return what so many grams change in the water, side effects and all.

    Parameters
    ----------
    sample
        The water before, for the change of pH; without it `ph` is left out.

    Returns
    -------
    dict
        Change by analyte, in the units of the log; what does not move is left out. Slow products
        are given with all they will take in the end, whether or not the water holds as much.

    Notes
    -----
    Molar masses: iupac2021. A mole of hypochlorite brings one equivalent of alkalinity, a mole of
    dichlor one (as cyanurate). Lanthanum takes 1.05 mg/L of alkalinity with each mg/L of phosphate.
    """
    added = dissolved(product, grams, volume_l)
    change = _moved(added)
    change |= _removed(product, grams / volume_l * 1000.0)
    if sample is not None and added:
        change["ph"] = after(sample, added).ph - sample.ph
    return {analyte: by for analyte, by in change.items() if by}


def _moved(added: Mapping[str, float]) -> dict[str, float]:
    """Return the change of each analyte by dissolved compounds [mg/L]."""
    change: dict[str, float] = {}
    for formula, mg_l in added.items():
        for analyte, per_mg in per_mg_of(formula).items():
            change[analyte] = change.get(analyte, 0.0) + per_mg * mg_l
    return change


@lru_cache(maxsize=64)
def per_mg_of(formula: str) -> Mapping[str, float]:
    """Return the change of each analyte per mg/L of a pure compound, from molar masses.

    `salt` is what a strip shows: chloride, whatever brought it, as sodium chloride.
    """
    move, mass = MOVES[formula], MOLAR_MASS[formula]
    hardness = move.calcium * CACO3_PER_MMOL_HARDNESS / mass
    chlorine = move.chlorine * MOLAR_MASS["Cl2"] / mass
    change = {
        "total_alkalinity": move.alkalinity * CACO3_PER_MEQ / mass,
        "calcium_hardness": hardness,
        "total_hardness": hardness,
        "salt": move.chloride * MOLAR_MASS["NaCl"] / mass,
        "cyanuric_acid": move.cyanurate * MOLAR_MASS["C3H3N3O3"] / mass,
        "free_chlorine": chlorine,
        "total_chlorine": chlorine,
        "sulfate": move.sulfate * MOLAR_MASS["SO4"] / mass,
    }
    return {analyte: by for analyte, by in change.items() if by}


def _removed(product: Product, mg_l: float) -> dict[str, float]:
    """Return the change by products that take something away; `mg_l` of the product as sold."""
    if product.removes_ug_per_g is not None:
        taken = mg_l * product.removes_ug_per_g / 1000.0
        return {"phosphate": -taken, "total_alkalinity": -taken / 1000.0 * 1.05}
    if product.removes_mg_caco3_per_g is not None:
        taken = mg_l * product.removes_mg_caco3_per_g / 1000.0
        return {"calcium_hardness": -taken, "total_hardness": -taken}
    if product.removes_mg_cl2_per_g is not None:
        taken = mg_l * product.removes_mg_cl2_per_g / 1000.0
        by_alkalinity = _alkalinity_of_neutralising(product.removes_mg_cl2_per_g)
        return {
            "free_chlorine": -taken,
            "total_chlorine": -taken,
            "total_alkalinity": by_alkalinity * taken,
        }
    return {}


def _alkalinity_of_neutralising(removes_mg_cl2_per_g: float) -> float:
    """Return the change of alkalinity per mg/L of chlorine neutralised with thiosulfate.

    From +0.706 when all becomes tetrathionate (half a mole of chlorine a mole) to -1.059 when all
    becomes sulfate (four moles), linear in the moles of acid between; stoichiometry, iupac2021.
    """
    moles = removes_mg_cl2_per_g / 1000.0 * MOLAR_MASS["Na2S2O3.5H2O"] / MOLAR_MASS["Cl2"]
    moles = min(max(moles, 0.5), 4.0)
    acid = -0.5 + (moles - 0.5) / 3.5 * 6.5
    return -acid / moles * ALKALINITY_PER_CHLORINE


def amount_for(product: Product, change: float, volume_l: float) -> float:
    """Return the grams that change the product's own analyte by so much, pH excepted.

    Parameters
    ----------
    change
        Wanted change of `product.analyte` in its unit; for acids and soda ash that of the total
        alkalinity. A change in the other direction than the product's gives 0.
    """
    analyte = "total_alkalinity" if product.analyte == "ph" else product.analyte
    if analyte is None:
        return 0.0
    per_gram = effect(product, 1.0, volume_l).get(analyte, 0.0)
    return max(change / per_gram, 0.0) if per_gram else 0.0
