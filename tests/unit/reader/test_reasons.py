"""Reasons are told as a person would: the cause of the whole photo's trouble first."""

from reader.reasons import REASONS, as_people_say


def test_a_dark_photo_is_called_dark_before_what_follows_from_it():
    said = as_people_say(["light_poor", "card_colours_wrong", "card_covered", "underexposed"])
    assert said == ("underexposed", "card_colours_wrong", "light_poor", "card_covered")


def test_a_blurred_photo_is_called_blurred_before_no_card_is_found():
    assert as_people_say(["no_card", "nothing_sharp"]) == ("nothing_sharp", "no_card")


def test_nothing_is_lost_or_said_twice():
    codes = [*REASONS, "glare", "no_card"]
    said = as_people_say(codes)
    assert len(said) == len(set(said))
    assert set(said) == set(codes)
