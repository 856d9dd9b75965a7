"""Several photos of one strip: tighter where they agree, doubted or left out where they do not."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from api.fuse import fuse
from api.measure import judge
from tests.unit.api.test_measure import CURVES, FREE, PH, TABLE_TWO, colour, seen

NINE = datetime.fromisoformat("2026-06-01T09:00:00+02:00")


def two(ph=PH, free=FREE, at_s=None, **whole):
    """Return a photo of both pads, taken so long after nine."""
    photo = seen(colour(1, ph), colour(2, free), **whole)
    return photo if at_s is None else replace(photo, taken_at=NINE + timedelta(seconds=at_s))


def fused(*photos, elapsed_s=15, **more):
    return fuse(photos, TABLE_TWO, elapsed_s, CURVES, **more).reading


def test_photos_that_agree_fuse_to_a_tighter_band():
    alone = judge(two(), TABLE_TWO, 15, CURVES).pads[0]
    together = fused(two(), two((72.3, 20.2, 54.8), (78.1, 17.8, -10.2))).pads[0]

    assert together.status == "accepted"
    assert together.reasons == ()
    assert together.estimate.steps < alone.estimate.steps


def test_a_thousand_photos_know_no_more_than_what_they_share_allows():
    """What all photos repeat does not average out: 0.6 of the variance stays."""
    alone = judge(two(), TABLE_TWO, 15, CURVES).pads[0]
    together = fused(*[two()] * 1000).pads[0]

    assert np.trace(together.cov) == pytest.approx(0.6 * np.trace(alone.cov), rel=0.01)


def test_a_photo_that_knows_less_weighs_less():
    vague = seen(colour(1, (75, 20, 55), cov=np.eye(3) * 30.0), colour(2, FREE))
    pad = fused(two(), vague).pads[0]

    assert pad.lab == pytest.approx(np.array(PH), abs=0.1)


def test_photos_that_disagree_on_a_pad_are_doubted_there():
    reading = fused(two(), two((62, 34, 44)))

    assert "photos_disagree" in reading.pads[0].reasons
    assert reading.pads[0].status == "recheck"
    assert reading.pads[1].status == "accepted"


def test_photos_of_two_strips_are_told_as_such():
    reading = fused(two(), two((62, 34, 44), (60, 30, -20)))

    assert "different_strips" in reading.reasons
    assert reading.status == "recheck"
    assert {pad.status for pad in reading.pads} == {"recheck"}


def test_a_doubtful_photo_of_another_strip_is_heard_though_it_is_left_out():
    reading = fused(two(), two((62, 34, 44), (60, 30, -20), reasons=("card_bent",)))

    assert {"different_strips", "photo_left_out"} <= set(reading.reasons)


def test_one_clean_pad_of_a_photo_that_is_left_out_is_enough_to_doubt_all():
    """Which of the two strips is the right one cannot be told from the better photo."""
    reading = fused(two((62, 34, 44), reasons=("card_bent",)), two())

    assert {"different_strips", "photo_left_out"} <= set(reading.reasons)
    assert {pad.status for pad in reading.pads} == {"recheck"}


def test_a_doubtful_pad_of_a_photo_that_is_left_out_needs_a_second_one():
    spoiled = seen(colour(1, (62, 34, 44), ("glare",)), colour(2, FREE), reasons=("card_bent",))
    both = seen(
        colour(1, (62, 34, 44), ("glare",)),
        colour(2, (60, 30, -20), ("glare",)),
        reasons=("card_bent",),
    )

    assert fused(spoiled, two()).status == "accepted"
    assert "different_strips" in fused(both, two()).reasons


def test_a_photo_without_strip_takes_no_part():
    nothing = seen(strip=False, reasons=("no_strip",))
    reading = fused(nothing, two())

    assert reading.status == "accepted"
    assert "photo_left_out" in reading.reasons
    assert fused(nothing, nothing).status == "unreadable"


def test_glare_in_one_photo_is_no_matter_where_another_is_clean():
    shiny = seen(colour(1, (85, 5, 20), ("glare",)), colour(2, FREE))
    pad = fused(shiny, two()).pads[0]

    assert pad.status == "accepted"
    assert pad.reasons == ("photo_left_out",)
    assert pad.lab == pytest.approx(np.array(PH))


def test_dirt_is_on_the_strip_whichever_photo_shows_it():
    soiled = seen(colour(1, PH, ("dirty",)), colour(2, FREE))
    pad = fused(two(), soiled).pads[0]

    assert "dirty" in pad.reasons
    assert pad.status == "recheck"


def test_a_photo_taken_too_late_is_left_out():
    """Two minutes after the first one the colours have moved on."""
    reading = fused(two(at_s=0), two((74, 24, 60), (74, 24, -6), at_s=120), elapsed_s=None)

    assert reading.status == "accepted"
    assert {pad.reasons for pad in reading.pads} == {("photo_left_out",)}
    assert reading.pads[0].lab == pytest.approx(np.array(PH))


def test_each_photo_has_its_own_time_since_the_dip():
    """Dipped 60 s before nine: the first photo is late for a pad of 15 s, and both are."""
    reading = fused(
        two(at_s=0), two(at_s=4), elapsed_s=None, dipped_at=NINE - timedelta(seconds=60)
    )

    assert reading.elapsed_s == 60
    assert {pad.reasons for pad in reading.pads} == {("read_late",)}


def test_photos_that_bear_no_time_count_as_taken_together():
    assert fused(two(), two(at_s=500)).status == "accepted"
