"""Photos that differ in kind from those the reader was built on: one difference each, by seed.

Every variant takes a well-taken plain photo (a sheet and a shot) and changes one thing that users,
makers of cards and strips, phones or programs may well do otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from reader.card import Card, Marker, Patch, Slot, standard_card
from tests.render import strips
from tests.render.plain.sheet import OwnPads, Sheet
from tests.render.plain.shot import Shot, as_file, photographed
from tests.render.shots import water
from tests.render.spectra import Array

Pair = tuple[Sheet, Shot]
Random = np.random.Generator

KINDS = {pad.analyte: pad for family in strips.FAMILIES.values() for pad in reversed(family.pads)}
"""One dye of each analyte."""


def own_strip(rng: Random, pads: int, **sizes: float) -> strips.StripKind:
    """A strip of another make: so many pads, drawn from all dyes."""
    names = rng.choice(sorted(KINDS), pads, replace=False)
    side = float(sizes.get("side", rng.uniform(4.0, 5.5)))
    width = float(sizes.get("width", rng.uniform(max(side, 4.5), 6.5)))
    pitch = float(sizes.get("pitch", side + rng.uniform(1.0, 3.5)))
    first = float(rng.uniform(side / 2 + 0.5, side / 2 + 4.0))
    need = first + (pads - 1) * pitch + side
    length = float(sizes.get("length", rng.uniform(max(min(need + 12, 90), 55), 90)))
    pitch = min(pitch, (length - first - side) / max(pads - 1, 1))
    return strips.StripKind(
        f"Plain {pads}", width, length, first, pitch, side, tuple(KINDS[n] for n in names)
    )


def good(seed: int) -> Pair:
    """A well-taken photo of our card with a strip of another make."""
    rng = np.random.default_rng([seed, 3])
    kind = own_strip(rng, int(rng.integers(4, 8)))
    return with_strip(bare(standard_card(), rng, seed), kind, rng, seed), Shot(
        tilt_deg=float(rng.uniform(2, 15)), towards_deg=float(rng.uniform(0, 360)),
        turn_deg=float(rng.normal(0, 5)), fill=float(rng.uniform(0.75, 0.92)),
        shift=tuple(rng.uniform(-0.4, 0.4, 2).tolist()),
        ground=("desk", "wood", "towel", "tiles")[int(rng.integers(4))],
        level=float(rng.uniform(0.55, 0.85)),
        cast=tuple(np.exp(rng.normal(0, 0.05, 3)).tolist()), slope=float(rng.uniform(0, 0.2)),
    )  # fmt: skip


def bare(card: Card, rng: Random, seed: int) -> Sheet:
    """The card as printed somewhere, colours a little off, without a strip."""
    printed = {
        p.id: np.clip(np.asarray(p.lab) * [1.0, 0.93, 0.93] + rng.normal(0, 1.2, 3),
                      [18, -70, -70], [94, 70, 80])
        for p in card.patches
    }  # fmt: skip
    reedmere = OwnPads(seed)
    return Sheet(card, printed, reedmere, water(reedmere.kind, rng))


def with_strip(sheet: Sheet, kind: strips.StripKind, rng: Random, seed: int) -> Sheet:
    """The sheet with another strip, laid as people do."""
    pads = OwnPads(seed, own=kind)
    return replace(
        sheet, pads=pads, values=water(kind, rng), tip_mm=float(rng.uniform(0.5, 2.5)),
        across_mm=float(rng.normal(0, 0.3)), askew_deg=float(rng.uniform(-1, 1)),
    )  # fmt: skip


def own_card(
    rng: Random, size_mm: tuple[float, float], dip_end: str, dictionary: str = "DICT_4X4_50",
    marker_mm: float = 10.0, slot_wide: float = 8.0, first_id: int = 3,
) -> Card:  # fmt: skip
    """Another layout with four markers and the built-in colours."""
    width, height = size_mm
    m, rim = marker_mm, 4.0
    places = [(rim, rim), (width - rim - m, rim), (width - rim - m, height - rim - m),
              (rim, height - rim - m)]  # fmt: skip
    markers = tuple(
        Marker(first_id + 4 * i, dictionary,
               tuple((x + a * m, y + b * m) for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))))
        for i, (x, y) in enumerate(places)
    )  # fmt: skip
    level = dip_end in ("left", "right")
    along = min(94.0, (width if level else height) - 24.0)
    slot = (
        ((width - along) / 2, (height - slot_wide) / 2, along, slot_wide)
        if level
        else ((width - slot_wide) / 2, (height - along) / 2, slot_wide, along)
    )
    taken = [slot, *((x - 3, y - 3, m + 6, m + 6) for x, y in places)]
    side, step = 6.0, 8.5
    room = [
        (float(x), float(y), side, side)
        for y in np.arange(rim, height - rim - side, step)
        for x in np.arange(rim, width - rim - side, step)
        if all(
            x + side < a - 2 or x > a + c + 2 or y + side < b - 2 or y > b + d + 2
            for a, b, c, d in taken
        )
    ]
    labs = [p.lab for p in standard_card().patches]
    order = rng.permutation(len(room))[: len(labs)]
    patches = tuple(Patch(f"p{n}", room[i], labs[n]) for n, i in enumerate(order))
    return Card("other-maker 2", size_mm, markers, patches, Slot(slot, dip_end))


def on_card(seed: int, pair: Pair, card: Card, **changes: object) -> Pair:
    """The same strip and shot with another card."""
    rng = np.random.default_rng([seed, 4])
    sheet, shot = pair
    fresh = replace(bare(card, rng, seed), **changes)
    return with_strip(fresh, sheet.pads.kind, rng, seed), shot


def card_drawn(dip_end: str, size: tuple[float, float], **design: object):
    """A variant with a card of another maker."""

    def change(pair: Pair, rng: Random, seed: int) -> Pair:
        sheet, shot = pair
        if size[0] < size[1]:
            shot = replace(shot, size_px=shot.size_px[::-1])
        return on_card(seed, (sheet, shot), own_card(rng, size, dip_end, **design))

    return change


def shot_with(**changes: object):
    """A variant that changes the shot alone."""
    return lambda pair, *_: (pair[0], replace(pair[1], **changes))


def sheet_with(**changes: object):
    """A variant that changes the sheet alone."""
    return lambda pair, *_: (replace(pair[0], **changes), pair[1])


def strip_of(pads: int, **sizes: float):
    """A variant with so many pads, or other sizes."""

    def change(pair: Pair, rng: Random, seed: int) -> Pair:
        return with_strip(pair[0], own_strip(rng, pads, **sizes), rng, seed), pair[1]

    return change


def laid(pair: Pair, rng: Random, seed: int) -> Pair:
    """Three millimetres farther in than usual, aside and askew."""
    turn = float(rng.choice([-1, 1]) * rng.uniform(1.5, 2.0))
    return replace(
        pair[0], tip_mm=3.0, across_mm=float(rng.uniform(-0.6, 0.6)), askew_deg=turn
    ), pair[1]


def very_askew(pair: Pair, rng: Random, seed: int) -> Pair:
    """Four degrees, so that the ends stick out of the slot's sides."""
    return replace(pair[0], askew_deg=float(rng.choice([-1, 1]) * rng.uniform(3, 4))), pair[1]


