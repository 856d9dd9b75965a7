"""The light over the card, from its white: slopes, soft and hard shadows, small print, glare."""

import numpy as np
import pytest

from reader.card import standard_card
from reader.flatten import Flat
from reader.light import light_field
from reader.tone import srgb_decode, srgb_encode

CARD = standard_card()
PX_PER_MM = 6.0
WIDTH, HEIGHT = (round(side * PX_PER_MM) for side in CARD.size_mm)
Y_MM, X_MM = (np.mgrid[:HEIGHT, :WIDTH] + 0.5) / PX_PER_MM
PADS_MM = np.column_stack([np.linspace(28, 110, 9), np.full(9, 45.0)])
PATCHES_MM = np.array([[p.rect_mm[0] + 3.2, p.rect_mm[1] + 3.2] for p in CARD.patches])


def card_under(strength, white=0.8):
    """Return a flat card, patches and slot dark, under a light of strength (h, w)."""
    paper = np.full((HEIGHT, WIDTH), white)
    inked = [p.rect_mm for p in CARD.patches] + [CARD.slot.rect_mm]
    inked += [(*m.corners_mm[0], 10.8, 10.8) for m in CARD.markers]
    for x, y, w, h in inked:
        rows = slice(round(y * PX_PER_MM), round((y + h) * PX_PER_MM))
        paper[rows, round(x * PX_PER_MM) : round((x + w) * PX_PER_MM)] = 0.2
    return flat_of(srgb_encode(np.clip(paper * strength, 0, 1)))


def flat_of(grey):
    rng = np.random.default_rng(1)
    code = np.clip(grey + rng.normal(0, 0.004, grey.shape), 0, 1)
    rgb = np.repeat(code[..., None], 3, axis=2).astype(np.float32)
    return Flat(
        rgb=rgb, px_per_mm=PX_PER_MM, photo_px_per_mm=PX_PER_MM,
        inside=np.ones(grey.shape, bool), clipped=code >= 0.995, blur_mm=0.1,
    )  # fmt: skip


def seen_at(light, at_mm):
    return srgb_decode(light.code_at(at_mm))[:, 0]


def true_at(strength, at_mm, white=0.8):
    at = (at_mm * PX_PER_MM).astype(int)
    return white * strength[at[:, 1], at[:, 0]]


def error_at(strength, at_mm):
    light = light_field(card_under(strength), CARD)
    return np.abs(np.log(seen_at(light, at_mm) / true_at(strength, at_mm))).max()


@pytest.mark.parametrize("places", [PADS_MM, PATCHES_MM], ids=["pads", "patches"])
def test_a_slope_and_a_lamps_fall_off_are_followed(places):
    slope = np.exp(0.5 * (X_MM - 70) / 100 - 0.2 * (Y_MM - 45) / 100)
    fall = 1 / (1 + ((X_MM - 20) ** 2 + (Y_MM - 10) ** 2) / 200**2)

    assert error_at(slope * fall, places) < 0.01


def test_a_soft_shadow_is_followed():
    shadow = 1 - 0.4 / (1 + np.exp(-(X_MM + 0.5 * Y_MM - 90) / 6))

    assert error_at(shadow, PADS_MM) < 0.03
    assert light_field(card_under(shadow), CARD).reasons == ()


def test_a_hard_shadow_is_named_and_placed():
    shadow = np.where(X_MM + 0.4 * Y_MM > 90, 0.6, 1.0)
    light = light_field(card_under(shadow), CARD)

    assert "hard_shadow" in light.reasons
    off = np.abs(light.edges_mm @ [1.0, 0.4] - 90)
    assert np.quantile(off, 0.9) < 3.0


def test_even_light_gives_no_reason():
    light = light_field(card_under(np.ones((HEIGHT, WIDTH))), CARD)

    assert light.reasons == ()
    assert len(light.edges_mm) == 0
    assert light.clipped_share == 0


def test_a_strong_slope_is_remarked():
    slope = np.exp((X_MM - 140) / 150)

    assert "uneven_light" in light_field(card_under(slope), CARD).reasons


def test_small_print_does_not_count():
    strength = np.ones((HEIGHT, WIDTH))
    letters = (X_MM > 16) & (X_MM < 36) & (Y_MM > 76) & (Y_MM < 79)
    strength[letters & ((X_MM * 2) % 2 < 1)] = 0.15
    light = light_field(card_under(strength), CARD)

    assert light.reasons == ()
    assert np.abs(np.log(seen_at(light, PADS_MM) / 0.8)).max() < 0.02


def test_a_mirror_spot_on_the_white_is_left_out():
    spot = 1 + 0.22 * np.exp(-((X_MM - 70) ** 2 + (Y_MM - 40) ** 2) / (2 * 5**2))
    light = light_field(card_under(np.minimum(spot, 1.25), white=0.8), CARD)

    assert np.abs(np.log(seen_at(light, PADS_MM) / 0.8)).max() < 0.25
    assert light.clipped_share < 0.2


def test_cut_off_white_is_counted():
    bright = np.where(X_MM > 60, 1.4, 0.9)

    assert 0.4 < light_field(card_under(bright), CARD).clipped_share < 0.7


def test_a_card_without_visible_white_says_so():
    light = light_field(flat_of(np.zeros((HEIGHT, WIDTH))), CARD)

    assert light.reasons == ("light_unknown",)
    assert np.isfinite(light.code_at(PADS_MM)).all()


def test_the_light_is_less_sure_far_from_white():
    light = light_field(card_under(np.ones((HEIGHT, WIDTH))), CARD)
    near, far = light.uncertainty_at(np.array([[70.0, 39.0], [300.0, 300.0]]))

    assert 0 < near < 0.02 < far
