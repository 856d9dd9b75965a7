"""Lamps and daylight: spectra by kind, drawn by seed.

The kinds are groups a technician would name. Spectra are CIE illuminants and measured lamps as
colour-science tables them; temperatures and mixtures are drawn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.render.spectra import WAVES_NM, Array, bell, colour, d50, observer, on_grid, step

GOOD_LED = ("LED-B3", "LED-B4", "LED-B5", "LED-V2")
COMMON_LED = ("LED-B1", "LED-B2", "LED-BH1", "LED-V1", "LED-B3", "LED-B4")
TUBES = ("FL2", "FL3", "FL7", "FL8", "FL10", "FL11", "FL12", "FL3.4", "FL3.8", "FL3.10", "FL3.13")

OTHER_LED = ("PHOS-1", "PHOS-2", "PHOS-3", "PHOS-4", "Phosphor LED YAG", "Luxeon WW 2880")
OTHER_GOOD_LED = ("PHOS-2", "PHOS-4", "4-LED No Yellow")
OTHER_TUBES = (
    *("F32T8/TL830 (Triphosphor)", "F32T8/TL841 (Triphosphor)", "F32T8/TL865/PLUS (Triphosphor)"),
    *("F40/C50 (Broadband FL)", "F34/CW/RS/EW (Cool White FL)", "F40/DX (Broadband FL)"),
)
HARD = ("3-LED-1 (457/540/605)", "LED-RGB1", "Metal Halide", "HP3", "H38JA-100/DX (Mercury DX)")

KINDS = ("daylight", "good_led", "led", "fluorescent", "warm", "hard")
"""Kinds of one lamp; `mixed` lies in the scene: two lamps from two sides."""


@dataclass(frozen=True, eq=False)
class Light:
    """One lamp: its group, a name for the truth file, and its spectrum."""

    kind: str
    name: str
    power: Array
    """Spectral power, shape (71,), scaled so that the perfect diffuser has Y = 1."""

    @property
    def near_uv(self) -> float:
        """Near-ultraviolet share against D50's; drives the paper's brightener."""
        return float(uv_share(self.power) / uv_share(d50()))


def uv_share(power: Array) -> float:
    """Share of the power that lies under 405 nm."""
    return float(power[WAVES_NM <= 405.0].mean() / power[(WAVES_NM >= 420)].mean())


def scaled(power: Array) -> Array:
    """Return the spectrum with Y = 1."""
    return power / (power @ observer()[:, 1])


def tabled(name: str) -> Array:
    """Return a tabled illuminant or lamp by name."""
    tables = (colour.SDS_ILLUMINANTS, colour.colorimetry.SDS_LIGHT_SOURCES)
    return on_grid(next(table[name] for table in tables if name in table))


def daylight(kelvin: float) -> Array:
    """CIE daylight of the correlated colour temperature, 4000 to 25000 K."""
    xy = colour.temperature.CCT_to_xy_CIE_D(kelvin * 1.4388 / 1.4380)
    return on_grid(colour.sd_CIE_illuminant_D_series(xy))


def blackbody(kelvin: float) -> Array:
    """Planck's law (second radiation constant 1.438777e7 nm K, CODATA 2018), relative."""
    return WAVES_NM**-5.0 / np.expm1(1.438777e7 / (WAVES_NM * kelvin)) * 1e15


def white_led(rng: np.random.Generator, kelvin: float) -> Array:
    """An invented phosphor lamp: a blue pump and one or two broad phosphors of drawn places."""
    warm = (6500.0 - kelvin) / 3800.0
    pump = bell(rng.normal(452.0, 4.0), rng.uniform(7.0, 10.0))
    yellow = bell(rng.normal(548.0, 8.0), 42.0, rng.uniform(60.0, 72.0))
    red = bell(rng.normal(622.0, 6.0), 30.0, 34.0)
    return (1.15 - 0.85 * warm) * pump + 0.75 * yellow + (0.12 + 0.65 * warm) * red


def under_leaves(power: Array, rng: np.random.Generator) -> Array:
    """Daylight that came through window glass or off leaves: a little greener, less violet."""
    leaf = 0.75 + 0.25 * bell(552.0, 28.0) + 0.3 * step(692.0, 7.0)
    glass = 0.55 + 0.45 * step(388.0, 6.0)
    share = rng.uniform(0.0, 0.6)
    return power * glass * ((1.0 - share) + share * leaf)


def draw(kind: str, rng: np.random.Generator, other: bool = False) -> tuple[str, Array]:
    """Return name and spectrum; `other` draws from lamps the first set does not hold."""
    if kind == "daylight":
        low, high = (5000.0, 14000.0) if other else (4300.0, 8000.0)
        kelvin = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        power = daylight(kelvin)
        return f"D {kelvin:.0f} K", under_leaves(power, rng) if other else power
    if kind == "warm":
        kelvin = rng.uniform(2350.0, 3100.0)
        if rng.random() < 0.5:
            return f"bulb {kelvin:.0f} K", blackbody(kelvin)
        return f"warm led {kelvin:.0f} K", white_led(rng, kelvin)
    if kind == "led" and rng.random() < 0.4:
        kelvin = rng.uniform(2700.0, 6500.0)
        return f"led {kelvin:.0f} K", white_led(rng, kelvin)
    first = {"good_led": GOOD_LED, "led": COMMON_LED, "fluorescent": TUBES, "hard": HARD}
    second = {"good_led": OTHER_GOOD_LED, "led": OTHER_LED, "fluorescent": OTHER_TUBES}
    names = second.get(kind, first[kind]) if other else first[kind]
    name = names[int(rng.integers(len(names)))]
    return name, tabled(name)


def make(kind: str, seed: int, other: bool = False) -> Light:
    """Return the lamp of a kind drawn by seed."""
    rng = np.random.default_rng([seed, 11])
    name, power = draw(kind, rng, other)
    if kind != "daylight" and rng.random() < 0.5:
        # Lamps age and shades tint: a slow tilt of the spectrum.
        power = power * np.exp(rng.normal(0.0, 0.08) * (WAVES_NM - 560.0) / 150.0)
    return Light(kind, name, scaled(power))


def coloured(seed: int) -> Light:
    """Coloured lights as tubs have them: one narrow band over a little white."""
    rng = np.random.default_rng([seed, 12])
    band = bell(rng.choice([465.0, 525.0, 595.0, 630.0]) + rng.normal(0, 4), rng.uniform(9, 16))
    white = scaled(white_led(rng, 5000.0))
    power = scaled(band) * rng.uniform(0.4, 0.8) + white * 0.3
    return Light("coloured", "tub lights", scaled(power))
