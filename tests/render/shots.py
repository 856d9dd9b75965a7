"""Kinds of photos: well taken, careless, and spoiled by one fault each; all drawn by seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone

import numpy as np

from reader.card import Card
from tests.render import card_art, develop, ground, light, pose
from tests.render.camera import Camera
from tests.render.inks import Print
from tests.render.lighting import Edge, Lighting, Spot
from tests.render.pads import Pads, value_at
from tests.render.scene import Blot, Scene, Strip
from tests.render.strips import StripKind

GOOD_LIGHTS = {"daylight": 0.65, "good_led": 0.35}
CARELESS_LIGHTS = {"daylight": 0.2, "led": 0.2, "fluorescent": 0.15, "warm": 0.2, "mixed": 0.25}


@dataclass(frozen=True)
class Setting:
    """What stays the same over the photos of one shop: card, print, strips, phone."""

    card: Card
    print_seed: int = 0
    print_kind: str = "office"
    lot_seed: int = 0
    family: str = "reedmere"
    phone_seed: int | None = None
    """None draws another phone for each photo."""
    light_kind: str | None = None
    """None draws the kind of light for each photo."""
    other: bool = False
    variation: float = 0.04
    pixels: float = 4.9e6
    """Pixels of a photo."""
    values: tuple[float, ...] | None = None
    """Values of the water; None draws them over the charts."""
    form: str = "jpeg"

    def paper(self) -> Print:
        """The print of the card."""
        return Print(self.print_seed, self.print_kind, other=self.other)


def water(kind: StripKind, rng: np.random.Generator) -> tuple[float, ...]:
    """Values drawn evenly over each chart; total chlorine is never below free."""
    values = {p.analyte: value_at(p, rng.uniform(0, len(p.blocks) - 1)) for p in kind.pads}
    if values.get("free_chlorine", 0.0) > 10.0 and rng.random() < 0.6:
        values["free_chlorine"] = float(rng.uniform(0.0, 10.0))
    both = {"free_chlorine", "total_chlorine"}
    if both <= set(values):
        low, high = sorted(values[name] for name in both)
        values["free_chlorine"], values["total_chlorine"] = low, high
    return tuple(values[p.analyte] for p in kind.pads)


def choose(shares: dict[str, float], rng: np.random.Generator) -> str:
    """Draw a name by its share."""
    names = list(shares)
    return names[
        int(rng.choice(len(names), p=np.array(list(shares.values())) / sum(shares.values())))
    ]


def draw_lighting(
    setting: Setting, careless: bool, seed: int, rng: np.random.Generator
) -> tuple[str, Lighting]:
    """Draw lamps, gradient, soft shadows and harmless mirror spots."""
    kind = setting.light_kind or choose(CARELESS_LIGHTS if careless else GOOD_LIGHTS, rng)
    middle = (setting.card.size_mm[0] / 2, setting.card.size_mm[1] / 2)
    slope = rng.uniform(0.0, 0.30 if careless else 0.12)
    if kind == "mixed":
        first = light.make("daylight", seed, setting.other)
        second = light.make(
            ("led", "warm", "fluorescent")[int(rng.integers(3))], seed, setting.other
        )
        lamps, share = (first, second), float(rng.uniform(0.15, 0.5))
    else:
        lamps, share = (light.make(kind, seed, setting.other),), 0.0
    edges = ()
    if careless and rng.random() < 0.6:
        edges = (
            Edge(
                tuple(rng.uniform((0, 0), setting.card.size_mm).tolist()),
                float(rng.uniform(0, 360)), float(rng.uniform(0.1, 0.4)),
                float(rng.uniform(12, 40)),
                float(rng.choice([0.0, rng.uniform(30, 80)])),
            ),
        )  # fmt: skip
    return kind, Lighting(
        lamps, share, float(rng.uniform(0, 360)), float(rng.uniform(50, 160)),
        float(slope), float(rng.uniform(0, 360)), edges, (), middle,
    )  # fmt: skip


def draw_pose(setting: Setting, careless: bool, rng: np.random.Generator) -> pose.Pose:
    """Draw where the camera stands and how the paper curls."""
    long_side = int(np.sqrt(setting.pixels * 4 / 3)) // 16 * 16
    size = (long_side, long_side * 3 // 4 // 16 * 16)
    if rng.random() < 0.5:
        size = size[::-1]
    tilt = rng.uniform(0, 32) if careless else rng.uniform(0, 14)
    turn = 90.0 * rng.integers(4) + rng.normal(0, 12 if careless else 5)
    fill = rng.uniform(0.42, 0.75) if careless else rng.uniform(0.72, 0.95)
    upright = int(turn // 90 + 0.5) % 2 == (0 if size[0] < size[1] else 1)
    fill = fill if not upright else min(fill * 1.1, 0.97)
    shift = tuple(rng.uniform(-0.7, 0.7, 2).tolist())
    bow = float(rng.normal(0, 0.03 if careless else 0.015))
    curl = float(rng.normal(0, 0.25 if careless else 0.08))
    return pose.stand(
        size, setting.card.size_mm, float(tilt), float(rng.uniform(0, 360)), float(turn),
        float(fill), shift, bow, curl,
    )  # fmt: skip


def draw_strip(setting: Setting, careless: bool, seed: int, rng: np.random.Generator) -> Strip:
    """Draw one dipped strip in the slot."""
    pads = Pads(setting.lot_seed, setting.family, strip=seed, variation=setting.variation)
    values = setting.values or water(pads.kind, rng)
    room = setting.card.slot.rect_mm[2:]
    spare = max(max(room) - pads.kind.length_mm - 3.0, 0.0)
    reach = 1.0 if careless else 0.6
    offset = (rng.uniform(-0.5, min(3.0, spare) * reach), rng.normal(0, 0.35))
    lie = card_art.lay(
        setting.card, pads.kind, offset, float(rng.uniform(-3, 3) * reach * 0.5), False
    )
    shine = 0.010 if careless else 0.005
    return Strip(pads, values, lie, (1.0,) * len(values), shine)


def draw_scene(setting: Setting, seed: int, careless: bool) -> Scene:
    """Draw a photo without a fault."""
    rng = np.random.default_rng([seed, 71])
    kind, lighting = draw_lighting(setting, careless, seed, rng)
    where = draw_pose(setting, careless, rng)
    phone = seed if setting.phone_seed is None else setting.phone_seed
    look = develop.draw_look(rng, careless, setting.other)
    if careless:
        look = replace(look, warmth_left=float(rng.uniform(0, 0.35)))
    near = where.px_per_mm()
    offset = timezone(timedelta(hours=int(rng.integers(-5, 6))))
    return Scene(
        card=setting.card,
        paper=setting.paper(),
        strips=(draw_strip(setting, careless, seed, rng),),
        pose=where,
        ground=ground.draw(rng),
        lighting=lighting,
        camera=Camera(phone, "other" if setting.other else "phone"),
        look=look,
        seed=seed,
        defocus_px=float(rng.uniform(0, (0.12 if careless else 0.05) * near)),
        motion_px=tuple((rng.normal(0, 0.06 if careless else 0.02, 2) * near).tolist()),
        vignetting=float(rng.uniform(0.05, 0.35)),
        form=setting.form,
        orientation=int(rng.choice([1, 1, 1, 6, 3, 8])),
        taken_at=datetime(2026, 6, 1, 9, 0, 0, tzinfo=offset) + timedelta(minutes=seed % 500_000),
        notes={"light_kind": kind},
    )


def pad_mm(scene: Scene, pad: int) -> tuple[float, float]:
    """Centre of a pad on the card, pads counted from 0."""
    strip = scene.strips[0]
    return strip.lie.at(strip.pads.kind.centre_mm(pad + 1), 0.0)


def some_pad(scene: Scene, rng: np.random.Generator) -> int:
    """Draw a pad, counted from 0."""
    return int(rng.integers(len(scene.strips[0].values)))


def marked(scene: Scene, **notes: object) -> Scene:
    """Return the scene with notes added."""
    return replace(scene, notes={**scene.notes, **notes})


def glare(scene: Scene, rng: np.random.Generator) -> Scene:
    """The lamp mirrors on one pad."""
    pad = some_pad(scene, rng)
    size = tuple(rng.uniform(1.5, 5.0, 2).tolist())
    at = tuple((np.array(pad_mm(scene, pad)) + rng.normal(0, 0.7, 2)).tolist())
    spot = Spot(at, size, float(rng.uniform(0, 180)), float(rng.uniform(0.15, 1.5)))
    lit = replace(scene.lighting, spots=(spot,))
    return marked(replace(scene, lighting=lit), fault_pads=[pad + 1])


def hard_shadow(scene: Scene, rng: np.random.Generator) -> Scene:
    """A sharp shadow crosses the strip."""
    pad = some_pad(scene, rng)
    strip = scene.strips[0]
    along = np.degrees(np.arctan2(strip.lie.along[1], strip.lie.along[0]))
    at = strip.lie.at(strip.pads.kind.centre_mm(pad + 1) + rng.uniform(-2, 2), 0.0)
    turn = along + rng.choice([0.0, 180.0]) + rng.normal(0, 25)
    edge = Edge(at, float(turn), float(rng.uniform(0.35, 0.7)), float(rng.uniform(0.2, 1.2)),
                float(rng.choice([0.0, rng.uniform(6, 25)])))  # fmt: skip
    return marked(
        replace(scene, lighting=replace(scene.lighting, edges=(edge,))), fault_pads=[pad + 1]
    )


def blur(scene: Scene, rng: np.random.Generator) -> Scene:
    """Out of focus or shaken, by 1 to 3 mm on the card."""
    reach = float(rng.uniform(1.0, 3.0)) * scene.pose.px_per_mm()
    if rng.random() < 0.5:
        return replace(scene, defocus_px=reach * 0.7)
    angle = rng.uniform(0, 2 * np.pi)
    return replace(scene, motion_px=(reach * np.cos(angle), reach * np.sin(angle)))


def over(scene: Scene, rng: np.random.Generator) -> Scene:
    """Overexposed."""
    look = replace(scene.look, level=float(rng.uniform(1.5, 3.5)))
    return replace(scene, look=look)


def under(scene: Scene, rng: np.random.Generator) -> Scene:
    """Underexposed and noisy."""
    look = replace(scene.look, level=float(np.exp(rng.uniform(np.log(0.01), np.log(0.06)))),
                   noise=scene.look.noise * 4, tone_mapping=0.0)  # fmt: skip
    return replace(scene, look=look)


def cut_off(scene: Scene, rng: np.random.Generator) -> Scene:
    """A part of the card lies outside the frame."""
    where = scene.pose
    angle = rng.uniform(0, 2 * np.pi)
    move = rng.uniform(0.30, 0.55) * np.array(
        [np.cos(angle) * where.width_px, np.sin(angle) * where.height_px]
    )
    shift = np.array([[1, 0, move[0]], [0, 1, move[1]], [0, 0, 1.0]])
    return replace(scene, pose=replace(where, homography=shift @ where.homography))


def no_card(scene: Scene, rng: np.random.Generator) -> Scene:
    """Nothing but the ground."""
    return replace(scene, has_card=False, strips=())


def no_strip(scene: Scene, rng: np.random.Generator) -> Scene:
    """An empty slot."""
    return replace(scene, strips=())


def relaid(scene: Scene, reverse: bool, offset: tuple[float, float], askew: float) -> Scene:
    """The strip laid otherwise."""
    strip = scene.strips[0]
    lie = card_art.lay(scene.card, strip.pads.kind, offset, askew, reverse)
    return replace(scene, strips=(replace(strip, lie=lie), *scene.strips[1:]))


def reversed_strip(scene: Scene, rng: np.random.Generator) -> Scene:
    """The strip lies the wrong way round."""
    return relaid(scene, True, (float(rng.uniform(0, 3)), 0.0), float(rng.uniform(-1, 1)))


def other_strip(scene: Scene, rng: np.random.Generator) -> Scene:
    """A strip of another make."""
    old = scene.strips[0]
    names = [n for n in ("reedmere", "tarnbeck", "oxwell") if n != old.pads.family]
    pads = Pads(old.pads.seed, names[int(rng.integers(len(names)))], strip=scene.seed)
    lie = card_art.lay(scene.card, pads.kind, (float(rng.uniform(0, 2)), 0.0), 0.0, False)
    new = Strip(pads, water(pads.kind, rng), lie, (1.0,) * len(pads.kind.pads), old.shine)
    return replace(scene, strips=(new,))


def bleached(scene: Scene, rng: np.random.Generator) -> Scene:
    """Dye gone from one pad, sometimes from all."""
    strip = scene.strips[0]
    count = len(strip.values)
    hit = list(range(count)) if rng.random() < 0.3 else [some_pad(scene, rng)]
    left = tuple(float(rng.uniform(0.08, 0.35)) if i in hit else 1.0 for i in range(count))
    return marked(
        replace(scene, strips=(replace(strip, strengths=left),)), fault_pads=[i + 1 for i in hit]
    )


def dirty(scene: Scene, rng: np.random.Generator) -> Scene:
    """A brown smear over a part of a pad, or all of it."""
    pad = some_pad(scene, rng)
    at = tuple((np.array(pad_mm(scene, pad)) + rng.normal(0, 0.8, 2)).tolist())
    blot = Blot(at, tuple(rng.uniform(1.0, 4.0, 2).tolist()), float(rng.uniform(0, 180)), False)
    return marked(replace(scene, blots=(blot,)), fault_pads=[pad + 1])


def two_strips(scene: Scene, rng: np.random.Generator) -> Scene:
    """A second strip beside or across the first."""
    pads = Pads(scene.strips[0].pads.seed, scene.strips[0].pads.family, strip=scene.seed + 1)
    askew = float(rng.choice([rng.uniform(-2, 2), rng.uniform(15, 60)]))
    across = float(rng.choice([-1, 1]) * rng.uniform(3.5, 7.0)) if abs(askew) < 3 else 0.0
    lie = card_art.lay(scene.card, pads.kind, (float(rng.uniform(0, 8)), across), askew, False)
    second = Strip(pads, water(pads.kind, rng), lie, (1.0,) * len(pads.kind.pads))
    return replace(scene, strips=(*scene.strips, second))


def finger(scene: Scene, rng: np.random.Generator) -> Scene:
    """A fingertip over a pad, coming from one of the card's long edges."""
    pad = some_pad(scene, rng)
    at = np.array(pad_mm(scene, pad))
    turn = float(rng.choice([90.0, -90.0]) + rng.normal(0, 12))
    way = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    thick = float(rng.uniform(6.0, 8.5))
    middle = at - way * (40.0 + thick - rng.uniform(0.0, 4.0) - 2.5)
    blot = Blot(tuple(middle.tolist()), (40.0, thick), turn, True)
    return marked(replace(scene, blots=(blot,)), fault_pads=[pad + 1])


