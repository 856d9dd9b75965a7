"""What a photo is made of, as spectra: observer, lights, cameras, printers, dyes.

For `tests.bench.colour_study`; even places of a list serve for choosing, odd ones for judging.
"""

from __future__ import annotations

import csv
import warnings
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import colour


Array = Any

WAVELENGTHS_NM = np.arange(390.0, 731.0, 5.0)
GROUPS = ("daylight", "led", "fluorescent", "warm")

LED = (
    *("LED-B3", "LED-B4", "LED-B5", "LED-V2", "LED-BH1", "PHOS-1", "PHOS-3", "PHOS-4"),
    "Phosphor LED YAG",
)
FLUORESCENT = (
    *("FL2", "FL3", "FL7", "FL8", "FL9", "FL11", "FL3.2", "FL3.5", "FL3.8", "FL3.11", "FL3.15"),
    *("Philips TL-84", "T8 Polylux 4000", "F32T8/TL841 (Triphosphor)", "F40/C50 (Broadband FL)"),
)
WARM = (
    *("A", "LED-B1", "LED-B2", "LED-V1", "FL4", "FL12", "Luxeon WW 2880", "60 A/W (Soft White)"),
    *("F32T8/TL830 (Triphosphor)", "PHOS-2", "T8 Polylux 3000"),
)


@lru_cache(None)
def observer() -> tuple[Array, Array]:
    """Return the 1931 observer's functions (n, 3) and D50's spectrum, white having Y = 1."""
    shape = colour.SpectralShape(390, 730, 5)
    functions = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape).values
    d50 = colour.SDS_ILLUMINANTS["D50"].copy().align(shape).values
    return functions, d50 / (d50 @ functions[:, 1])


def lab_of(reflectance: Array) -> Array:
    """Return CIELAB (D50, 2 degree) of reflectances (..., n), white being the perfect diffuser."""
    functions, d50 = observer()
    xyz = reflectance @ (functions * d50[:, None])
    return colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(d50 @ functions))


@lru_cache(None)
def light(name: str) -> Array:
    """Return a light's spectrum with mean 1."""
    shape = colour.SpectralShape(390, 730, 5)
    if name.startswith("day"):
        kelvin = float(name[3:])
        xy = colour.temperature.CCT_to_xy_CIE_D(kelvin)
        spectrum = colour.sd_CIE_illuminant_D_series(xy)
    else:
        tables = [colour.SDS_ILLUMINANTS, colour.SDS_LIGHT_SOURCES]
        spectrum = next(t[name] for t in tables if name in t)
    values = spectrum.copy().align(shape).values
    return np.clip(values, 0, None) / values.mean()


def lights_of(group: str, held_out: bool) -> list[str]:
    """Return the lights of a group; even places serve for choosing, odd ones for judging."""
    if group == "daylight":
        return [f"day{k}" for k in (range(4250, 7501, 500) if held_out else range(4000, 7501, 500))]
    names = {"led": LED, "fluorescent": FLUORESCENT, "warm": WARM}[group]
    return list(names[1::2] if held_out else names[0::2])


def bell(centre: float, width: float) -> Array:
    """Return a Gaussian band over the wavelengths."""
    return np.exp(-0.5 * ((WAVELENGTHS_NM - centre) / width) ** 2)


@lru_cache(None)
def measured_cameras() -> list[Array]:
    """Return the sensitivities (n, 3) of the cameras colour-science ships."""
    shape = colour.SpectralShape(390, 730, 5)
    cameras = [c.copy().align(shape).values for c in colour.MSDS_CAMERA_SENSITIVITIES.values()]
    path = Path(colour.__file__).parent / "characterisation/datasets/rawtoaces"
    table_file = next(path.glob("*_RGB_Sensitivities.csv"))
    rows = list(csv.reader(table_file.read_text().splitlines()))
    table = np.array([[float(v) for v in row] for row in rows if row[0][0].isdigit()])
    cameras.append(
        np.stack([np.interp(WAVELENGTHS_NM, table[:, 0], table[:, k]) for k in (1, 2, 3)], 1)
    )
    return [np.clip(c, 0, None) / c.max(0) for c in cameras]


def phone(rng: np.random.Generator) -> Array:
    """Return invented phone sensitivities (n, 3): dyed filters, a cut-off, some cross-talk."""
    red = bell(rng.normal(600, 6), rng.uniform(30, 42)) + rng.uniform(0, 0.1) * bell(540, 30)
    green = bell(rng.normal(532, 5), rng.uniform(34, 46))
    blue = bell(rng.normal(458, 5), rng.uniform(24, 34))
    leak = rng.uniform(0.01, 0.10, 4)
    mixed = np.stack(
        [red + leak[0] * blue, green + leak[1] * blue + leak[2] * red, blue + leak[3] * green], 1
    )
    cut = 1 / (1 + np.exp((WAVELENGTHS_NM - rng.uniform(640, 675)) / rng.uniform(4, 10)))
    return mixed * cut[:, None]


