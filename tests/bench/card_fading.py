"""The drift watch of a printed card: how much fading it catches, and how often it cries wolf.

Patch-level photographs: a card of its own print, a phone, lights drawn for each photo; magenta and
yellow fade evenly from the first photo to the last. The watch is asked after every photo, as a
shop would; an alarm at any of them counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from tests.bench.patch_shots import fit_of, photo_of
from tests.render import develop, light
from tests.render.camera import Camera
from tests.render.inks import Print
from tests.render.spectra import Array, de00

START = datetime(2026, 3, 1, 9, tzinfo=UTC)

LIGHTS = {"daylight": 0.65, "good_led": 0.35}


@dataclass(frozen=True)
class Life:
    """The life of one card in a shop."""

    seed: int
    photos: int = 48
    lost: float = 0.0
    """Share of magenta and yellow gone at the last photo."""
    lights: tuple[str, ...] = ("daylight", "daylight", "good_led")
    later: tuple[str, ...] = ()
    """Lights of the second half, where they are others."""
    new_phone: bool = False
    """Another phone in the second half."""
    other: bool = False


def misfits(life: Life) -> tuple[list[float], Array]:
    """Leave-one-out misfits of the photos, and the patches' distances (CIEDE2000) at last."""
    from reader.card import standard_card

    card = standard_card()
    wanted = np.array([patch.lab for patch in card.patches])
    paper = Print(life.seed, ("profiled", "plain", "office")[life.seed % 3], other=life.other)
    known = paper.measured(wanted)
    found = [
        misfit(life, paper, wanted, known, k, life.lost * k / (life.photos - 1.0))
        for k in range(life.photos)
    ]
    from tests.render.spectra import lab_d50

    last = lab_d50(paper.reflectance(wanted, fading=life.lost))
    return found, de00(last, paper.lab(wanted))


def misfit(life: Life, paper: Print, wanted: Array, known: Array, k: int, lost: float) -> float:
    """Median leave-one-out error of one photo's patches."""
    from reader.lab import delta_e00

    rng = np.random.default_rng([life.seed, k, 53])
    second = k >= life.photos // 2
    kinds = life.later if second and life.later else life.lights
    lamp = light.make(str(rng.choice(kinds)), int(rng.integers(1_000_000)), life.other)
    phone = life.seed + (50_000 if second and life.new_phone else 0)
    camera = Camera(phone, "other" if life.other else "phone")
    look = replace(develop.draw_look(rng, False, life.other))
    sheet = paper.white(lamp.near_uv)
    shown = photo_of(rng, lamp, camera, look, sheet)
    fit = fit_of(shown, paper.reflectance(wanted, lamp.near_uv, lost), sheet, known)
    return float(np.median(delta_e00(fit.loo_lab, known)[fit.used]))


def first_alarm(found: Sequence[float]) -> int | None:
    """After how many photos the watch first says that the card fades; None: never."""
    from calibration.card_watch import CardFit, watch_card

    fits = [CardFit(START + timedelta(days=k), one) for k, one in enumerate(found)]
    for n in range(1, len(fits) + 1):
        if watch_card(fits[:n]).state == "fading":
            return n
    return None


def figures(first: int, cards: int, photos: int) -> dict[str, Any]:
    """Power at several losses, and false alarms on good cards."""
    told: dict[str, Any] = {}
    for lost in (0.05, 0.1, 0.2, 0.3):
        lives = [Life(first + i, photos, lost, other=bool(i % 2)) for i in range(cards)]
        told[f"lost {100 * lost:.0f} %"] = caught(lives)
    good = {
        "steady": {},
        "lamp changed": {"later": ("led", "fluorescent")},
        "daylight to LED": {"lights": ("daylight",), "later": ("good_led",)},
        "phone changed": {"new_phone": True},
    }
    for name, how in good.items():
        lives = [Life(first + i, photos, 0.0, other=bool(i % 2), **how) for i in range(cards)]
        told[f"good card, {name}"] = caught(lives)
    return told


def caught(lives: Sequence[Life]) -> dict[str, Any]:
    """How many cards the watch called fading, and after how many photos."""
    ends = []
    for life in lives:
        found, _ = misfits(life)
        ends.append((first_alarm(found), found))
    alarms = [n for n, _ in ends if n is not None]
    third = len(ends[0][1]) // 3
    rises = [np.median(found[-third:]) - np.median(found[:third]) for _, found in ends]
    return {
        "cards": len(ends),
        "called_fading": len(alarms),
        "after_photos": int(np.median(alarms)) if alarms else None,
        "misfit_first": round(float(np.median([np.median(f[:third]) for _, f in ends])), 3),
        "rise_median": round(float(np.median(rises)), 3),
    }