def printed_copy(scene: Scene, rng: np.random.Generator) -> Scene:
    """The card is a print of a photo of a card."""
    return replace(scene, copied=Print(scene.seed + 1, "office"))


def screen(scene: Scene, rng: np.random.Generator) -> Scene:
    """A photo of a screen that shows the photo."""
    return replace(scene, on_screen=True)


def slid_out(scene: Scene, rng: np.random.Generator) -> Scene:
    """The strip lies farther along the slot than it should."""
    return relaid(scene, False, (float(rng.uniform(4.5, 9.0)), 0.0), float(rng.uniform(-1, 1)))


def upside_down(scene: Scene, rng: np.random.Generator) -> Scene:
    """The strip lies on its pads: nothing but white plastic is seen."""
    strip = scene.strips[0]
    bare = replace(strip.pads.kind, pads=())
    turned = replace(strip, face_down=bare)
    return marked(replace(scene, strips=(turned,)))


def coloured_lamp(scene: Scene, rng: np.random.Generator) -> Scene:
    """The tub's own coloured lights are on."""
    return relit(scene, light.coloured(scene.seed))


def hard_lamp(scene: Scene, rng: np.random.Generator) -> Scene:
    """A lamp with gaps in its spectrum."""
    return relit(scene, light.make("hard", scene.seed))


