"""The strip is found from its own edges, its pads from the table's places, and faults are named."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from reader.card import standard_card
from reader.find_card import find_card
from reader.find_strip import PadPlace, find_strip, why_no_strip
from reader.flatten import flatten
from reader.photo import open_photo
from tests.unit.reader.scenes import (
    FINE,
    Strip,
    draw_card,
    fill,
    lay_strip,
    png,
    pose,
    strip_to_card,
    take,
)

SIZE = (1280, 960)
CARD = standard_card()
PLACES = tuple(PadPlace(n, c, 5.0) for n, c in enumerate(Strip().centres, 1))
PLACE_LIMIT_MM = 0.35


@cache
def bare(ground=(96, 104, 118)):
    drawing = draw_card(ground=ground)
    drawing.flags.writeable = False
    return drawing


def flat_of(*strips, drawing=None, **how):
    drawing = (bare() if drawing is None else drawing).copy()
    for strip in strips:
        drawing = lay_strip(drawing, strip)
    photo = open_photo(png(take(drawing, pose(SIZE, CARD, **({"tilt_deg": 15} | how)), SIZE)))
    return flatten(photo, find_card(photo, CARD))


def worst_mm(box, strip):
    move = strip_to_card(CARD, strip)
    true = np.array([[p.centre_mm, 0.0] for p in PLACES]) @ move[:, :2].T + move[:, 2]
    return np.linalg.norm(np.array([q.mean(axis=0) for q in box.quads_mm]) - true, axis=1).max()


@pytest.mark.parametrize(
    "lying",
    [
        {},
        {"along": 3.0, "across": 0.8, "turn_deg": 1.0},
        {"along": -3.0, "turn_deg": 3.0},
        {"turn_deg": -3.0, "across": -0.5},
        {"across": 3.0},
        {"width": 6.5, "length": 90.0},
        {"width": 4.0, "side": 4.0},
    ],
)
def test_pads_are_placed_however_the_strip_lies(lying):
    strip = Strip(**lying)
    box = find_strip(flat_of(strip), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM
    assert box.reasons == ()
    assert not any(box.pad_reasons)
    assert box.pads == (1, 2, 3, 4, 5, 6)


@pytest.mark.parametrize("ground", [(30, 30, 30), (128, 128, 128), (40, 60, 120), (150, 60, 50)])
def test_the_slot_may_have_another_ground(ground):
    strip = Strip(along=1.5, turn_deg=1.5)
    box = find_strip(flat_of(strip, drawing=bare(ground)), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM
    assert box.reasons == ()


@pytest.mark.parametrize("turn_deg", [0, 90, 180, 270])
def test_the_photo_may_be_turned(turn_deg):
    strip = Strip(along=-2.0)
    box = find_strip(flat_of(strip, turn_deg=turn_deg, share=0.6), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM


def test_pads_that_hardly_differ_from_the_plastic_are_placed_by_the_tip():
    pale = tuple((232 - 2 * n, 232, 226) for n in range(6))
    strip = Strip(colours=pale, along=2.0)
    box = find_strip(flat_of(strip), CARD, PLACES)
    assert worst_mm(box, strip) < 0.6
    assert box.reasons == ()


def test_corners_of_a_pad_go_round_from_the_tip():
    quad = find_strip(flat_of(Strip()), CARD, PLACES).quads_mm[2]
    along, aside = quad[1] - quad[0], quad[2] - quad[1]
    assert along == pytest.approx([5.0, 0.0], abs=0.25)
    assert aside == pytest.approx([0.0, 5.0], abs=0.25)


@pytest.mark.parametrize("at_mm", [0.0, 93.2])
def test_paper_seen_at_an_end_of_the_slot_is_not_the_strips(at_mm):
    """As where the card is placed a little off: the slot's end is not where it should be."""
    drawing = bare().copy()
    x, y, _, height = CARD.slot.rect_mm
    fill(drawing, (x + at_mm, y, 0.8, height), 243)
    strip = Strip(length=78.0)
    box = find_strip(flat_of(strip, drawing=drawing), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM
    assert box.reasons == ()


def test_an_empty_slot_holds_no_strip():
    flat = flat_of()
    assert find_strip(flat, CARD, PLACES) is None
    assert why_no_strip(flat, CARD) == ("no_strip",)


def test_a_slot_outside_the_photo_is_said_to_be_cut_off():
    flat = flat_of(Strip(), share=0.95, shift=(0, 55), turn_deg=90)
    assert find_strip(flat, CARD, PLACES) is None or not flat.inside.all()
    assert "strip_cut_off" in (*why_no_strip(flat, CARD),)


def test_a_strip_laid_the_wrong_way_round_is_told():
    box = find_strip(flat_of(Strip(reversed=True)), CARD, PLACES)
    assert box.reasons == ("strip_reversed",)


def test_a_strip_of_another_kind_is_told():
    other = Strip(centres=(4, 12, 20, 28, 36, 44))
    assert find_strip(flat_of(other), CARD, PLACES).reasons == ("other_strip",)


def test_a_finger_over_a_pad_is_told():
    flat = flat_of(Strip())
    x, y = find_strip(flat, CARD, PLACES).quads_mm[3].mean(axis=0)
    rgb = np.array(flat.rgb)
    left, right = (round((x + d) * flat.px_per_mm) for d in (-6, 6))
    rgb[: round((y + 2) * flat.px_per_mm), left:right] = (0.80, 0.60, 0.50)
    box = find_strip(replace(flat, rgb=rgb), CARD, PLACES)
    assert "something_over_strip" in box.reasons
    assert "pad_covered" in box.pad_reasons[3]
    assert not box.pad_reasons[0]


@pytest.mark.parametrize("second", [{"across": 6.0, "along": 2.0}, {"turn_deg": 40.0}])
def test_a_second_strip_beside_or_across_is_told(second):
    hues = ((190, 60, 90), (60, 150, 160), (210, 160, 60), (90, 90, 190), (60, 160, 90))
    box = find_strip(flat_of(Strip(), Strip(colours=hues, **second)), CARD, PLACES)
    assert "two_strips" in box.reasons


def test_a_slot_filled_from_side_to_side_holds_no_strip_to_read():
    flat = flat_of(Strip(width=14.0, colours=()))
    assert find_strip(flat, CARD, PLACES) is None
    assert why_no_strip(flat, CARD) == ("strip_place_lost",)


def test_noise_of_a_dark_photo_is_no_cover():
    drawing = lay_strip(bare().copy(), Strip())
    picture = take(drawing, pose(SIZE, CARD), SIZE, gain=0.12, noise=3.0)
    photo = open_photo(png(picture))
    box = find_strip(flatten(photo, find_card(photo, CARD)), CARD, PLACES)
    assert "two_strips" not in box.reasons
    assert "something_over_strip" not in box.reasons


@pytest.mark.parametrize("handle", [(200, 40, 50), (20, 40, 120), (25, 25, 25), (240, 200, 30)])
def test_a_coloured_handle_is_no_pad(handle):
    strip = Strip(along=2.0, turn_deg=1.0)
    drawing = lay_strip(bare().copy(), strip)
    move = strip_to_card(CARD, strip)
    ends = np.array([[67.0, -2.5], [82.0, -2.5], [82.0, 2.5], [67.0, 2.5]])
    at_px = np.round((ends @ move[:, :2].T + move[:, 2]) * FINE).astype(np.int32)
    cv2.fillConvexPoly(drawing, at_px, handle)
    box = find_strip(flat_of(drawing=drawing), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM
    assert box.reasons == ()


def test_a_lamp_mirrored_broadly_over_a_pad_is_told():
    strip = Strip(along=1.5)
    drawing = lay_strip(bare().copy(), strip)
    u, v = (strip_to_card(CARD, strip) @ [24.0, 0.0, 1.0]) * FINE
    y, x = np.mgrid[: drawing.shape[0], : drawing.shape[1]]
    spot = 60.0 * np.exp(-0.5 * ((x - u) ** 2 + (y - v) ** 2) / (4.0 * FINE) ** 2)
    drawing = np.clip(drawing * 0.8 + spot[..., None], 0, 255).astype(np.uint8)
    box = find_strip(flat_of(drawing=drawing), CARD, PLACES)
    assert box.pad_reasons[2] == ("glare",)
    assert not any(box.pad_reasons[p] for p in (0, 4, 5))


def test_a_pad_of_a_strip_across_the_slot_is_no_finger():
    drawing = lay_strip(bare().copy(), Strip(along=1.5))
    x, y, w, _ = CARD.slot.rect_mm
    fill(drawing, (x + w / 2, y - 3.5, 5.0, 3.5), (90, 150, 225))
    assert "two_strips" in find_strip(flat_of(drawing=drawing), CARD, PLACES).reasons
    drawing = lay_strip(bare().copy(), Strip(along=1.5))
    fill(drawing, (x + w / 2, y - 3.5, 5.0, 3.5), (225, 160, 120))
    assert "something_over_strip" in find_strip(flat_of(drawing=drawing), CARD, PLACES).reasons
