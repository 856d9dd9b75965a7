"""Pads on a drawn card: their middles, and glare, dirt, drift, shadow, blur and size named."""

from dataclasses import replace

import numpy as np
import pytest

from reader.budget import budget_of
from reader.card import standard_card
from reader.colour_fit import fit_colour
from reader.find_strip import StripBox
from reader.lab import SRGB_TO_XYZ_D50, delta_e00, xyz_from_lab
from reader.light import light_field
from reader.pads import pad_colours
from reader.tone import srgb_decode, srgb_encode
from tests.unit.reader.test_light import HEIGHT, WIDTH, X_MM, Y_MM, flat_of

CARD = replace(standard_card(), measured=True)
CENTRES_MM = [(30.0, 45.0), (40.0, 45.0), (50.0, 45.0)]
PADS = np.array([[70.0, 20.0, 30.0], [60.0, -25.0, -10.0], [65.0, 30.0, -15.0]])
SIDE_MM = 5.0
TO_RGB = np.linalg.inv(SRGB_TO_XYZ_D50)


def code_of(lab):
    """Codes of a plain sRGB camera that sees D50's white as its own, dimmed a little."""
    return srgb_encode(np.clip(0.9 * xyz_from_lab(np.asarray(lab)) @ TO_RGB.T, 0, 1))


def drawn():
    """Return a card (h, w, 3) in codes with three pads on a strip."""
    rgb = np.empty((HEIGHT, WIDTH, 3))
    rgb[:] = code_of([95.0, 0.0, 0.0])
    for marker in CARD.markers:
        fill(rgb, (*marker.corners_mm[0], 10.8, 10.8), [20.0, 0.0, 0.0])
    for patch in CARD.patches:
        fill(rgb, patch.rect_mm, patch.lab)
    fill(rgb, CARD.slot.rect_mm, [45.0, -2.0, -8.0])
    fill(rgb, (24.0, 42.0, 82.0, 6.0), [92.0, 0.0, 3.0])
    for (x, y), lab in zip(CENTRES_MM, PADS, strict=True):
        fill(rgb, (x - SIDE_MM / 2, y - SIDE_MM / 2, SIDE_MM, SIDE_MM), lab)
    return rgb


def fill(rgb, rect_mm, lab):
    x, y, w, h = rect_mm
    there = (x < X_MM) & (x + w > X_MM) & (y < Y_MM) & (y + h > Y_MM)
    rgb[there] = code_of(lab)


def near(pad, x0, x1, y0, y1):
    """Where the picture lies within fractions -0.5 to 0.5 of a pad."""
    x, y = CENTRES_MM[pad]
    u, v = (X_MM - x) / SIDE_MM, (Y_MM - y) / SIDE_MM
    return (u > x0) & (u < x1) & (v > y0) & (v < y1)


def strip():
    half = SIDE_MM / 2
    corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    return StripBox(
        pads=(1, 2, 3), quads_mm=tuple(corners + c for c in np.array(CENTRES_MM)),
        outline_mm=np.array([[24, 42], [106, 42], [106, 48], [24, 48.0]]),
        pad_reasons=((), (), ()), reasons=(), stretch=1.0, width_mm=6.0,
    )  # fmt: skip


def read(rgb, **changes):
    flat = replace(flat_of(rgb[..., 0]), rgb=noisy(rgb), clipped=(rgb >= 0.995).any(axis=2))
    flat = replace(flat, **changes)
    light = light_field(flat, CARD)
    fit = fit_colour(flat, light, CARD)
    return pad_colours(flat, light, fit, strip(), budget_of(fit, CARD))


def noisy(rgb):
    return (rgb + np.random.default_rng(4).normal(0, 0.006, rgb.shape)).astype(np.float32)


@pytest.fixture(scope="module")
def clean():
    return read(drawn())


def test_a_plain_camera_is_undone(clean):
    errors = delta_e00(np.array([pad.lab for pad in clean]), PADS)

    assert errors.max() < 1.0
    assert all(pad.reasons == () for pad in clean)


def test_the_lab_lies_within_its_covariance(clean):
    for pad, true in zip(clean, PADS, strict=True):
        off = pad.lab - true

        assert off @ np.linalg.solve(pad.cov + pad.cov_budget, off) < 11.3


@pytest.mark.parametrize(
    ("where", "lab", "code"),
    [
        ((-0.2, 0.1, -0.2, 0.1), [97.0, 0.0, 0.0], "glare"),
        ((0.0, 0.25, -0.3, 0.2), [25.0, 5.0, 10.0], "dirty"),
        ((-0.5, -0.1, -0.5, 0.5), [70.0, -4.0, 4.0], "uneven_pad"),
    ],
)
def test_faults_of_one_pad_are_named_there_only(where, lab, code):
    rgb = drawn()
    rgb[near(1, *where)] = code_of(lab)
    pads = read(rgb)

    assert code in pads[1].reasons
    assert pads[0].reasons == pads[2].reasons == ()


@pytest.mark.parametrize("light", [0.25, 0.35, 0.6])
def test_a_mirror_over_most_of_a_pad_is_glare_and_no_dirt(light):
    rgb = drawn()
    there = near(0, -0.5, 0.2, -0.5, 0.5)
    rgb[there] = srgb_encode(np.clip(srgb_decode(rgb[there]) + light * 0.85, 0, 1))
    reasons = read(rgb)[0].reasons

    assert "glare" in reasons
    assert "dirty" not in reasons


def test_a_shadow_over_part_of_a_pad_is_no_glare():
    rgb = drawn()
    there = near(0, -0.5, -0.1, -0.5, 0.5)
    rgb[there] = srgb_encode(0.5 * srgb_decode(rgb[there]))

    assert "glare" not in read(rgb)[0].reasons


def test_a_cut_off_pad_is_not_read():
    rgb = drawn()
    rgb[near(2, -0.3, 0.3, -0.3, 0.3)] = 1.0
    pad = read(rgb)[2]

    assert pad.lab is None
    assert "clipped" in pad.reasons


def test_a_small_pad_is_not_read():
    pads = read(drawn(), photo_px_per_mm=2.5)

    assert all(pad.lab is None and "too_small" in pad.reasons for pad in pads)


def test_a_blurred_pad_is_doubted():
    assert "blurred" in read(drawn(), blur_mm=1.0)[0].reasons


def test_a_shadows_edge_at_a_pad_is_named():
    rgb = drawn()
    rgb[X_MM > 40.5] *= 0.75
    pads = read(rgb)

    assert "shadow_on_pad" in pads[1].reasons
    assert "shadow_on_pad" not in pads[0].reasons


def test_pixels_outside_the_photo_are_no_colour():
    rgb = drawn()
    rgb[near(0, -0.5, 0.1, -0.5, 0.5)] = np.nan
    pads = read(rgb)

    assert pads[0].lab is None
    assert pads[0].reasons == ("strip_cut_off",)
    assert pads[1].lab is not None