def camera(rng: np.random.Generator, held_out: bool) -> Array:
    """Return a camera: mostly phones, sometimes a measured one with its bands shifted a little."""
    if rng.random() < 0.25:
        known = measured_cameras()
        pick = known[2] if held_out else known[0]
        shift = rng.normal(0, 1.5)
        return np.stack(
            [np.interp(WAVELENGTHS_NM + shift, WAVELENGTHS_NM, pick[:, k]) for k in range(3)], 1
        )
    return phone(rng)


# ---------------------------------------------------------------- what is photographed


@dataclass(frozen=True)
class Printer:
    """Inks and paper: enough to print a card."""

    solids: Array  # (16, n) reflectances of the Neugebauer primaries to the power 1/n
    n: float
    gain: Array  # (4,)

    def reflectance(self, areas: Array) -> Array:
        """Return the reflectance (k, n) of ink areas (k, 4) in 0..1."""
        grown = np.clip(areas + self.gain * 4 * areas * (1 - areas), 0, 1)
        weights = np.ones((len(areas), 16))
        for ink in range(4):
            on = (np.arange(16) >> ink) & 1
            weights *= np.where(on, grown[:, [ink]], 1 - grown[:, [ink]])
        return (weights @ self.solids) ** self.n


def printer(rng: np.random.Generator, spread: float = 1.0, kind: int = 0) -> Printer:
    """Return a printer near a kind (0: pigment, 1: dye ink, 2: toner)."""
    centres = np.array([[[630, 46], [545, 34], [440, 32]], [[640, 52], [555, 30], [432, 36]],
                        [[615, 44], [540, 40], [446, 28]]][kind], float)  # fmt: skip
    centres[:, 0] += rng.normal(0, 6 * spread, 3)
    strength = np.array([2.3, 2.5, 2.4]) * (1 + rng.normal(0, 0.07 * spread, 3))
    inks = [s * bell(c, w) + 0.04 * s for s, (c, w) in zip(strength, centres, strict=True)]
    inks[0] = inks[0] + 0.35 * bell(700, 50) + 0.10 * bell(420, 25)
    inks[1] = inks[1] + 0.30 * bell(430, 40) + 0.06 * bell(590, 12)
    black = np.full(len(WAVELENGTHS_NM), 2.9) * (1 + 0.02 * rng.normal())
    paper = 0.90 - 0.06 * bell(390, rng.uniform(15, 30)) + rng.normal(0, 0.008 * spread)
    densities = [*inks, black]
    solids = []
    for which in range(16):
        density = sum((densities[k] for k in range(4) if (which >> k) & 1), np.zeros_like(black))
        solids.append(0.012 + (paper - 0.012) * np.exp(-np.minimum(density, 3.4)))
    n = rng.uniform(1.5, 2.4)
    gain = np.clip(0.12 + rng.normal(0, 0.03 * spread, 4), 0, 0.25)
    return Printer(np.array(solids) ** (1 / n), n, gain)


def kubelka_munk(ground: float, absorbing: Array) -> Array:
    """Return the reflectance of a dyed pad from its ground's and the dye's K/S."""
    ks = (1 - ground) ** 2 / (2 * ground) + absorbing
    return 1 + ks - np.sqrt(ks**2 + 2 * ks)


@dataclass(frozen=True)
class Dye:
    """A pad that turns from one form to the other."""

    first: tuple[tuple[float, float, float], ...]  # centre, width, strength
    second: tuple[tuple[float, float, float], ...]


DYES = {
    "ph": Dye(((432, 38, 1.5),), ((558, 30, 2.2), (520, 28, 1.0), (430, 30, 0.3))),
    "chlorine": Dye(((420, 40, 0.06),), ((552, 32, 1.6), (512, 26, 1.0))),
    "alkalinity": Dye(((435, 36, 1.6),), ((615, 34, 1.5), (575, 28, 0.7), (400, 30, 0.4))),
    "hardness": Dye(((610, 40, 0.9), (570, 30, 0.5)), ((535, 34, 1.3), (495, 26, 0.5))),
    "cyanuric": Dye(((470, 40, 0.9), (440, 30, 0.5)), ((530, 34, 1.2), (500, 30, 0.6))),
}


def own_dye(rng: np.random.Generator) -> Dye:
    """Return an invented dye of another strip."""

    def form() -> tuple[tuple[float, float, float], ...]:
        return tuple(
            (rng.uniform(410, 640), rng.uniform(22, 45), rng.uniform(0.15, 1.6))
            for _ in range(int(rng.integers(1, 4)))
        )

    return Dye(form(), form())


def pad_spectra(rng: np.random.Generator, dye: Dye, shares: Array, vary: float = 4.0) -> Array:
    """Return reflectances (k, n) of a pad at each share of its second form."""
    ground = rng.uniform(0.76, 0.84)

    def bands(form: tuple[tuple[float, float, float], ...]) -> Array:
        return sum(
            s
            * np.exp(rng.normal(0, 0.08))
            * bell(c + rng.normal(0, vary), w * rng.uniform(0.9, 1.1))
            for c, w, s in form
        )

    first, second = bands(dye.first), bands(dye.second)
    return np.array([kubelka_munk(ground, (1 - x) * first + x * second) for x in shares])
