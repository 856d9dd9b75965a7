"""Rendered photos with the truth beside them."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from tests.render import scene as scenes, shots
from tests.render.photo_file import as_file
from tests.render.spectra import lab_d50

Truth = dict[str, Any]


def render(
    setting: shots.Setting, seed: int, kind: str, quality: int | None = None
) -> tuple[bytes, Truth]:
    """Return the photo's bytes and its truth; the same arguments give the same photo."""
    scene = shots.draw(setting, seed, kind)
    pixels = scenes.photographed(scene)
    data = as_file(
        pixels, scene.form, quality or scene.look.quality, scene.look.space,
        scene.orientation, scene.taken_at,
    )  # fmt: skip
    return data, truth_of(scene, setting, kind)


def truth_of(scene: scenes.Scene, setting: shots.Setting, kind: str) -> Truth:
    """Everything that is known of the photo, ready for JSON."""
    where = scene.pose
    return {
        "kind": kind,
        "seed": scene.seed,
        "fault_pads": scene.notes.get("fault_pads", []),
        "card": {"design": scene.card.design, "print": asdict(scene.paper)},
        "strips": [strip_truth(scene, number) for number in range(len(scene.strips))],
        "light": {
            "kind": scene.notes["light_kind"],
            "lamps": [lamp.name for lamp in scene.lighting.lamps],
            "second_share": rounded(scene.lighting.share),
        },
        "ground": scene.ground.kind,
        "camera": {"family": scene.camera.family, "seed": scene.camera.seed},
        "look": asdict(scene.look),
        "pose": {
            "tilt_deg": rounded(where.tilt_deg),
            "roll_deg": rounded(where.roll_deg),
            "px_per_mm": rounded(where.px_per_mm()),
            "homography_mm_to_px": np.round(where.homography / where.homography[2, 2], 9).tolist(),
            "bow": rounded(where.bow),
            "curl_mm": rounded(where.curl_mm),
            "size_px": [where.width_px, where.height_px],
            "exif_orientation": scene.orientation,
        },
        "taken_at": scene.taken_at.isoformat() if scene.taken_at else None,
    }


def strip_truth(scene: scenes.Scene, number: int) -> Truth:
    """The strip's make, place and pads."""
    strip = scene.strips[number]
    kind = strip.pads.kind
    pads = []
    for i, pad in enumerate(kind.pads):
        at = strip.lie.at(kind.centre_mm(i + 1), 0.0)
        pads.append(
            {
                "pad": i + 1,
                "analyte": pad.analyte,
                "unit": pad.unit,
                "value": rounded(strip.values[i]),
                "lab": np.round(lab_d50(strip.reflectance(i)), 3).tolist(),
                "centre_mm": np.round(at, 3).tolist(),
                "centre_px": np.round(scene.pose.to_px(np.array([at]))[0], 2).tolist(),
            }
        )
    return {
        "strip": kind.name,
        "lot": strip.pads.seed,
        "tip_mm": np.round(strip.lie.tip_mm, 3).tolist(),
        "along": np.round(strip.lie.along, 5).tolist(),
        "pads": pads,
    }


def rounded(value: float) -> float:
    """Six digits suffice."""
    return float(f"{value:.6g}")
