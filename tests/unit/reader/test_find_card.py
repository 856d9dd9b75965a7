"""The card is placed from its markers, any two of them, and false finds are refused."""

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from reader.card import standard_card
from reader.find_card import find_card, why_no_card
from reader.photo import open_photo
from tests.unit.reader.scenes import FINE, bowed, draw_card, jpeg, png, pose, take

SIZE = (1600, 1200)
CARD = standard_card()
GRID = np.array([[x, y] for x in np.linspace(5, 135, 9) for y in np.linspace(5, 85, 7)])
PLACE_LIMIT_MM = 0.15


@cache
def bare():
    drawing = draw_card()
    drawing.flags.writeable = False
    return drawing


def look(picture):
    return find_card(open_photo(png(picture)), CARD)


def worst_mm(seen, matrix, size=SIZE, bow=0.0):
    return np.linalg.norm(seen.plane.to_card(bowed(matrix, GRID, size, bow)) - GRID, axis=1).max()


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"tilt_deg": 32, "around_deg": 200},
        {"tilt_deg": 50, "around_deg": 80, "share": 0.5},
        {"turn_deg": 183, "share": 0.9},
        {"share": 0.35},
    ],
)
def test_card_is_placed_within_the_limit(how):
    matrix = pose(SIZE, CARD, **how)
    seen = look(take(bare(), matrix, SIZE))
    assert seen.markers == (7, 11, 18, 20, 24, 30)
    assert worst_mm(seen, matrix) < PLACE_LIMIT_MM
    assert seen.reasons == ()
    assert seen.tilt_deg == pytest.approx(how.get("tilt_deg", 10), abs=3)


@pytest.mark.parametrize("bow", [-0.06, 0.04])
def test_bow_of_the_lens_is_found(bow):
    matrix = pose(SIZE, CARD, share=0.85)
    seen = look(take(bare(), matrix, SIZE, bow=bow))
    assert worst_mm(seen, matrix, bow=bow) < PLACE_LIMIT_MM
    assert seen.plane.bow == pytest.approx(bow, abs=0.015)


def test_places_are_true_when_the_file_is_decoded_small():
    size = (4000, 3000)
    matrix = pose(size, CARD)
    photo = open_photo(jpeg(take(bare(), matrix, size)))
    seen = find_card(photo, CARD)
    assert photo.base == 2
    assert worst_mm(seen, matrix, size) < 0.08


@pytest.mark.parametrize("kept", [(7, 11), (11, 24), (18, 30), (20, 24)])
def test_any_two_markers_place_the_card(kept):
    drawing = bare().copy()
    for marker in CARD.markers:
        if marker.id not in kept:
            (x, y), _, (right, low), _ = (np.round(np.array(marker.corners_mm) * FINE)).astype(int)
            drawing[y:low, x:right] = 200
    matrix = pose(SIZE, CARD)
    seen = look(take(drawing, matrix, SIZE))
    assert seen.markers == kept
    near = np.array([m.corners_mm for m in CARD.markers if m.id in kept]).reshape(-1, 2)
    at_px = bowed(matrix, near, SIZE, 0.0)
    assert np.abs(seen.plane.to_card(at_px) - near).max() < PLACE_LIMIT_MM
    assert "card_covered" in seen.reasons


def test_blur_is_measured():
    matrix = pose(SIZE, CARD)
    per_mm = 0.7 * SIZE[0] / 140
    for blur_mm in (0.2, 0.45):
        seen = look(take(bare(), matrix, SIZE, blur=blur_mm * per_mm))
        assert seen.blur_mm == pytest.approx(blur_mm, rel=0.15)
        assert ("blurred" in seen.reasons) == (blur_mm > 0.35)


@pytest.mark.parametrize("gain", [0.15, 2.5])
def test_card_is_found_in_dark_and_bright_photos(gain):
    assert look(take(bare(), pose(SIZE, CARD), SIZE, gain=gain)) is not None


def test_a_card_half_outside_is_said_to_be_cut_off():
    seen = look(take(bare(), pose(SIZE, CARD, share=0.9, shift=(50, 0)), SIZE))
    assert "card_cut_off" in seen.reasons


def test_a_small_card_is_said_to_be_small():
    seen = look(take(bare(), pose(SIZE, CARD, share=0.25), SIZE))
    assert "card_small" in seen.reasons


def test_two_cards_are_told():
    picture = take(bare(), pose(SIZE, CARD, share=0.42, shift=(-45, 0)), SIZE)
    other = take(bare(), pose(SIZE, CARD, share=0.42, shift=(130, 0)), SIZE)
    picture[:, 800:] = other[:, 800:]
    assert "two_cards" in look(picture).reasons


def test_a_mirrored_card_is_refused():
    assert look(take(bare(), pose(SIZE, CARD), SIZE)[:, ::-1]) is None


def test_markers_that_lie_otherwise_are_no_card():
    """The right codes in the wrong places: some other print."""
    drawing = np.full((1800, 2800, 3), 243, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for number, (x, y) in zip((7, 11, 18, 20), ((9, 9), (60, 50), (20, 40), (90, 20)), strict=True):
        code = cv2.aruco.generateImageMarker(dictionary, number, 216)[..., None]
        drawing[int(y * FINE) :, int(x * FINE) :][:216, :216] = code
    assert look(take(drawing, pose(SIZE, CARD), SIZE)) is None


def test_no_card_and_the_likely_cause():
    empty = take(np.full((1800, 2800, 3), 180, np.uint8), pose(SIZE, CARD), SIZE)
    assert look(empty) is None
    assert why_no_card(open_photo(png(empty)), CARD)[0] == "no_card"
    soft = take(bare(), pose(SIZE, CARD), SIZE, blur=16)
    assert look(soft) is None
    assert why_no_card(open_photo(png(soft)), CARD) == ("no_card", "nothing_sharp")
    corner = take(bare(), pose(SIZE, CARD, share=0.9, shift=(118, 40)), SIZE)
    assert why_no_card(open_photo(png(corner)), CARD) == ("no_card", "card_cut_off")
    dark = take(bare(), pose(SIZE, CARD), SIZE, gain=0.04)
    assert why_no_card(open_photo(png(dark)), CARD) == ("no_card", "underexposed")
    burnt = take(bare(), pose(SIZE, CARD), SIZE, gain=6.0)
    assert why_no_card(open_photo(png(burnt)), CARD) == ("no_card", "overexposed")


@pytest.mark.parametrize("size", [(1, 1), (30, 20), (400, 3)])
def test_tiny_pictures_hold_no_card(size):
    photo = open_photo(png(np.full((size[1], size[0], 3), 99, np.uint8)))
    assert find_card(photo, CARD) is None
    assert why_no_card(photo, CARD)[0] == "no_card"


def test_a_card_seen_from_afar_is_placed_by_all_its_markers():
    """The quick look sees two of them at one end; a plane through these misses the other end."""
    seen = find_card(open_photo(Path("sample_images/08-hall-tubes.jpg").read_bytes()), CARD)
    assert len(seen.markers) == len(CARD.markers)
    assert "card_covered" not in seen.reasons
