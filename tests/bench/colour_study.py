"""Colour correction at patch level: no pictures, only what a phone would write.

    python -m tests.bench colour_study [--shots N] [--first SEED] [--careless SHARE]

Pads are dyes (Kubelka-Munk), the card is printing ink (Yule-Nielsen modified Neugebauer), phones
are sensitivities with a white balance, a matrix, a tone curve and a taste for saturation, lights
are colour-science's measured and standard spectra. It shares no mathematics with the reader beyond
CIELAB itself, and is quick enough to look at thousands of photos: constants are chosen on some
cameras, lights, dyes and printers and judged on others. Told are the pads' errors, the card's own
error, and how often the pads' 95 % regions (card fit and budget, Student t) hold the true colour.
"""

from __future__ import annotations

import argparse
import csv
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.stats import f as f_distribution

from reader.budget import budget_of
from reader.card import standard_card
from reader.colour_fit import Samples, solve
from reader.lab import delta_e00
from reader.light import Light
from reader.pads import SAMPLE_DOF
from tests.bench.colour_world import (
    DYES,
    GROUPS,
    WAVELENGTHS_NM,
    Array,
    camera,
    colour,
    lab_of,
    light,
    lights_of,
    own_dye,
    pad_spectra,
    printer,
)

__all__ = ["GROUPS", "Shot", "shoot"]


def to_srgb_matrix(sensitivity: Array, spectrum: Array) -> Array:
    """Return the least-squares 3x3 from balanced camera values to linear sRGB under a light."""
    path = Path(colour.__file__).parent / "characterisation/datasets/rawtoaces/190_Patches.csv"
    training = _training(str(path))
    raw = training @ (sensitivity * spectrum[:, None])
    raw /= np.ones(len(WAVELENGTHS_NM)) @ (sensitivity * spectrum[:, None])
    lab = lab_of(training)
    xyz = colour.Lab_to_XYZ(
        lab, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    )
    srgb = colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(
        colour.xy_to_XYZ([0.3457, 0.3585]), colour.xy_to_XYZ([0.3127, 0.3290]), transform="Bradford"
    )
    target = xyz @ adapt.T @ srgb.T
    matrix = np.linalg.lstsq(raw, target, rcond=None)[0].T
    return matrix / matrix.sum(1, keepdims=True)


@lru_cache(None)
def _training(path: str) -> Array:
    """Return 190 measured reflectances (k, n) that colour-science ships."""
    rows = list(csv.reader(Path(path).read_text().splitlines()))
    numbers = np.array([[float(v) for v in row if v] for row in rows if row[0][:1].isdigit()])
    if len(numbers[0]) == 191:
        return np.stack(
            [np.interp(WAVELENGTHS_NM, numbers[:, 0], numbers[:, k]) for k in range(1, 191)]
        )
    raise ValueError("the training reflectances have another shape than expected")


@dataclass(frozen=True)
class Taste:
    """What a phone does to its picture after the sensor."""

    shoulder: float
    toe: float
    bump: float
    saturation: float
    hue_warp: Array
    local: float
    veil: float
    exposure: float


def taste(rng: np.random.Generator, careless: float) -> Taste:
    """Return a phone's taste; `careless` from 0 to 1 makes it stronger."""
    return Taste(
        rng.uniform(0.0, 0.5), rng.uniform(0, 0.25), rng.normal(0, 0.02),
        1 + rng.uniform(0, 0.2), rng.normal(0, 0.012, (2, 3)),
        rng.uniform(0, 0.15 + 0.1 * careless), rng.uniform(0.002, 0.015 + 0.02 * careless),
        rng.uniform(0.5, 0.93),
    )  # fmt: skip


def encode(linear: Array, t: Taste) -> Array:
    """Return display codes 0..1 of linear sRGB by a phone's curve."""
    x = np.clip(linear, 0, None)
    x = x * (1 + t.shoulder) / (1 + t.shoulder * np.minimum(x, 4))
    code = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
    code = code - t.toe * code * (1 - np.clip(code, 0, 1)) ** 3
    code = code + t.bump * np.sin(2 * np.pi * np.clip(code, 0, 1))
    luma = code @ np.array([0.299, 0.587, 0.114])
    chroma = code - luma[..., None]
    code = luma[..., None] + t.saturation * chroma
    angle = np.arctan2(chroma[..., 2] - chroma[..., 0], chroma[..., 1])
    size = np.linalg.norm(chroma, axis=-1)
    for k in range(2):
        wave = np.sin((k + 1) * angle)[..., None] * t.hue_warp[k]
        code = code + size[..., None] * 4 * wave * np.clip(1 - size[..., None], 0, 1)
    return np.clip(code, 0, 1)


