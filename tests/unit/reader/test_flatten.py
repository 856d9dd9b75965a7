"""The card comes out straight, at its true size, and what was outside the photo is not invented."""

import numpy as np
import pytest

from reader.card import standard_card
from reader.find_card import find_card
from reader.flatten import flatten
from reader.photo import open_photo
from tests.unit.reader.scenes import draw_card, jpeg, png, pose, srgb, take

CARD = standard_card()


def flat_of(data, **how):
    photo = open_photo(data)
    return flatten(photo, find_card(photo, CARD), **how)


def middle_of(flat, rect):
    x, y, w, h = (round(v * flat.px_per_mm) for v in rect)
    return flat.rgb[y + h // 4 : y + h - h // 4, x + w // 4 : x + w - w // 4].mean((0, 1))


@pytest.mark.parametrize("bow", [0.0, 0.05])
def test_patches_lie_where_the_layout_says(bow):
    size = (1600, 1200)
    picture = take(draw_card(), pose(size, CARD, tilt_deg=25), size, bow=bow, noise=1)
    flat = flat_of(png(picture))
    assert flat.px_per_mm == pytest.approx(6.0)
    assert flat.inside.all()
    for patch in CARD.patches:
        assert middle_of(flat, patch.rect_mm) * 255 == pytest.approx(srgb(patch.lab), abs=2.5)


def test_patches_stand_where_the_layout_says():
    """The middle of each patch, from its contrast to the white, lies within a tenth of a mm."""
    size = (4000, 3000)
    flat = flat_of(jpeg(take(draw_card(), pose(size, CARD, tilt_deg=20), size)))
    for patch in CARD.patches:
        x, y, w, h = patch.rect_mm
        top, low = (round((y + s * h) * flat.px_per_mm) for s in (0.25, 0.75))
        start, stop = (round(v * flat.px_per_mm) for v in (x - 0.8, x + w + 0.8))
        line = flat.rgb[top:low, start:stop].mean(axis=(0, 2))
        white, ink = max(line[0], line[-1]), np.median(line[len(line) // 4 : -len(line) // 4])
        share = np.clip((white - line) / (white - ink), 0, 1)
        where = (np.arange(start, stop) + 0.5) / flat.px_per_mm
        if white - ink > 0.15:
            assert np.sum(share * where) / share.sum() == pytest.approx(x + w / 2, abs=0.1)


def test_what_lies_outside_the_photo_is_marked():
    size = (1600, 1200)
    flat = flat_of(png(take(draw_card(), pose(size, CARD, share=0.9, shift=(40, 0)), size)))
    assert 0.6 < flat.inside.mean() < 0.9
    assert np.isnan(flat.rgb[~flat.inside]).all()
    assert np.isfinite(flat.rgb[flat.inside]).all()


def test_clipped_pixels_are_marked():
    size = (1600, 1200)
    flat = flat_of(png(take(draw_card(), pose(size, CARD), size, gain=1.3)))
    assert flat.clipped[4:15, 225:300].all()
    assert not flat.clipped[262:278, 300:375].any()


def test_a_finer_decode_is_taken_where_the_card_is_small():
    size = (4000, 3000)
    data = jpeg(take(draw_card(), pose(size, CARD, share=0.25), size))
    assert flat_of(data).px_per_mm == pytest.approx(6.0)
    assert flat_of(data, px_per_mm=5.0).rgb.shape == (450, 700, 3)
