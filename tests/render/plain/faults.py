"""The faults of spoiled photos, drawn plainly: one each, by seed, on a well-taken photo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.render.plain.sheet import OwnPads, Paint, Sheet
from tests.render.plain.shot import Shot, as_file, photographed
from tests.render.plain.variants import Pair, Plain, Random, good, own_strip
from tests.render.shots import water
from tests.render.spectra import Array

SKIN = ((70.0, 17.0, 20.0), (60.0, 18.0, 22.0), (42.0, 15.0, 20.0))


@dataclass(frozen=True, eq=False)
class Spoilt(Plain):
    """A spoiled photo."""

    pads: tuple[int, ...] = ()
    """Pads that are spoiled, counted from 1; empty where all are or none can be told."""


def pick(sheet: Sheet, rng: Random) -> int:
    """A pad, counted from 0."""
    return int(rng.integers(len(sheet.values)))


def round_spot(at: Array, size: Array, turn: float = 0.0) -> Array:
    """Corners of an ellipse."""
    angle = np.linspace(0, 2 * np.pi, 40)
    circle = np.stack([np.cos(angle) * size[0], np.sin(angle) * size[1]], axis=1)
    c, s = np.cos(turn), np.sin(turn)
    return np.asarray(at) + circle @ np.array([[c, s], [-s, c]])


def at_pad(sheet: Sheet, pad: int) -> Array:
    """Card mm of a pad's middle."""
    return sheet.strip_places(np.array([[sheet.pads.kind.centre_mm(pad + 1), 0.0]]))[0]


def painted(sheet: Sheet, *paints: Paint) -> Sheet:
    return replace(sheet, over=(*sheet.over, *paints))


def glare(pair: Pair, rng: Random, seed: int):
    """A white spot on a pad, small and hard or broad and soft."""
    sheet, shot = pair
    pad = pick(sheet, rng)
    broad = rng.random() < 0.5
    size = rng.uniform(2.5, 4.5, 2) if broad else rng.uniform(0.8, 2.0, 2)
    at = at_pad(sheet, pad) + rng.normal(0, 0.5, 2)
    paint = Paint(round_spot(at, size, rng.uniform(0, 3)), "shine", float(rng.uniform(0.25, 1.2)),
                  float(rng.uniform(0.8, 1.5)) if broad else 0.15)  # fmt: skip
    return painted(sheet, paint), shot, (pad + 1,)


def hard_shadow(pair: Pair, rng: Random, seed: int):
    """Half of the card lies in the shadow of a hand or a wall, its edge on a pad."""
    sheet, shot = pair
    pad = pick(sheet, rng)
    at = at_pad(sheet, pad)
    way = rng.normal(0, 0.4) + (0 if rng.random() < 0.5 else np.pi)
    along, aside = np.array([np.cos(way), np.sin(way)]), np.array([-np.sin(way), np.cos(way)])
    wide = float(rng.choice([12.0, 120.0]))
    corners = at + np.array(
        [-200 * aside, 200 * aside, 200 * aside + wide * along, -200 * aside + wide * along]
    )
    return (
        painted(sheet, Paint(corners, "shade", float(rng.uniform(0.35, 0.7)), 0.3)),
        shot,
        (pad + 1,),
    )


def blur(pair: Pair, rng: Random, seed: int):
    """Out of focus or shaken by 1 to 3 mm."""
    sheet, shot = pair
    reach = rng.uniform(1.0, 3.0) * shot.fill * shot.size_px[0] / sheet.card.size_mm[0]
    if rng.random() < 0.5:
        return sheet, replace(shot, blur_px=float(reach / 2)), ()
    way = rng.uniform(0, 2 * np.pi)
    return sheet, replace(shot, shaken_px=(reach * np.cos(way), reach * np.sin(way))), ()


def over(pair: Pair, rng: Random, seed: int):
    """Two or more times too bright."""
    return pair[0], replace(pair[1], level=float(rng.uniform(1.8, 4.0))), ()


def under(pair: Pair, rng: Random, seed: int):
    """Four to six stops too dark, with noise."""
    return pair[0], replace(pair[1], level=float(rng.uniform(0.012, 0.06)), noise=0.01), ()


def cut_off(pair: Pair, rng: Random, seed: int):
    """A quarter to a half of the card outside the photo."""
    way = rng.uniform(0, 2 * np.pi)
    shift = (1.0 + rng.uniform(0.0, 0.4)) * np.array([np.cos(way), np.sin(way)])
    shift *= 1.05 / np.abs(shift).max()
    return pair[0], replace(pair[1], shift=tuple(shift.tolist())), ()


def no_card(pair: Pair, rng: Random, seed: int):
    """Only the strip on the ground."""
    return replace(pair[0], has_card=False), pair[1], ()


