"""The photos a reading benchmark looks at: drawn by seed, rendered once, kept in a cache."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from reader.card import Card, standard_card
from tests.render import shots, strips
from tests.render.truth import Truth, render

RENDERER = Path(__file__).parents[1] / "render"

OTHER_GROUNDS = ((100.0, 0.0, 0.0), (62.0, 0.0, 0.0), (22.0, 0.0, 0.0), (38.0, 22.0, -30.0))
"""Grounds of the slot that another maker of the same layout might print: paper, greys, violet."""


@dataclass(frozen=True)
class Job:
    """One photo to render and read."""

    group: str
    """Which row of the report it belongs to."""
    kind: str
    seed: int
    measured: bool = True
    """Whether the reader gets the measured card."""
    other: bool = False
    light: str | None = None
    shop: int | None = None
    """Photos of one shop share print, lot and phone; None: every photo its own."""
    block: int | None = None
    """Dip into waters at this block of every chart, for a photo-made table."""
    pixels: float = 3.1e6


def setting_of(job: Job) -> shots.Setting:
    """The shop the job's photo comes from, drawn by seed."""
    number = job.seed if job.shop is None else job.shop
    rng = np.random.default_rng([number, 101])
    print_kind = ("profiled", "plain", "office")[int(rng.choice(3, p=[0.25, 0.4, 0.35]))]
    families = ("tarnbeck", "oxwell") if job.other else ("reedmere",)
    setting = shots.Setting(
        drawn_card(number) if job.other else standard_card(),
        print_seed=number,
        print_kind=print_kind,
        lot_seed=number,
        family=families[int(rng.integers(len(families)))],
        phone_seed=None if job.shop is None else number,
        light_kind=job.light,
        other=job.other,
        pixels=job.pixels,
    )
    if job.block is None:
        return setting
    pads = strips.FAMILIES[setting.family].pads
    values = tuple(pad.blocks[min(job.block, len(pad.blocks) - 1)] for pad in pads)
    return replace(setting, values=values)


def drawn_card(number: int) -> Card:
    """The built-in layout with another slot ground than ours."""
    card = standard_card()
    ground = OTHER_GROUNDS[number % len(OTHER_GROUNDS)]
    return replace(card, slot=replace(card.slot, ground_lab=ground))


@cache
def renderer_key() -> str:
    """Changes with every line of the renderer."""
    digest = hashlib.sha256()
    for path in sorted(RENDERER.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def photo_of(job: Job) -> tuple[bytes, Truth]:
    """The job's photo and truth, from the cache where it was rendered before."""
    setting = setting_of(job)
    asked = json.dumps([renderer_key(), asdict(setting), job.seed, job.kind], default=str)
    place = cache_folder() / hashlib.sha256(asked.encode()).hexdigest()[:32]
    photo, truth_file = place.with_suffix(".jpg"), place.with_suffix(".json")
    if truth_file.exists():
        truth: dict[str, Any] = json.loads(truth_file.read_text("utf-8"))
        return photo.read_bytes(), truth
    data, truth = render(setting, job.seed, job.kind)
    photo.write_bytes(data)
    part = place.with_suffix(f".{os.getpid()}")
    part.write_text(json.dumps(truth), "utf-8")
    part.replace(truth_file)
    return data, truth


def cache_folder() -> Path:
    """Where rendered photos are kept between runs; may be deleted at any time."""
    folder = Path(os.environ.get("DIPSTEP_RENDER_CACHE", tempfile.gettempdir())) / "dipstep-render"
    folder.mkdir(parents=True, exist_ok=True)
    return folder
