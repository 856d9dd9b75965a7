"""A display's pattern in the card's white is seen, paper's grain is not."""

from dataclasses import replace

import numpy as np
import pytest

from reader.card import standard_card
from reader.screen import looks_like_screen
from tests.unit.reader.test_light import HEIGHT, WIDTH, X_MM, Y_MM, card_under

CARD = standard_card()


def with_pattern(pitch_mm, depth, turn_deg=7.0):
    angle = np.radians(turn_deg)
    along = X_MM * np.cos(angle) + Y_MM * np.sin(angle)
    return card_under(1.0 - depth * (np.cos(2 * np.pi * along / pitch_mm) > 0.7))


@pytest.mark.parametrize("pitch_mm", [0.5, 0.8, 1.3])
def test_a_pattern_is_seen(pitch_mm):
    assert looks_like_screen(with_pattern(pitch_mm, 0.08), CARD)


def test_paper_has_none():
    assert not looks_like_screen(card_under(np.ones((HEIGHT, WIDTH))), CARD)


def test_a_sloping_light_has_none():
    assert not looks_like_screen(card_under(np.exp((X_MM - 140) / 200)), CARD)


def test_too_little_white_tells_nothing():
    flat = with_pattern(0.8, 0.08)

    assert not looks_like_screen(replace(flat, inside=np.zeros((HEIGHT, WIDTH), bool)), CARD)