def flush(pair: Pair, rng: Random, seed: int) -> Pair:
    """The tip lies exactly at the slot's end."""
    return replace(pair[0], tip_mm=0.0, across_mm=0.0, askew_deg=0.0), pair[1]


def sticks_out(pair: Pair, rng: Random, seed: int) -> Pair:
    """A strip longer than the slot sticks out at the far end."""
    sheet, shot = with_strip(pair[0], own_strip(rng, 6, length=104.0), rng, seed), pair[1]
    return sheet, replace(shot, fill=0.7)


def quick(pair: Pair, rng: Random, seed: int) -> Pair:
    """As programs draw: no shadow, no noise, no slope, no sharpening."""
    sheet = replace(pair[0], shadow=0.0, paper_lab=(100.0, 0.0, 0.0), plastic_lab=(96.0, 0.0, 0.0))
    shot = replace(pair[1], noise=0.0, slope=0.0, vignette=0.0, sharpen=0.0, blur_px=0.5, level=0.9)
    return sheet, shot


def quick_white(pair: Pair, rng: Random, seed: int) -> Pair:
    """The same with an unprinted slot, outlined."""
    sheet, shot = quick(pair, rng, seed)
    return replace(sheet, slot_lab=None, slot_line_mm=0.3), shot


def quick_bare(pair: Pair, rng: Random, seed: int) -> Pair:
    """The same with nothing at all printed where the slot is, and a strip as white as the card."""
    sheet, shot = quick(pair, rng, seed)
    return replace(sheet, slot_lab=None, plastic_lab=(100.0, 0.0, 0.0)), shot


