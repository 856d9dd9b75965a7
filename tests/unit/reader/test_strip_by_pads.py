"""On bare paper the strip is placed by its pads' colours, or not at all."""

import pytest

from reader.find_strip import PadPlace, find_strip, why_no_strip
from tests.unit.reader.scenes import Strip
from tests.unit.reader.test_find_strip import CARD, PLACES, bare, flat_of, worst_mm

PAPER = (243, 243, 243)
FAINT = (243, 240, 228)
VIVID = ((190, 140, 170), (120, 160, 120), (224, 150, 90), (130, 80, 140), (90, 150, 190),
         (230, 180, 130))  # fmt: skip
UNEVEN = (4.0, 12.0, 22.0, 30.0, 43.0, 54.0)
UNEVEN_PLACES = tuple(PadPlace(n, c, 5.0) for n, c in enumerate(UNEVEN, 1))
PLACE_LIMIT_MM = 0.35


def on_paper(*strips, **how):
    return flat_of(*strips, drawing=bare(PAPER), **how)


@pytest.mark.parametrize(
    "lying",
    [
        {"along": -5.0},
        {"along": -2.0, "across": 0.8, "turn_deg": 1.0},
        {"along": -8.0, "turn_deg": 3.0},
        {"along": -4.0, "turn_deg": -3.0, "across": -0.5},
        {"along": -4.0, "width": 4.0},
        {"along": -4.0, "white": PAPER},
    ],
)
def test_pads_are_placed_however_the_strip_lies_on_paper(lying):
    strip = Strip(**({"colours": VIVID} | lying))
    box = find_strip(on_paper(strip), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM
    assert box.reasons == ()
    assert not any(box.pad_reasons)


@pytest.mark.parametrize("turn_deg", [90, 180, 270])
def test_the_photo_of_a_white_slot_may_be_turned(turn_deg):
    strip = Strip(colours=VIVID, along=-4.0)
    box = find_strip(on_paper(strip, turn_deg=turn_deg, share=0.6), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM


def test_a_white_pad_between_coloured_ones_is_placed_with_them():
    strip = Strip(colours=(*VIVID[:2], PAPER, *VIVID[3:]), along=-4.0)
    box = find_strip(on_paper(strip), CARD, PLACES)
    assert worst_mm(box, strip) < PLACE_LIMIT_MM
    assert box.reasons == ()


def test_an_empty_white_slot_holds_no_strip():
    flat = on_paper()
    assert find_strip(flat, CARD, PLACES) is None
    assert why_no_strip(flat, CARD) == ("no_strip",)


def test_three_coloured_pads_do_not_place_a_strip():
    strip = Strip(colours=(*VIVID[:3], PAPER, PAPER, PAPER), along=-4.0)
    flat = on_paper(strip)
    assert find_strip(flat, CARD, PLACES) is None
    assert why_no_strip(flat, CARD)


def close_set(last):
    """Close pads with a last one of this colour, and their places."""
    centres = (4.0, 10.0, 16.0, 22.0, 28.0, 34.0)
    strip = Strip(centres=centres, colours=(*VIVID[:5], last), white=PAPER, along=-3.0)
    places = tuple(PadPlace(n, c, 5.0) for n, c in enumerate(centres, 1))
    return find_strip(on_paper(strip), CARD, places)


def test_pads_that_fit_two_places_equally_do_not_place_a_strip():
    assert close_set(PAPER) is None


def test_a_faint_last_pad_tells_which_of_two_places_is_right():
    assert close_set(FAINT).reasons == ()


def test_a_strip_the_wrong_way_round_on_paper_is_told():
    strip = Strip(colours=VIVID, centres=UNEVEN, reversed=True)
    box = find_strip(on_paper(strip), CARD, UNEVEN_PLACES)
    assert box.reasons == ("strip_reversed",)


def test_another_strip_on_paper_is_not_taken_for_the_tables():
    strip = Strip(colours=VIVID, centres=UNEVEN, along=-4.0)
    box = find_strip(on_paper(strip), CARD, PLACES)
    assert box is None or box.reasons


def test_a_second_strip_beside_the_first_on_paper_is_told():
    first, second = Strip(colours=VIVID, along=-4.0), Strip(colours=VIVID, across=6.5)
    box = find_strip(on_paper(first, second), CARD, PLACES)
    assert box is None or "two_strips" in box.reasons
