"""Reason codes of the photo: what was seen that a person should know, and what to do about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
        "nothing_sharp",
        "note",
        "Nothing in the photo is sharp; a card may be in it and not be seen.",
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
        "strip_place_lost",
        "spoils",
        "Something lies in the card's slot, but it could not be made out as a strip.",
        "Lay one strip in the slot, away from its long edges, with nothing over it.",
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

_COLOUR: tuple[Reason, ...] = (
    Reason(
        "light_unknown",
        "spoils",
        "The white of the card cannot be seen well enough to tell how the light falls.",
        "Take the photo again with the card clean, not too bright, and nothing lying on it.",
    ),
    Reason(
        "uneven_light",
        "note",
        "The light is much stronger on one side of the card.",
        "Turn the card towards the light or stand so that you do not shade it.",
    ),
    Reason(
        "hard_shadow",
        "note",
        "The edge of a shadow lies across the card.",
        "Step aside, or shade the whole card.",
    ),
    Reason(
        "light_warm",
        "note",
        "The lamp is warm: under it pads and printed colours look different to a phone.",
        "Take the strip to a window's shade or under a neutral white lamp.",
    ),
    Reason(
        "light_poor",
        "doubt",
        "The lamp is coloured or lacks some colours, so colours cannot be told well.",
        "Take the photo again in daylight shade.",
    ),
    Reason(
        "overexposed",
        "doubt",
        "The photo is too bright: part of the card's white is cut off.",
        "Tap on the card's white before taking the photo, and keep lamps from shining on it.",
    ),
    Reason(
        "underexposed",
        "doubt",
        "The photo is too dark.",
        "Take the photo again in better light.",
    ),
    Reason(
        "card_nominal",
        "note",
        "The card was not measured, so its printed colours are only known roughly.",
        "Measure the printed card once, and name the file with --card; the bands become narrower.",
    ),
    Reason(
        "card_colours_off",
        "doubt",
        "The card's patches do not fit each other as well as they should.",
        "Take the photo again in daylight shade; if that does not help, measure a new print.",
    ),
    Reason(
        "card_colours_wrong",
        "spoils",
        "The card's patches do not have their colours; this may be a copy, or another print.",
        "Use a card printed from the original file, with its own measured colours.",
    ),
    Reason(
        "patches_spoiled",
        "note",
        "Some patches of the card were left out: something lies on them or shines there.",
        "Keep fingers, drops and glare off the card.",
    ),
    Reason(
        "few_patches",
        "spoils",
        "Too few patches of the card can be used.",
        "Take the photo again with the card clean, whole, and evenly lit.",
    ),
    Reason(
        "glare",
        "doubt",
        "Something shines on this pad.",
        "Let the strip drip off, and tilt card and phone until nothing is mirrored.",
    ),
    Reason(
        "clipped",
        "spoils",
        "This pad is too bright for the camera.",
        "Tap on the card's white before taking the photo, and keep lamps from shining on it.",
    ),
    Reason(
        "shadow_on_pad",
        "doubt",
        "The edge of a shadow lies at this pad.",
        "Step aside, or shade the whole card.",
    ),
    Reason(
        "uneven_pad",
        "doubt",
        "This pad has no one colour.",
        "Dip a new strip, let it drip off, and read it in time.",
    ),
    Reason(
        "too_small",
        "spoils",
        "This pad has too few pixels.",
        "Go closer, until the card fills at least half of the photo's width.",
    ),
    Reason(
        "dirty",
        "doubt",
        "There is something dark on this pad.",
        "Dip a new strip with clean fingers.",
    ),
)

REASONS: Mapping[str, Reason] = _by_code(*_GEOMETRY, *_COLOUR)
"""Every reason the reader can give, by code."""

FIRST = (
    "no_colour", "screen_photo", "underexposed", "overexposed", "nothing_sharp", "too_blurred",
    "blurred", "no_card", "two_cards", "card_cut_off",
)  # fmt: skip
"""What a person would say of a photo first: the others are often no more than what follows."""
WEIGHTS = ("spoils", "doubt", "note")


def as_people_say(codes: Sequence[str]) -> tuple[str, ...]:
    """Return a photo's codes, each once: causes first, then the weightier before the lighter."""

    def place(code: str) -> tuple[int, int]:
        first = FIRST.index(code) if code in FIRST else len(FIRST)
        return first, WEIGHTS.index(REASONS[code].weight)

    return tuple(sorted(dict.fromkeys(codes), key=place))