def turned(quarter: int):
    """A variant turned by quarters of a circle."""

    def change(pair: Pair, rng: Random, seed: int) -> Pair:
        sheet, shot = pair
        size = shot.size_px[::-1] if quarter % 2 else shot.size_px
        return sheet, replace(shot, turn_deg=shot.turn_deg + 90.0 * quarter, size_px=size)

    return change


def tilted(degrees: float):
    """A variant seen from aside."""
    return shot_with(tilt_deg=degrees, fill=0.85, size_px=(2592, 1944))


MIXED = (
    ("plain", "card_portrait", "card_right", "card_bottom", "card_left", "markers_5x5"),
    ("plain", "slot_black", "slot_light", "slot_line", "slot_green"),
    ("pads_4", "pads_5", "pads_6", "pads_7", "pads_8", "pads_full_width"),
    ("plain", "handle_red", "handle_blue", "plastic_cream", "laid_askew", "flush"),
    ("plain", "white_desk", "cloth", "granite", "wet"),
    ("plain", "upside_down", "quarter", "turned_30", "tilt_25", "tilt_35", "exif_6"),
    ("plain", "barrel", "fringe", "halos", "denoised", "vignette", "hdr", "contrast"),
    ("plain", "warm_cast", "blue_cast", "dim", "hard_slope"),
    ("plain", "p3", "adobe", "jpeg_50", "png16", "webp", "heic", "p3_untold"),
)
"""One of each row at once; what is to be read alone is to be read together."""


def mixed(pair: Pair, rng: Random, seed: int) -> Pair:
    """Another card, strip, ground, pose, phone, light and file at once."""
    for names in MIXED:
        pair = VARIANTS[str(rng.choice(names))](pair, rng, seed)
    return pair


