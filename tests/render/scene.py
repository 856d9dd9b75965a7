"""A whole photo: card, strip, ground, lamps and camera put together, in linear sensor values.

Spectra are integrated once for each material and lamp; pixels carry sensor values only.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from tests.render import card_art, develop, ground, screen
from tests.render.camera import Camera
from tests.render.card_art import Art, Lie
from tests.render.inks import Print
from tests.render.light import Light
from tests.render.lighting import Lighting
from tests.render.pads import Pads
from tests.render.patches import warmth
from tests.render.pose import Pose
from tests.render.spectra import WAVES_NM, Array, step
from tests.render.strips import StripKind

Image = NDArray[np.float32]

ONE = np.ones(len(WAVES_NM))
"""The perfect diffuser, and the perfect mirror."""
SKIN = 0.16 + 0.10 * step(480.0, 30.0) + 0.30 * step(592.0, 14.0)


@dataclass(frozen=True, eq=False)
class Strip:
    """A strip as dipped: the water's values, how it lies, what befell its pads."""

    pads: Pads
    values: tuple[float, ...]
    lie: Lie
    strengths: tuple[float, ...]
    """Share of the dye left on each pad; below 1 where it was bleached."""
    shine: float = 0.006
    face_down: StripKind | None = None
    """The same strip without pads, where it lies on them."""

    def reflectance(self, pad: int, thinner: float = 1.0) -> Array:
        """Reflectance of a pad, counted from 0."""
        kind = self.pads.kind.pads[pad]
        strength = self.strengths[pad] * thinner
        return self.pads.reflectance(kind.analyte, self.values[pad], strength)


@dataclass(frozen=True, eq=False)
class Blot:
    """Dirt (an ellipse) or a finger (`solid`, a rod with round ends) over the card, card mm."""

    at_mm: tuple[float, float]
    size_mm: tuple[float, float]
    turn_deg: float
    solid: bool


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything that makes one photo."""

    card: Card
    paper: Print
    strips: tuple[Strip, ...]
    pose: Pose
    ground: ground.Ground
    lighting: Lighting
    camera: Camera
    look: develop.Look
    seed: int
    has_card: bool = True
    copied: Print | None = None
    """The second printer, where the card is a print of a photo of a card."""
    fading: float = 0.0
    """Share of the card's magenta and yellow ink gone since it was measured."""
    blots: tuple[Blot, ...] = ()
    on_screen: bool = False
    defocus_px: float = 0.0
    motion_px: tuple[float, float] = (0.0, 0.0)
    vignetting: float = 0.15
    form: str = "jpeg"
    orientation: int = 1
    taken_at: datetime | None = None
    notes: dict[str, object] = field(default_factory=dict)


def patch_reflectance(scene: Scene, near_uv: float) -> tuple[Array, Array, Array]:
    """Reflectances of patches, bare paper and slot ground as printed (or as copied)."""
    wanted = np.array([patch.lab for patch in scene.card.patches])
    bottom = np.array([scene.card.slot.ground_lab or (46.0, -2.0, -8.0)])
    every = np.vstack([wanted, bottom])
    printed = scene.paper
    if scene.copied is not None:
        rng = np.random.default_rng([scene.seed, 61])
        seen = printed.lab(every)
        every = seen * [1.0, 0.94, 0.94] + rng.normal(0.0, 2.0, seen.shape)
        printed = scene.copied
    both = printed.reflectance(every, near_uv, scene.fading)
    return both[:-1], printed.white(near_uv), both[-1]


def materials(scene: Scene, lamp: Light, thinner: float) -> Array:
    """Sensor values of every material number under a lamp, shape (256, 3)."""
    patches, white, bottom = patch_reflectance(scene, lamp.near_uv)
    table = np.zeros((256, len(WAVES_NM)))
    table[card_art.PAPER] = white
    table[card_art.BLACK] = (scene.copied or scene.paper).black()
    table[card_art.GROUND] = bottom
    table[card_art.BODY] = 0.80 + 0.03 * step(430.0, 12.0)
    table[card_art.DIRT] = 0.06 + 0.16 * step(590.0, 30.0)
    first = card_art.FIRST_PATCH
    table[first : first + len(patches)] = patches
    for number, strip in enumerate(scene.strips):
        for pad in range(len(strip.values)):
            table[card_art.FIRST_PAD + 20 * number + pad] = strip.reflectance(pad, thinner)
    return scene.camera.raw(lamp.power, table)


def painted(scene: Scene, scale: float) -> Art:
    """The card's layers with strips and blots."""
    rng = np.random.default_rng([scene.seed, 62])
    art = card_art.blank(scene.card, scale, rng)
    for number, strip in enumerate(scene.strips):
        kind = strip.face_down or strip.pads.kind
        card_art.paint_strip(art, kind, strip.lie, number, strip.shine, rng)
    for blot in scene.blots:
        if not blot.solid:
            stain(art, blot, rng)
    return art


