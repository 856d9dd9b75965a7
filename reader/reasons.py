"""Reason codes of the photo: what was seen that a person should know, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Weight = Literal["note", "doubt", "spoils"]


@dataclass(frozen=True)
class Reason:
    """One thing seen in a photo."""

    code: str
    weight: Weight
    """note: read, with a remark; doubt: a person looks again; spoils: cannot be read."""
    sentence: str
    """What is wrong, in words for the technician."""
    cure: str
    """What to do."""


def _by_code(*reasons: Reason) -> Mapping[str, Reason]:
    """Return the reasons by their code; a code must not stand twice."""
    named = {reason.code: reason for reason in reasons}
    if len(named) != len(reasons):
        raise ValueError("a reason code stands twice in reader/reasons.py; rename one")
    return named


_GEOMETRY = (
    Reason(
        "no_colour",
        "spoils",
        "The photo is black and white.",
        "Take the photo in colour, without a filter.",
    ),
    Reason(
        "no_card",
        "spoils",
        "No reference card was found in the photo.",
        "Lay the strip in the card's slot and take the photo from above with the whole card in it.",
    ),
    Reason(
        "two_cards",
        "spoils",
        "More than one reference card is in the photo.",
        "Take the photo again with one card only.",
    ),
    Reason(
        "card_cut_off",
        "doubt",
        "Part of the card lies outside the photo.",
        "Take the photo again with the whole card and a little of the table around it.",
    ),
    Reason(
        "card_covered",
        "note",
        "A marker of the card was not seen; something may lie on it or shine there.",
        "Keep fingers, drops and glare off the card.",
    ),
    Reason(
        "card_small",
        "spoils",
        "The card is so small in the photo that the pads have too few pixels.",
        "Go closer, until the card fills at least half of the photo's width.",
    ),
    Reason(
        "card_tilted",
        "doubt",
        "The photo was taken from very far aside.",
        "Hold the phone level above the card.",
    ),
    Reason(
        "card_bent",
        "doubt",
        "The card is bent or its print is distorted.",
        "Press the card flat on a firm ground, or print a new one.",
    ),
    Reason(
        "blurred",
        "doubt",
        "The photo is not sharp.",
        "Tap on the card to focus, hold still, and take the photo again.",
    ),
    Reason(
        "too_blurred",
        "spoils",
        "The photo is so blurred that the pads run into what lies beside them.",
        "Tap on the card to focus, hold still, and take the photo again.",
    ),
    Reason(
        "screen_photo",
        "doubt",
        "This looks like a photo of a screen, not of a card and a strip.",
        "Photograph the strip and the card themselves.",
    ),
    Reason(
        "no_strip",
        "spoils",
        "No strip was found in the card's slot.",
        "Lay the strip in the slot with the dipped end at the arrow.",
    ),
    Reason(
        "strip_reversed",
        "spoils",
        "The strip lies the wrong way round: its pads fit the slot only end for end.",
        "Turn the strip so that the dipped end lies at the arrow.",
    ),
    Reason(
        "other_strip",
        "spoils",
        "The pads are not where the table's strip has them.",
        "Choose the table of the strip in the photo, or dip the strip the table is for.",
    ),
    Reason(
        "two_strips",
        "spoils",
        "More than one strip lies in the slot.",
        "Lay one strip in the slot and take the photo again.",
    ),
    Reason(
        "strip_cut_off",
        "spoils",
        "Part of the strip lies outside the photo.",
        "Take the photo again with the whole card in it.",
    ),
    Reason(
        "strip_place_unsure",
        "doubt",
        "The strip's place in the slot could not be told with certainty.",
        "Lay the strip flat in the middle of the slot, dipped end at the arrow.",
    ),
    Reason(
        "something_over_strip",
        "doubt",
        "Something lies over the strip, such as a finger or a drop.",
        "Keep everything off the strip and take the photo again.",
    ),
    Reason(
        "pad_covered",
        "spoils",
        "Something lies over this pad.",
        "Keep everything off the strip and take the photo again.",
    ),
)

_COLOUR: tuple[Reason, ...] = ()

REASONS: Mapping[str, Reason] = _by_code(*_GEOMETRY, *_COLOUR)
"""Every reason the reader can give, by code."""