def no_strip(pair: Pair, rng: Random, seed: int):
    """An empty slot."""
    return replace(pair[0], has_strip=False), pair[1], ()


def reversed_strip(pair: Pair, rng: Random, seed: int):
    """The dipped tip at the wrong end."""
    return replace(pair[0], is_reversed=True), pair[1], ()


def other_strip(pair: Pair, rng: Random, seed: int):
    """A strip with other pads at other places."""
    sheet, shot = pair
    count = len(sheet.values)
    while True:
        other = own_strip(rng, int(rng.integers(3, 9)))
        off = abs(other.centre_mm(min(count, len(other.pads))) -
                  sheet.pads.kind.centre_mm(min(count, len(other.pads))))  # fmt: skip
        if len(other.pads) != count and off > 4.0:
            break
    laid = OwnPads(seed + 1, own=other)
    return replace(sheet, laid=laid, values=water(other, rng)), shot, ()


def bleached(pair: Pair, rng: Random, seed: int):
    """Nine tenths of one pad's dye gone."""
    sheet, shot = pair
    pad = pick(sheet, rng)
    strength = tuple(0.1 if i == pad else 1.0 for i in range(len(sheet.values)))
    return replace(sheet, strength=strength), shot, (pad + 1,)


def dirty(pair: Pair, rng: Random, seed: int):
    """A brown or black smear on a pad."""
    sheet, shot = pair
    pad = pick(sheet, rng)
    size = rng.uniform(0.7, 3.0, 2)
    lab = (35.0, 8.0, 18.0) if rng.random() < 0.6 else (20.0, 0.0, 0.0)
    at = at_pad(sheet, pad) + rng.normal(0, 0.7, 2)
    return (
        painted(sheet, Paint(round_spot(at, size, rng.uniform(0, 3)), "cover", lab)),
        shot,
        (pad + 1,),
    )


def two_strips(pair: Pair, rng: Random, seed: int):
    """A second strip beside or across the first."""
    sheet, shot = pair
    if rng.random() < 0.5:
        second = (
            rng.uniform(0, 8),
            float(rng.choice([-1, 1]) * rng.uniform(4, 7)),
            rng.normal(0, 1),
        )
    else:
        second = (rng.uniform(0, 8), 0.0, float(rng.choice([-1, 1]) * rng.uniform(15, 60)))
    return replace(sheet, second=second), shot, ()


def finger(pair: Pair, rng: Random, seed: int):
    """A fingertip over a pad, from one long side."""
    sheet, shot = pair
    pad = pick(sheet, rng)
    at, side = at_pad(sheet, pad), float(rng.choice([-1, 1]))
    half = rng.uniform(6.0, 8.5)
    middle = at + np.array([0, side * (half - 3.0)])
    rod = np.array([[-half, 0], [half, 0], [half, side * 90], [-half, side * 90]])
    skin = SKIN[int(rng.integers(3))]
    tip = Paint(round_spot(middle, np.array([half, half])), "cover", skin)
    return painted(sheet, tip, Paint(middle + rod, "cover", skin)), shot, (pad + 1,)


def printed_copy(pair: Pair, rng: Random, seed: int):
    """A photocopy of the card: paler, with a cast and hues moved."""
    sheet, shot = pair
    turn = np.radians(rng.normal(0, 8))
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    pale = rng.uniform(0.7, 0.9)
    copied = {}
    for name, lab in sheet.printed.items():
        ab = spin @ np.asarray(lab[1:]) * pale + rng.normal(0, 3.0, 2)
        copied[name] = np.array([8 + 0.9 * lab[0] + rng.normal(0, 3), *ab])
    return replace(sheet, copied=copied), shot, ()


def screen(pair: Pair, rng: Random, seed: int):
    """The photo of a display."""
    beat = (float(rng.uniform(2.5, 8.0)), float(rng.uniform(0, 180)), float(rng.uniform(0.03, 0.1)))
    return pair[0], replace(pair[1], beat=beat, cast=(0.93, 1.0, 1.1)), ()


FAULTS: dict[str, Callable[[Pair, Random, int], tuple[Sheet, Shot, tuple[int, ...]]]] = {
    "glare": glare, "hard_shadow": hard_shadow, "blur": blur, "over": over, "under": under,
    "cut_off": cut_off, "no_card": no_card, "no_strip": no_strip, "reversed": reversed_strip,
    "other_strip": other_strip, "bleached": bleached, "dirty": dirty, "two_strips": two_strips,
    "finger": finger, "printed_copy": printed_copy, "screen": screen,
}  # fmt: skip


def spoilt_photo(name: str, seed: int) -> Spoilt:
    """The photo of a fault; the same arguments give the same photo."""
    sheet, shot, pads = FAULTS[name](good(seed), np.random.default_rng([seed, 7]), seed)
    return Spoilt(as_file(photographed(sheet, shot, seed), shot), sheet, shot, pads)