VARIANTS: dict[str, Callable[[Pair, Random, int], Pair]] = {
    "plain": lambda pair, *_: pair,
    "quick": quick, "quick_white": quick_white, "quick_bare": quick_bare,
    "slot_black": sheet_with(slot_lab=(20.0, 0.0, 0.0)),
    "slot_grey": sheet_with(slot_lab=(65.0, 0.0, 0.0)),
    "slot_light": sheet_with(slot_lab=(85.0, 0.0, 0.0)),
    "slot_green": sheet_with(slot_lab=(55.0, -40.0, 25.0)),
    "slot_line": sheet_with(slot_lab=None, slot_line_mm=0.4),
    "card_portrait": card_drawn("top", (90.0, 140.0)),
    "card_right": card_drawn("right", (140.0, 90.0)),
    "card_bottom": card_drawn("bottom", (100.0, 130.0)),
    "card_left": card_drawn("left", (130.0, 85.0)),
    "card_large": card_drawn("left", (190.0, 130.0), marker_mm=16.0),
    "markers_small": card_drawn("left", (140.0, 90.0), marker_mm=7.0),
    "markers_5x5": card_drawn("left", (140.0, 90.0), dictionary="DICT_5X5_100"),
    "markers_6x6": card_drawn("right", (140.0, 90.0), dictionary="DICT_6X6_250", marker_mm=12.0),
    "markers_april": card_drawn("left", (140.0, 90.0), dictionary="DICT_APRILTAG_36h11",
                                marker_mm=14.0),
    "pads_3": strip_of(3), "pads_4": strip_of(4), "pads_5": strip_of(5), "pads_6": strip_of(6),
    "pads_7": strip_of(7), "pads_8": strip_of(8, side=4.5),
    "pads_full_width": strip_of(5, side=5.0, width=5.0),
    "pads_touching": strip_of(5, side=5.0, width=6.0, pitch=5.0),
    "pads_small": strip_of(6, side=3.5, width=5.0),
    "pads_large": strip_of(5, side=6.2, width=6.4),
    "handle_red": sheet_with(handle_lab=(45.0, 55.0, 30.0)),
    "handle_blue": sheet_with(handle_lab=(40.0, 5.0, -40.0)),
    "handle_black": sheet_with(handle_lab=(15.0, 0.0, 0.0)),
    "plastic_cream": sheet_with(plastic_lab=(88.0, 2.0, 14.0)),
    "plastic_grey": sheet_with(plastic_lab=(78.0, 0.0, 0.0)),
    "laid_askew": laid, "very_askew": very_askew, "flush": flush, "sticks_out": sticks_out,
    "white_desk": shot_with(ground="white"), "cloth": shot_with(ground="cloth"),
    "granite": shot_with(ground="granite"), "wet": shot_with(ground="granite", wet=60),
    "upside_down": turned(2), "quarter": turned(1), "three_quarters": turned(3),
    "turned_30": shot_with(turn_deg=30.0, fill=0.9, size_px=(2592, 1944)),
    "exif_3": shot_with(orientation=3), "exif_6": shot_with(orientation=6),
    "exif_8": shot_with(orientation=8),
    "tilt_25": tilted(25.0), "tilt_35": tilted(35.0), "tilt_45": tilted(45.0),
    "far_12mp": shot_with(size_px=(4000, 3000), fill=0.28),
    "close_12mp": shot_with(size_px=(4000, 3000), fill=0.99, shift=(0.0, 0.0), tilt_deg=4.0),
    "huge_48mp": shot_with(size_px=(8000, 6000)),
    "small_2mp": shot_with(size_px=(1600, 1200), fill=0.8),
    "small_1mp": shot_with(size_px=(1152, 864), fill=0.9),
    "jpeg_50": shot_with(quality=50), "jpeg_30": shot_with(quality=30),
    "jpeg_444": shot_with(quality=95, sampling="4:4:4"),
    "png": shot_with(form="png"), "png16": shot_with(form="png16"),
    "webp": shot_with(form="webp"), "tiff": shot_with(form="tiff"), "heic": shot_with(form="heic"),
    "grey": shot_with(form="grey"),
    "p3": shot_with(space="Display P3"), "p3_untold": shot_with(space="Display P3", profile=False),
    "adobe": shot_with(space="Adobe RGB (1998)"),
    "adobe_untold": shot_with(space="Adobe RGB (1998)", profile=False),
    "no_profile": shot_with(profile=False),
    "hdr": shot_with(hdr=0.35, contrast=0.15), "contrast": shot_with(contrast=0.5),
    "barrel": shot_with(bow=-0.08, fill=0.9), "pincushion": shot_with(bow=0.06, fill=0.9),
    "fringe": shot_with(fringe=0.0012, size_px=(2592, 1944)),
    "halos": shot_with(sharpen=2.5, blur_px=1.2), "denoised": shot_with(noise=0.02, denoise=True),
    "noisy": shot_with(noise=0.04), "vignette": shot_with(vignette=0.8),
    "warm_cast": shot_with(cast=(1.25, 1.0, 0.6)), "blue_cast": shot_with(cast=(0.75, 0.95, 1.2)),
    "dim": shot_with(level=0.2, noise=0.01), "bright": shot_with(level=0.97, slope=0.02),
    "hard_slope": shot_with(slope=0.6), "mixed": mixed,
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Plain:
    """One photo with what is true of it."""

    data: bytes
    sheet: Sheet
    shot: Shot

    @property
    def truth(self) -> list[tuple[str, float, Array]]:
        """Analyte, value and CIELAB of each pad."""
        kinds = self.sheet.pads.kind.pads
        return [
            (pad.analyte, self.sheet.values[i], self.sheet.lab_of(i)) for i, pad in enumerate(kinds)
        ]


def sheet_and_shot(name: str, seed: int) -> Pair:
    """What is photographed and how."""
    return VARIANTS[name](good(seed), np.random.default_rng([seed, 6]), seed)


def plain_photo(name: str, seed: int) -> Plain:
    """The photo of a variant; the same arguments give the same photo."""
    sheet, shot = sheet_and_shot(name, seed)
    return Plain(as_file(photographed(sheet, shot, seed), shot), sheet, shot)
