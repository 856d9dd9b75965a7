"""The colours in a CGATS.17 table: from LAB fields, from XYZ fields, or worked out from spectra.

A card's file is read where no photo is near, so this stands beside `reader.lab`, not on it, and
calls colour-science itself, only for files that hold no CIELAB.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from reader.errors import CardFileError

Lab = tuple[float, float, float]
ToLab = Callable[[list[list[float]]], list[Lab]]
"""From the numbers of each row to its colour."""

LAB_FIELDS = ("LAB_L", "LAB_A", "LAB_B")
XYZ_FIELDS = ("XYZ_X", "XYZ_Y", "XYZ_Z")
BAND = re.compile(r"(?:SPEC(?:TRAL)?|NM|R|REFL(?:ECTANCE)?)_?(?:NM)?_?(\d{3})")
"""Names that programs give to a band's reflectance: SPEC_380, SPECTRAL_NM380, NM_380, R_380 ..."""
D50_XY = (0.3457, 0.3585)
"""Chromaticity of D50, 2 degree observer, as CIE 15 rounds it."""
FEWEST_BANDS = 16
"""From 400 to 700 nm in steps of 20 nm: the coarsest table with published weights (ASTM E308)."""


def colour_of(fields: Sequence[str], stated: str, name: str) -> tuple[list[int], ToLab] | None:
    """Return the columns that hold the colour and how to make CIELAB of them; None for none.

    Parameters
    ----------
    fields
        The table's field names, in capitals.
    stated
        All that the file's keywords say of light and observer, in small letters.
    name
        What messages call the file.

    Raises
    ------
    CardFileError
        If the colours are for another light or observer than D50 and 2 degree, and no spectra
        stand beside them.
    """
    spectrum = [(int(m[1]), i) for i, field in enumerate(fields) if (m := BAND.fullmatch(field))]
    spectrum = [(nm, i) for nm, i in sorted(spectrum) if 300 <= nm <= 850]
    whole = len(spectrum) >= FEWEST_BANDS and spectrum[0][0] <= 400 and spectrum[-1][0] >= 700
    for kind, to_lab in ((LAB_FIELDS, _as_they_are), (XYZ_FIELDS, _from_xyz)):
        if set(kind) <= set(fields):
            if not (other := other_light(stated)):
                return [fields.index(field) for field in kind], to_lab
            if not whole:
                raise CardFileError(
                    f"{name}: the colours are for {other}; "
                    "export them for D50 and the 2 degree observer, or as spectra"
                )
    if not whole:
        return None
    waves = [float(nm) for nm, _ in spectrum]
    return [i for _, i in spectrum], lambda rows: _from_spectra(waves, rows, name)


def other_light(stated: str) -> str:
    """Return the light or observer that is stated and is not D50 or 2 degree; empty if none."""
    light = re.search(r"\b(?!d50\b)(d\d{2}|f\d{1,2})\b|illuminant[\s,=\"]+(a|c|e)\b", stated)
    if light and not re.search(r"\bd50\b", stated):
        return (light[1] or light[2]).upper()
    return "the 10 degree observer" if re.search(r"observer\D*10\b", stated) else ""


def _as_they_are(rows: list[list[float]]) -> list[Lab]:
    return [(row[0], row[1], row[2]) for row in rows]


def _from_xyz(rows: list[list[float]]) -> list[Lab]:
    xyz = np.array(rows)
    # Y of the brightest patch: percent, as the standard has it, or shares of 1.
    return _lab(xyz / 100.0 if xyz[:, 1].max() > 1.5 else xyz)


def _from_spectra(waves: list[float], rows: list[list[float]], name: str) -> list[Lab]:
    """Return CIELAB of reflectances by the weights of ASTM E308, D50 and 2 degree."""
    shares = np.array(rows)
    shares = shares / 100.0 if shares.max() > 2.0 else shares
    steps = set(np.diff(waves).tolist())
    if len(steps) != 1 or not steps <= {1.0, 5.0, 10.0, 20.0}:
        raise CardFileError(
            f"{name}: the spectra's bands do not stand 1, 5, 10 or 20 nm apart; "
            "export the measurement as Lab under D50, 2 degree"
        )
    colour = _colour_science()
    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D50"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells that it brings light and observer to one grid
        xyz = [
            colour.sd_to_XYZ(
                colour.SpectralDistribution(share, waves), cmfs, light, method="ASTM E308"
            )
            for share in shares
        ]
    return _lab(np.array(xyz) / 100.0)


def _lab(xyz: Any) -> list[Lab]:
    """Return CIELAB of XYZ (n, 3) under D50, white's Y being 1."""
    labs = _colour_science().XYZ_to_Lab(np.maximum(xyz, 0.0), D50_XY)
    return [(float(v[0]), float(v[1]), float(v[2])) for v in labs]


def _colour_science() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour
