"""A new card measured by photos beside a measured one, or beside a published chart."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from reader.card import standard_card
from reader.card_beside import in_order, pooled_paper, see_beside
from reader.chart24 import EDITIONS, published, see_chart
from reader.find_card import find_card, find_two
from reader.lab import delta_e00
from reader.photo import open_photo
from tests.bench.new_cards import card_of
from tests.bench.two_cards import Beside, chart_labs, measured_labs, photo, true_labs
from tests.render.inks import Print
from tests.unit.reader import scenes

CARD = standard_card()
NEW, OLD = Print(41, "plain"), Print(42, "plain")


@pytest.fixture(scope="module")
def pair():
    return photo(Beside(NEW, OLD, 7, "daylight", pixels=3e6), 3)


@pytest.fixture(scope="module")
def with_chart():
    return photo(Beside(NEW, None, 7, "daylight", pixels=3e6), 4)


def known():
    return card_of(measured_labs(OLD, CARD))


def off(labs):
    return delta_e00(labs, true_labs(Beside(NEW, None, 7, ""), CARD))


def turned(data):
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    return cv2.imencode(".jpg", cv2.rotate(picture, cv2.ROTATE_180))[1].tobytes()


def test_the_new_card_has_its_true_colours_whichever_way_the_photo_is_held(pair):
    for data in (pair, turned(pair)):
        seen = see_beside(data, known(), CARD)

        assert not isinstance(seen, str)
        assert seen.good.all()
        assert np.median(off(seen.labs(seen.paper_log))) < 1.5


def test_papers_that_differ_are_told_apart_from_the_light(pair):
    seen = see_beside(pair, known(), CARD)
    asked = np.log(NEW.white()[30:40].mean() / OLD.white()[30:40].mean())

    assert seen.paper_log[1] == pytest.approx(asked, abs=0.03)
    assert 0.0 < seen.paper_sd < 0.1
    assert np.abs(pooled_paper([seen, seen])).max() < np.abs(seen.paper_log).max()


def test_a_photo_of_one_card_is_told(with_chart):
    assert "does not show two cards" in see_beside(with_chart, known(), CARD)


def test_the_cards_are_told_apart_by_where_they_lie(pair):
    both = find_two(open_photo(pair), CARD)
    one, other = in_order(*both)

    assert in_order(other, one) == (one, other)
    half_turn = np.diag([-1.0, -1.0, 1.0])
    size = np.array(CARD.size_mm)
    half_turn[:2, 2] = size
    upside_down = replace(other, plane=replace(other.plane, matrix=other.plane.matrix @ half_turn))
    assert in_order(one, upside_down) is None


def test_one_card_alone_is_no_pair():
    drawn = scenes.draw_card()
    size = (1600, 1200)
    picture = scenes.take(drawn, scenes.pose(size, CARD), size)
    data = scenes.jpeg(picture)

    assert find_card(open_photo(data), CARD) is not None
    assert find_two(open_photo(data), CARD) is None


def test_beside_a_chart_the_card_comes_within_what_chart_and_light_allow(with_chart):
    seen = see_chart(with_chart, CARD)

    assert not isinstance(seen, str)
    assert seen.delta_e00_median < 2.0
    assert np.median(off(seen.labs(np.zeros(3)))) < 3.0


def test_a_photo_without_a_chart_is_told(pair):
    assert "shows no 24-patch chart" in see_chart(pair, CARD)


def test_the_published_chart_is_that_of_the_library():
    """Dark skin and white of the edition since November 2014, CIELAB D50.

    Source: colour-science 0.4.7, data set cca2014 (the maker's published xyY).
    """
    labs = published(EDITIONS[1])

    assert labs.shape == (24, 3)
    assert labs[0] == pytest.approx([37.54, 14.37, 14.92], abs=0.1)
    assert labs[18] == pytest.approx([95.19, -1.03, 2.93], abs=0.1)
    assert np.median(delta_e00(published(EDITIONS[0]), chart_labs())) < 1.0
