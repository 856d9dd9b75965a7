"""The photos of `sample_images`: an invented shop's, from easy to hopeless."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from reader.card import layout_json, standard_card
from tests.render import ground, scene as scenes, shots, tables
from tests.render.pads import Pads
from tests.render.photo_file import as_file
from tests.render.truth import truth_of

SHOP = shots.Setting(
    standard_card(), print_seed=7, print_kind="office", lot_seed=7, phone_seed=7, pixels=3.1e6
)
"""The shop's print of the card, its strip lot and its phone."""

LARGEST_BYTES = 295_000


@dataclass(frozen=True)
class Sample:
    """One photo: what it is called, how it is drawn, what to say of it."""

    name: str
    kind: str
    seed: int
    light: str
    ground: str
    values: tuple[float, ...]
    """Free chlorine, total chlorine, pH, alkalinity, hardness, cyanuric acid, phosphate."""
    sentence: str
    orientation: int = 1
    form: str = "jpeg"
    space: str = "sRGB"


SAMPLES = (
    Sample("01-shade", "good", 101, "daylight", "wood", (4.2, 4.6, 7.5, 95, 55, 30, 180),
           "Open shade on a deck: as good as a photo gets."),
    Sample("02-workbench", "good", 102, "good_led", "plastic", (2.2, 3.0, 7.3, 70, 40, 20, 90),
           "A good lamp over the workbench."),
    Sample("03-turned", "good", 103, "daylight", "stone", (6.5, 7.0, 7.9, 150, 210, 60, 420),
           "The phone was turned: the file says so in its EXIF orientation.", orientation=6),
    Sample("04-wide-colour", "good", 104, "daylight", "plastic", (1.1, 1.4, 6.9, 55, 110, 45, 650),
           "A HEIC file in Display P3, as many phones keep them.", form="heic", space="Display P3"),
    Sample("05-screenshot", "good", 105, "good_led", "plastic", (3.4, 3.6, 7.6, 120, 65, 35, 250),
           "A PNG.", form="png"),
    Sample("06-evening-lamp", "careless", 128, "warm", "wood", (4.8, 5.2, 7.7, 105, 60, 30, 300),
           "A warm bulb in the evening: wider bands."),
    Sample("07-window-and-lamp", "careless", 113, "mixed", "towel",
           (3.0, 3.9, 7.2, 85, 140, 55, 150), "Window on one side, a lamp on the other."),
    Sample("08-hall-tubes", "careless", 117, "fluorescent", "tiles",
           (5.6, 6.4, 8.1, 170, 75, 80, 900), "Tubes in a tiled hall, from far and askew."),
    Sample("09-glare", "glare", 109, "daylight", "wood", (4.0, 4.4, 7.4, 90, 50, 30, 200),
           "The sky mirrors on a wet pad."),
    Sample("10-sharp-shadow", "hard_shadow", 110, "daylight", "stone",
           (4.0, 4.4, 7.4, 90, 50, 30, 200), "The edge of a shadow crosses the pads."),
    Sample("11-wrong-way-round", "reversed", 111, "daylight", "plastic",
           (4.0, 4.4, 7.4, 90, 50, 30, 200), "The strip lies the wrong way round."),
    Sample("12-other-strip", "other_strip", 112, "daylight", "wood",
           (4.0, 4.4, 7.4, 90, 50, 30, 200), "A strip of another make."),
    Sample("13-shaken", "blur", 114, "good_led", "plastic", (4.0, 4.4, 7.4, 90, 50, 30, 200),
           "Out of focus."),
    Sample("14-empty-slot", "no_strip", 115, "daylight", "wood", (4.0, 4.4, 7.4, 90, 50, 30, 200),
           "The strip was forgotten."),
    Sample("15-burnt-out", "over", 116, "daylight", "stone", (4.0, 4.4, 7.4, 90, 50, 30, 200),
           "Full sun, burnt out: hopeless."),
)  # fmt: skip


def scene_of(sample: Sample) -> tuple[scenes.Scene, shots.Setting]:
    """The sample's scene."""
    setting = replace(SHOP, light_kind=sample.light, values=sample.values)
    if sample.form != "jpeg":
        setting = replace(setting, pixels=8e5 if sample.form == "png" else 2.4e6)
    scene = shots.draw(setting, sample.seed, sample.kind)
    bare = ground.draw(np.random.default_rng([sample.seed, 91]), sample.ground)
    look = replace(scene.look, space=sample.space, noise=min(scene.look.noise, 0.006))
    return (
        replace(scene, ground=bare, look=look, orientation=sample.orientation, form=sample.form),
        setting,
    )


def file_of(scene: scenes.Scene) -> bytes:
    """The file; a JPEG at the best quality that keeps it small."""
    pixels = scenes.photographed(scene)
    data = b""
    # HEIC is slow to encode: one try.
    for quality in (55,) if scene.form == "heic" else range(92, 60, -3):
        data = as_file(
            pixels, scene.form, quality, scene.look.space, scene.orientation, scene.taken_at
        )
        if scene.form == "png" or len(data) <= LARGEST_BYTES:
            break
    return data


def write_all(folder: Path) -> None:
    """Write photos, truths, card, measured card, table and README."""
    folder.mkdir(parents=True, exist_ok=True)
    endings = {"jpeg": "jpg", "png": "png", "heic": "heic"}
    lines = []
    for sample in SAMPLES:
        scene, setting = scene_of(sample)
        name = f"{sample.name}.{endings[sample.form]}"
        (folder / name).write_bytes(file_of(scene))
        truth = truth_of(scene, setting, sample.kind)
        (folder / f"{sample.name}.truth.json").write_text(json.dumps(truth, indent=1) + "\n")
        lines.append(f"| `{name}` | {sample.sentence} |")
    (folder / "card.json").write_text(layout_json(SHOP.card))
    measured = tables.measured_card(SHOP.card, SHOP.paper())
    (folder / "card-measured.txt").write_text(tables.cgats(measured, "Heron Lane Spa Care, card 7"))
    (folder / "table.csv").write_text(tables.truth_table(Pads(SHOP.lot_seed, SHOP.family)))
    (folder / "README.md").write_text(README.format(rows="\n".join(lines)))


README = """# Sample photos

Rendered, not photographed: `python -m tests.render --samples sample_images` writes them from
spectra of lamps, inks, dyes and a phone's sensor. Shop, tub and strip are invented: Heron Lane Spa
Care dips strips named Reedmere 7 and prints its card on an office printer. Beside each photo stands
the truth (`*.truth.json`): values, true colours, light, pose, camera.

| photo | what it shows |
|---|---|
{rows}

`card.json` is the card's layout, `card-measured.txt` the shop's print of it as an instrument
measured it, `table.csv` the calibration table of the strip lot, `logs/` logs of invented tubs.
"""