@dataclass(frozen=True)
class Shot:
    """One photo at patch level."""

    group: str
    light: str
    patch_mm: Array  # (k, 2)
    patch_code: Array  # (k, 3)
    patch_lab: Array  # (k, 3) measured card
    patch_nominal: Array  # (k, 3)
    white_mm: Array
    white_code: Array
    pad_mm: Array
    pad_code: Array
    pad_lab: Array
    pad_kind: list[str]
    ideal_patch: Array  # (k, 3) noiseless raw over white under even light
    ideal_pad: Array


CARD_MM = (140.0, 90.0)
PAD_RANGE = np.linspace(0.02, 0.98, 6)


@lru_cache(None)
def _areas() -> Array:
    """Return ink areas (k, 4) that print the card's nominal colours on the reference printer."""
    rng = np.random.default_rng(4)
    plain = printer(np.random.default_rng(1), 0.0)
    black = np.where(rng.random(6000) < 0.5, 0, rng.random(6000) * 0.8)
    pool = np.column_stack([rng.random((6000, 3)) ** 1.6, black])
    goal = np.array([p.lab for p in standard_card().patches])
    printed = lab_of(plain.reflectance(pool))
    areas = np.array([pool[np.argmin(np.linalg.norm(printed - t, axis=1))] for t in goal])
    for width in (0.1, 0.05, 0.02, 0.01) * 3:
        near = np.clip(areas[:, None] + rng.normal(0, width, (len(areas), 40, 4)), 0, 1)
        near[:, 0] = areas
        lab = lab_of(plain.reflectance(near.reshape(-1, 4))).reshape(len(areas), 40, 3)
        best = np.argmin(np.linalg.norm(lab - goal[:, None], axis=2), axis=1)
        areas = near[np.arange(len(areas)), best]
    return areas


def field(rng: np.random.Generator, careless: float) -> Any:
    """Return a function of places (k, 2) mm giving the light's strength (k,)."""
    slope = rng.uniform(0, 0.15 + 0.15 * careless) / 50.0
    angle, vignette = rng.uniform(0, 2 * np.pi), rng.uniform(0, 0.12)
    soft = rng.random() < 0.5 * careless
    edge, deep, width = rng.uniform(-30, 30), rng.uniform(0.15, 0.5), rng.uniform(6, 15)
    turn = rng.uniform(0, 2 * np.pi)

    def strength(at_mm: Array) -> Array:
        p = at_mm - np.array(CARD_MM) / 2
        value = np.exp(slope * (p @ [np.cos(angle), np.sin(angle)]))
        value = value * (1 - vignette * np.sum(p**2, 1) / 70**2)
        if soft:
            value = value * (
                1 - deep / (1 + np.exp((p @ [np.cos(turn), np.sin(turn)] - edge) / width))
            )
        return value

    return strength


class Studio:
    """One phone, lamp, print and strip; `shoot` makes the photo."""

    def __init__(
        self, rng: np.random.Generator, group: str, held_out: bool, careless: float
    ) -> None:
        self.rng, self.group = rng, group
        self.light = str(rng.choice(lights_of(group, held_out)))
        self.sensor = camera(rng, held_out)
        self.seen = self.sensor * light(self.light)[:, None]
        self.print = printer(rng, 1.0, 2 if held_out else int(rng.integers(2)))
        self.names, self.pads = strip_of(rng, held_out)
        self.strength = field(rng, careless)
        self.second: Array | None = None
        if rng.random() < 0.2 * careless:
            other = light(str(rng.choice(lights_of("led", held_out))))
            self.second, self.mix = self.sensor * other[:, None], field(rng, 1.0)
        self.white = self.print.reflectance(np.zeros((1, 4)))
        self.gains = np.exp(rng.normal(0, 0.04, 3))
        self.gains = self.gains / self.raw(self.white, np.array(CARD_MM)[None] / 2)[0]
        warm, cool = (to_srgb_matrix(self.sensor, light(name)) for name in ("A", "day6500"))
        share = rng.random()
        self.matrix = share * warm + (1 - share) * cool
        self.taste = taste(rng, careless)

    def raw(self, reflectance: Array, at_mm: Array) -> Array:
        """Return sensor values (k, 3) of reflectances (k, n) at places (k, 2)."""
        value = reflectance @ self.seen * self.strength(at_mm)[:, None]
        if self.second is not None:
            value = value + 0.4 * reflectance @ self.second * self.mix(at_mm)[:, None] ** 2
        return value

    def ideal(self, reflectance: Array) -> Array:
        """Return noiseless sensor values over white, under even light."""
        return reflectance @ self.seen / (self.white @ self.seen)

    def written(self, reflectance: Array, at_mm: Array, pixels: float) -> Array:
        """Return the codes (k, 3) the phone writes, means of this many pixels."""
        linear = self.raw(reflectance, at_mm) * self.gains
        noise = 0.02 * np.sqrt(np.clip(linear, 0.02, None) / pixels)
        linear = linear + self.rng.normal(0, 1, linear.shape) * noise
        linear = (linear @ self.matrix.T) * self.taste.exposure + self.taste.veil
        code = encode(linear * self.strength(at_mm)[:, None] ** -self.taste.local, self.taste)
        dither = self.rng.normal(0, 0.35 / 255, code.shape)
        return np.clip(np.round((code + dither) * 1020) / 1020, 0, 1)


def strip_of(rng: np.random.Generator, held_out: bool) -> tuple[list[str], Array]:
    """Return names and reflectances of pads over their ranges; held out: two of unknown dyes."""
    names, pads = [], []
    for pad in [*DYES, "own a", "own b"] if held_out else DYES:
        pads.append(pad_spectra(rng, DYES.get(pad) or own_dye(rng), PAD_RANGE))
        names += [pad] * len(PAD_RANGE)
    return names, np.vstack(pads)


def shoot(rng: np.random.Generator, group: str, held_out: bool, careless: float = 0.0) -> Shot:
    """Return one simulated photo of a card and thirty pads."""
    studio = Studio(rng, group, held_out, careless)
    patches = studio.print.reflectance(_areas())
    rects = np.array([p.rect_mm for p in standard_card().patches])
    patch_mm = rects[:, :2] + rects[:, 2:] / 2
    pad_mm = np.stack([np.linspace(25, 115, len(studio.pads)), np.full(len(studio.pads), 45.0)], 1)
    grid = np.stack(np.meshgrid(np.linspace(4, 136, 20), np.linspace(18, 72, 9)), -1).reshape(-1, 2)
    white = np.repeat(studio.white, len(grid), 0)
    return Shot(
        group=group,
        light=studio.light,
        patch_mm=patch_mm,
        patch_code=studio.written(patches, patch_mm, 400),
        patch_lab=lab_of(patches) + rng.normal(0, 0.15, (len(patches), 3)),
        patch_nominal=np.array([p.lab for p in standard_card().patches]),
        white_mm=grid,
        white_code=studio.written(white, grid, 200),
        pad_mm=pad_mm,
        pad_code=studio.written(studio.pads, pad_mm, 400),
        pad_lab=lab_of(studio.pads),
        pad_kind=studio.names,
        ideal_patch=studio.ideal(patches),
        ideal_pad=studio.ideal(studio.pads),
    )


def pad_errors(shot: Shot) -> tuple[Array, Array, float]:
    """Return the pads' dE00 (k,), their squared distances over covariance (k,), the card's error.

    The card's error is the ninth decile of its patches' leave-one-out errors.
    """
    good = (shot.patch_code.max(axis=1) < 0.993) & (shot.patch_code.min(axis=1) > 0.003)
    light = Light(shot.white_mm, shot.white_code)
    samples = Samples(shot.patch_code, light.code_at(shot.patch_mm), shot.patch_lab, good)
    fit = solve(samples, light)
    budget = budget_of(fit, replace(standard_card(), measured=True))
    lab, cov = fit.read(shot.pad_code, shot.pad_mm)
    whole = cov + np.array([budget.at(one) for one in lab])
    off = lab - shot.pad_lab
    squared = np.einsum("ki,kij,kj->k", off, np.linalg.inv(whole), off)
    patches = delta_e00(np.clip(fit.loo_lab, -300, 300), samples.lab)[fit.used]
    return delta_e00(lab, shot.pad_lab), squared, float(np.quantile(patches, 0.9))


def report(world: str, group: str, shots: list[Shot]) -> str:
    """One line: errors of the pads, error of the card, how often the 95 % regions hold."""
    found = [pad_errors(shot) for shot in shots]
    error = np.concatenate([one[0] for one in found])
    limit = 3.0 * f_distribution.ppf(0.95, 3, SAMPLE_DOF)
    held = np.array([np.mean(one[1] <= limit) for one in found])
    spread = 1.96 * held.std() / np.sqrt(len(held))
    median, p95 = np.quantile(error, [0.5, 0.95])
    card = np.median([one[2] for one in found])
    return (
        f"{world:12} {group:12} {len(shots):5d} {median:8.2f} {p95:7.2f} {card:7.2f} "
        f"{100 * held.mean():7.1f} +- {100 * spread:.1f}"
    )


def main(argv: list[str]) -> int:
    """Print the table for both halves of the world and every light group."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench colour_study",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--shots", type=int, default=20, help="photos a row")
    parser.add_argument("--first", type=int, default=1000, help="first seed")
    parser.add_argument("--careless", type=float, default=0.0, help="0 to 1")
    args = parser.parse_args(argv)
    print(f"{'half':12} {'light':12} shots   median     p95    card   holds %")
    for world in ("choosing", "judging"):
        for group in GROUPS:
            seeds = range(args.first, args.first + args.shots)
            rngs = (np.random.default_rng([seed, len(group)]) for seed in seeds)
            shots = [shoot(rng, group, world == "judging", args.careless) for rng in rngs]
            print(report(world, group, shots))
    return 0
