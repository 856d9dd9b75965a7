"""Photos of a card beside another print: one already measured, a 24-patch chart, a bottle's chart.

Drawn with the parts of the renderer: one ground, light, camera and pose; two flat prints on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from reader.card import Card, standard_card
from tests.render import card_art, develop, ground, pose, scene as scenes, shots
from tests.render.camera import Camera
from tests.render.inks import Print
from tests.render.patches import warmth
from tests.render.photo_file import as_file
from tests.render.pose import Pose
from tests.render.scene import Scene
from tests.render.spectra import Array, colour, lab_d50, on_grid

GAP_MM = (2.0, 14.0)
"""Least and most room between the two."""

SQUARE_MM, PITCH_MM, RIM_MM = 18.0, 21.0, 6.0
"""A desk-sized chart: side of a patch, distance of middles, black rim."""
CHART_MM = (6 * PITCH_MM + RIM_MM, 4 * PITCH_MM + RIM_MM)


@dataclass(frozen=True, eq=False)
class Sheet:
    """A flat sheet of colours."""

    size_mm: tuple[float, float]
    boxes_mm: tuple[tuple[float, float, float, float], ...]
    """Left, top, width, height of each colour."""
    spectra: Array
    """Their reflectances (n, 71)."""
    board: Array | float
    """Reflectance of what lies between them."""


@dataclass(frozen=True, eq=False)
class Beside:
    """What lies in a photo: the new print, and the known one or a sheet (the 24-patch chart)."""

    new: Print
    known: Print | None
    phone: int
    light: str
    other: bool = False
    pixels: float = 4.9e6
    sheet: Sheet | None = None


def chart_spectra() -> Array:
    """Reflectances (24, 71) of an average chart of this kind as measured, from colour-science."""
    return np.stack([on_grid(sd) for sd in colour.SDS_COLOURCHECKERS["babel_average"].values()])


def chart24() -> Sheet:
    """The published chart: black board, four rows of six squares."""
    inset = RIM_MM / 2 + (PITCH_MM - SQUARE_MM) / 2
    boxes = tuple(
        (inset + (n % 6) * PITCH_MM, inset + (n // 6) * PITCH_MM, SQUARE_MM, SQUARE_MM)
        for n in range(24)
    )
    return Sheet(CHART_MM, boxes, chart_spectra(), 0.035)


def sheet_art(sheet: Sheet, scale: float) -> card_art.Art:
    """The sheet painted flat."""
    columns, rows = (round(side * scale) for side in sheet.size_mm)
    art = card_art.Art(
        scale,
        np.full((rows, columns), card_art.BLACK, np.uint8),
        card_art.paper_grain(rows, columns, scale, np.random.default_rng(3)),
        np.zeros((rows, columns), np.float32),
        np.zeros((rows, columns), np.float32),
    )
    for number, box in enumerate(sheet.boxes_mm):
        art.fill(art.material, card_art.rectangle(box), card_art.FIRST_PATCH + number)
    return art


def scene_of(what: Beside, seed: int) -> tuple[Scene, Array]:
    """A scene whose card is the new one, and the way (3, 3) from the known one's places to its."""
    rng = np.random.default_rng([seed, 91])
    card = standard_card()
    setting = shots.Setting(card, light_kind=what.light, other=what.other, pixels=what.pixels)
    size = card.size_mm if what.known else (what.sheet or chart24()).size_mm
    below = bool(rng.random() < 0.7)
    gap = float(rng.uniform(*GAP_MM))
    shift = np.array([0.0, size[1] + gap] if below else [size[0] + gap, 0.0])
    shift = shift + rng.normal(0, 2.0, 2)
    angle = np.radians(rng.normal(0, 1.5))
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    both = np.max([size, np.array(card.size_mm) + np.maximum(shift, 0.0)], axis=0)
    kind, lighting = shots.draw_lighting(setting, False, seed, rng)
    where = stand(tuple(both.tolist()), what.pixels, rng)
    to_new = np.eye(3)
    to_new[:2, :2], to_new[:2, 2] = turn, shift
    view = replace(where, homography=where.homography @ to_new, curl_mm=0.0)
    scene = Scene(
        card=card, paper=what.new, strips=(), pose=view, ground=ground.draw(rng),
        lighting=lighting, camera=Camera(what.phone, "other" if what.other else "phone"),
        look=develop.draw_look(rng, False, what.other), seed=seed,
        vignetting=float(rng.uniform(0.05, 0.35)), notes={"light_kind": kind},
        defocus_px=float(rng.uniform(0, 0.05) * where.px_per_mm()),
    )  # fmt: skip
    return scene, np.linalg.inv(to_new)