def relit(scene: Scene, lamp: light.Light) -> Scene:
    """The scene under one other lamp."""
    lit = replace(scene.lighting, lamps=(lamp,), share=0.0)
    return replace(scene, lighting=lit, notes={**scene.notes, "light_kind": lamp.kind})


def faded_card(scene: Scene, rng: np.random.Generator) -> Scene:
    """The card lay in the sun for a summer: magenta and yellow have faded."""
    return replace(scene, fading=float(rng.uniform(0.25, 0.6)))


def wet_patches(scene: Scene, rng: np.random.Generator) -> Scene:
    """Drops on the card mirror the sky."""
    size = scene.card.size_mm
    spots = tuple(
        Spot(tuple(rng.uniform((5, 5), np.array(size) - 5).tolist()),
             tuple(rng.uniform(0.8, 3.0, 2).tolist()), 0.0, float(rng.uniform(0.2, 1.5)))
        for _ in range(int(rng.integers(8, 25)))
    )  # fmt: skip
    return replace(scene, lighting=replace(scene.lighting, spots=spots))


FAULTS: dict[str, Callable[[Scene, np.random.Generator], Scene]] = {
    "glare": glare, "hard_shadow": hard_shadow, "blur": blur, "over": over, "under": under,
    "cut_off": cut_off, "no_card": no_card, "no_strip": no_strip, "reversed": reversed_strip,
    "other_strip": other_strip, "bleached": bleached, "dirty": dirty, "two_strips": two_strips,
    "finger": finger, "printed_copy": printed_copy, "screen": screen, "slid_out": slid_out,
    "upside_down": upside_down, "coloured_lamp": coloured_lamp, "hard_lamp": hard_lamp,
    "faded_card": faded_card, "wet_patches": wet_patches,
}  # fmt: skip

KINDS = ("good", "careless", *FAULTS)


def draw(setting: Setting, seed: int, kind: str) -> Scene:
    """Draw a photo of a kind: `good`, `careless` or one of `FAULTS`."""
    scene = draw_scene(setting, seed, kind == "careless")
    if kind in FAULTS:
        scene = FAULTS[kind](scene, np.random.default_rng([seed, 72]))
    return scene