def stain(art: Art, blot: Blot, rng: np.random.Generator) -> None:
    """Paint dirt: a thin brown film with holes."""
    mask = np.zeros(art.material.shape, dtype=np.uint8)
    centre = art.px(np.array(blot.at_mm))
    axes = (int(blot.size_mm[0] * art.scale * 16), int(blot.size_mm[1] * art.scale * 16))
    cv2.ellipse(mask, tuple(centre.tolist()), axes, blot.turn_deg, 0, 360, 255, -1, cv2.LINE_8, 4)
    rows, columns = art.material.shape
    small = rng.standard_normal((rows // 12 + 2, columns // 12 + 2), dtype=np.float32)
    noise = cv2.resize(small, (columns, rows), interpolation=cv2.INTER_CUBIC)
    art.material[(mask > 0) & (noise > -0.2)] = card_art.DIRT


def card_layers(scene: Scene, art: Art, lamp: Light) -> Image:
    """The flat card's sensor values under a lamp of even strength, (rows, columns, 3)."""
    usual = materials(scene, lamp, 1.0).astype(np.float32)
    flat = usual[art.material]
    rows = np.flatnonzero(np.any(art.turn != 0, axis=1))
    if len(rows):
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        paler = materials(scene, lamp, 0.88).astype(np.float32) - usual
        flat[part] += paler[art.material[part]] * art.turn[part][..., None]
    flat *= art.shade[..., None]
    mirror = scene.camera.raw(lamp.power, ONE).astype(np.float32)
    rows = np.flatnonzero(np.any(art.shine != 0, axis=1))
    if len(rows):
        part = slice(int(rows[0]), int(rows[-1]) + 1)
        flat[part] += art.shine[part][..., None] * mirror
    if scene.on_screen:
        return screen.shown(flat, scene.camera, lamp, scene.look, art.scale, scene.seed)
    return flat


def lit_ground(scene: Scene, under: Image, fields: list[Image]) -> Image:
    """Sensor values of the ground under all lamps, (rows, columns, 3)."""
    total = np.zeros((*under.shape, 3), dtype=np.float32)
    for lamp, field_px in zip(scene.lighting.lamps, fields, strict=True):
        dark = scene.camera.raw(lamp.power, scene.ground.dark).astype(np.float32)
        bright = scene.camera.raw(lamp.power, scene.ground.bright).astype(np.float32)
        for start in range(0, len(under), develop.BAND):
            rows = slice(start, start + develop.BAND)
            values = dark + under[rows][..., None] * (bright - dark)
            total[rows] += values * field_px[rows][..., None]
    return total


def sampled(layer: Image, x_mm: Image, y_mm: Image, scale: float, border: int) -> Image:
    """Layer values at card places."""
    x, y = x_mm * np.float32(scale) - 0.5, y_mm * np.float32(scale) - 0.5
    return cv2.remap(
        layer, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=border
    )


def wide(layer: Image, size: tuple[int, int]) -> Image:
    """A coarse layer at full size, (width, height)."""
    return cv2.resize(layer, size, interpolation=cv2.INTER_LINEAR)


def exposed(scene: Scene) -> tuple[Image, Array]:
    """Sensor values (rows, columns, 3) before noise, and those of the paper at its brightest."""
    pose = scene.pose
    size = (pose.width_px, pose.height_px)
    coarse_x, coarse_y = pose.mm_grid(4, 0, 0, *size)
    fields = [wide(f, size) for f in scene.lighting.fields(coarse_x, coarse_y)]
    total = lit_ground(scene, ground_under(scene), fields)
    if scene.has_card:
        put_card(scene, total, fields)
    for blot in scene.blots:
        if blot.solid:
            put_finger(scene, total, fields, blot)
    if scene.lighting.spots:
        mirror = wide(scene.lighting.mirrored(coarse_x, coarse_y), size)
        lamp = scene.lighting.lamps[0]
        total += mirror[..., None] * scene.camera.raw(lamp.power, ONE).astype(np.float32)
    return optics(scene, total), brightest_paper(scene)


def ground_under(scene: Scene) -> Image:
    """The ground's field over the photo."""
    size = (scene.pose.width_px, scene.pose.height_px)
    x, y = scene.pose.mm_grid(2, 0, 0, *size)
    shift = np.random.default_rng([scene.seed, 63]).uniform(0, 400, 2).astype(np.float32)
    field_px = sampled(
        scene.ground.field, x + shift[0], y + shift[1], ground.SCALE, cv2.BORDER_WRAP
    )
    return wide(field_px, size)


def put_card(scene: Scene, total: Image, fields: list[Image]) -> None:
    """Lay the card's picture over the ground, in place; its edge throws a thin shadow."""
    left, top, right, bottom = scene.pose.window(scene.card.size_mm, 12)
    if right <= left or bottom <= top:
        return
    scale = float(np.clip(1.4 * scene.pose.px_per_mm(), 6.0, 26.0))
    art = painted(scene, scale)
    x, y = scene.pose.mm_grid(1, left, top, right, bottom)
    whole = np.ones(art.material.shape, np.float32)
    cover = sampled(whole, x, y, scale, cv2.BORDER_CONSTANT)
    part = total[top:bottom, left:right]
    shadow = cv2.GaussianBlur(cover, (0, 0), 0.5 * scene.pose.px_per_mm())
    part *= ((1.0 - cover) * (1.0 - 0.35 * shadow))[..., None]
    for lamp, field_px in zip(scene.lighting.lamps, fields, strict=True):
        shown = sampled(card_layers(scene, art, lamp), x, y, scale, cv2.BORDER_CONSTANT)
        shown *= field_px[top:bottom, left:right][..., None]
        part += shown


def put_finger(scene: Scene, total: Image, fields: list[Image], blot: Blot) -> None:
    """A finger over everything, in place."""
    turn, (reach, thick) = np.radians(blot.turn_deg), blot.size_mm
    bend = np.linspace(-np.pi / 2, np.pi / 2, 24)
    tip = np.stack([reach + thick * np.cos(bend), thick * np.sin(bend)], axis=1)
    rod = np.vstack([tip, [[-reach, thick], [-reach, -thick]]])
    rotate = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    outline = np.round(scene.pose.to_px(rod @ rotate.T + blot.at_mm) * 16).astype(np.int32)
    mask = np.zeros(total.shape[:2], dtype=np.uint8)
    cv2.fillPoly(mask, [outline], 255, cv2.LINE_8, 4)
    depth = cv2.distanceTransform(mask, cv2.DIST_L2, 3) / scene.pose.px_per_mm()
    cover = cv2.GaussianBlur(mask.astype(np.float32) / 255.0, (0, 0), 0.8)
    near = cv2.GaussianBlur(cover, (0, 0), 1.5 * scene.pose.px_per_mm())
    total *= ((1.0 - cover) * (1.0 - 0.4 * near))[..., None]
    round_off = (0.45 + 0.55 * np.sqrt(np.clip(depth / thick, 0, 1))).astype(np.float32) * cover
    for lamp, field_px in zip(scene.lighting.lamps, fields, strict=True):
        skin = scene.camera.raw(lamp.power, SKIN).astype(np.float32)
        total += (round_off * field_px)[..., None] * skin


def brightest_paper(scene: Scene) -> Array:
    """Sensor values of the bare paper where the card is lit best."""
    w, h = scene.card.size_mm
    x, y = np.meshgrid(np.linspace(0, w, 15), np.linspace(0, h, 11))
    fields = scene.lighting.fields(x.astype(np.float32), y.astype(np.float32))
    total = sum(
        field[..., None] * scene.camera.raw(lamp.power, scene.paper.white(lamp.near_uv))
        for lamp, field in zip(scene.lighting.lamps, fields, strict=True)
    )
    flat = np.asarray(total).reshape(-1, 3)
    return flat[int(np.argmax(flat[:, 1]))]


def optics(scene: Scene, total: Image) -> Image:
    """Vignetting, the lens's own softness, defocus and motion."""
    height, width = total.shape[:2]
    v = np.linspace(-1, 1, height, dtype=np.float32)[:, None] * height
    u = np.linspace(-1, 1, width, dtype=np.float32)[None, :] * width
    total *= (1.0 - scene.vignetting * (u**2 + v**2) / (width**2 + height**2))[..., None]
    total = cv2.GaussianBlur(total, (0, 0), 0.65)
    if scene.defocus_px > 0.3:
        total = cv2.filter2D(total, -1, disc(scene.defocus_px))
    dx, dy = scene.motion_px
    if np.hypot(dx, dy) > 0.7:
        total = cv2.filter2D(total, -1, streak(dx, dy))
    return total


def disc(radius: float) -> Image:
    """A defocused point."""
    reach = int(np.ceil(radius)) + 1
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0).astype(np.float32)
    return kernel / kernel.sum()


def streak(dx: float, dy: float) -> Image:
    """A point drawn out by a shaken hand."""
    reach = int(np.ceil(max(abs(dx), abs(dy)) / 2)) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), dtype=np.float32)
    ends = np.array([[reach - dx / 2, reach - dy / 2], [reach + dx / 2, reach + dy / 2]]) * 16
    first, last = (tuple(round(float(v)) for v in end) for end in ends)
    cv2.line(kernel, first, last, 1.0, 1, cv2.LINE_AA, 4)
    return kernel / kernel.sum()


def photographed(scene: Scene) -> NDArray[np.uint8]:
    """The photo, upright, 8 bit (rows, columns, 3)."""
    raw, white = exposed(scene)
    rng = np.random.default_rng([scene.seed, 64])
    power = sum(lamp.power for lamp in scene.lighting.lamps)
    return develop.develop(raw, scene.camera, white, scene.look, warmth(np.asarray(power)), rng)