def stand(size_mm: tuple[float, float], pixels: float, rng: np.random.Generator) -> pose.Pose:
    """A camera over both, held about straight, any way round."""
    long_side = int(np.sqrt(pixels * 4 / 3)) // 16 * 16
    size = (long_side, long_side * 3 // 4 // 16 * 16)
    size = size if (size_mm[0] > size_mm[1]) else size[::-1]
    turn = 180.0 * rng.integers(2) + rng.normal(0, 4)
    shift = tuple(rng.uniform(-0.5, 0.5, 2).tolist())
    return pose.stand(
        size, size_mm, float(rng.uniform(0, 10)), float(rng.uniform(0, 360)), float(turn),
        float(rng.uniform(0.75, 0.92)), shift, float(rng.normal(0, 0.015)), 0.0,
    )  # fmt: skip


def photo(what: Beside, seed: int) -> bytes:
    """The photo's bytes."""
    return photo_and_stand(what, seed)[0]


def photo_and_stand(what: Beside, seed: int) -> tuple[bytes, Pose]:
    """The photo's bytes, and how the other print or sheet lies in it."""
    scene, to_known = scene_of(what, seed)
    size = (scene.pose.width_px, scene.pose.height_px)
    x, y = scene.pose.mm_grid(4, 0, 0, *size)
    fields = [scenes.wide(f, size) for f in scene.lighting.fields(x, y)]
    total = scenes.lit_ground(scene, scenes.ground_under(scene), fields)
    scenes.put_card(scene, total, fields)
    view = replace(scene.pose, homography=scene.pose.homography @ to_known)
    if what.known:
        scenes.put_card(replace(scene, paper=what.known, pose=view), total, fields)
    else:
        put_sheet(what.sheet or chart24(), replace(scene, pose=view), total, fields)
    seen, white = scenes.optics(scene, total), scenes.brightest_paper(scene)
    rng = np.random.default_rng([seed, 64])
    warm = warmth(np.asarray(sum(lamp.power for lamp in scene.lighting.lamps)))
    pixels = develop.develop(seen, scene.camera, white, scene.look, warm, rng)
    return as_file(pixels, "jpeg", scene.look.quality, scene.look.space, 1, None), view


def put_sheet(
    sheet: Sheet, scene: Scene, total: scenes.Image, fields: Sequence[scenes.Image]
) -> None:
    """Lay the sheet over the ground, in place."""
    left, top, right, bottom = scene.pose.window(sheet.size_mm, 12)
    scale = float(np.clip(1.4 * scene.pose.px_per_mm(), 6.0, 26.0))
    art = sheet_art(sheet, scale)
    x, y = scene.pose.mm_grid(1, left, top, right, bottom)
    whole = np.ones(art.material.shape, np.float32)
    cover = scenes.sampled(whole, x, y, scale, cv2.BORDER_CONSTANT)
    part = total[top:bottom, left:right]
    part *= (1.0 - cover)[..., None]
    table = np.full((256, 71), np.asarray(sheet.board))
    first = card_art.FIRST_PATCH
    table[first : first + len(sheet.spectra)] = sheet.spectra
    for lamp, field_px in zip(scene.lighting.lamps, fields, strict=True):
        flat = scene.camera.raw(lamp.power, table).astype(np.float32)[art.material]
        flat *= art.shade[..., None]
        shown = scenes.sampled(flat, x, y, scale, cv2.BORDER_CONSTANT)
        part += shown * field_px[top:bottom, left:right][..., None]


def true_labs(what: Beside, card: Card) -> Array:
    """The new print's true colours (k, 3)."""
    return what.new.lab(np.array([patch.lab for patch in card.patches]))


def measured_labs(paper: Print, card: Card) -> Array:
    """A print's colours as an instrument reports them (k, 3)."""
    return paper.measured(np.array([patch.lab for patch in card.patches]))


def chart_labs() -> Array:
    """The rendered chart's true colours (24, 3)."""
    return lab_d50(chart_spectra())
