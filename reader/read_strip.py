"""From the bytes of a photo to the colours of a strip's pads: the whole path."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from reader.budget import budget_of
from reader.card import Card
from reader.card_check import check_card
from reader.colour_fit import ColourFit, fit_colour
from reader.find_card import CardSeen, find_card, why_no_card
from reader.find_strip import PadPlace, StripBox, find_strip, why_no_strip
from reader.flatten import Flat, flatten
from reader.light import Light, light_field
from reader.pads import PadColour, pad_colours
from reader.photo import Photo, open_photo
from reader.reasons import as_people_say
from reader.screen import looks_like_screen


@dataclass(frozen=True, eq=False)
class Traces:
    """What pictures of a reading are drawn from."""

    card: Card
    size_px: tuple[int, int]
    """Width and height of the upright photo."""
    card_seen: CardSeen | None = None
    flat: Flat | None = None
    light: Light | None = None
    fit: ColourFit | None = None
    strip: StripBox | None = None


@dataclass(frozen=True, eq=False)
class StripSeen:
    """What was seen in one photo."""

    card_found: bool
    design: str | None
    delta_e00_median: float | None
    """Leave-one-out error of the card's patches, CIEDE2000."""
    delta_e00_p95: float | None
    strip_found: bool
    pads: tuple[PadColour, ...]
    reasons: tuple[str, ...]
    """Codes of `reader.reasons` that hold for the whole photo."""
    taken_at: datetime | None = None
    traces: Traces | None = None
    """Geometry and colour fit, for pictures; None where photos were fused."""


def read_strip(data: bytes, card: Card, places: Sequence[PadPlace]) -> StripSeen:
    """Return the colours of the strip's pads in a photo.

    Parameters
    ----------
    data
        The photo file's bytes.
    card
        The card in the photo, with measured colours where there are any.
    places
        Where the pads lie on the strip.

    Raises
    ------
    PhotoError
        If the bytes are no image that can be read. All other trouble is in `reasons`.
    """
    photo = open_photo(data)
    seen = find_card(photo, card)
    if seen is None:
        return _nothing(photo, card, why_no_card(photo, card))
    flat = flatten(photo, seen)
    light = light_field(flat, card)
    fit = fit_colour(flat, light, card)
    check = check_card(fit, light, card)
    strip = find_strip(flat, card, places)
    pads = pad_colours(flat, light, fit, strip, budget_of(fit, card)) if strip else ()
    of_strip = strip.reasons if strip else why_no_strip(flat, card)
    of_screen = ("screen_photo",) if looks_like_screen(flat, card) else ()
    said = (photo.reasons, seen.reasons, light.reasons, check.reasons, of_screen, of_strip)
    return StripSeen(
        True, card.design, check.delta_e00_median, check.delta_e00_p95, strip is not None, pads,
        as_people_say(unique(*said)), photo.taken_at,
        Traces(card, photo.size, seen, flat, light, fit, strip),
    )  # fmt: skip


def _nothing(photo: Photo, card: Card, reasons: tuple[str, ...]) -> StripSeen:
    """Return what is said of a photo without a card."""
    return StripSeen(
        False,
        None,
        None,
        None,
        False,
        (),
        as_people_say(unique(photo.reasons, reasons)),
        photo.taken_at,
        Traces(card, photo.size),
    )


def unique(*groups: Sequence[str]) -> tuple[str, ...]:
    """Return the codes of all groups, each once, in their order."""
    return tuple(dict.fromkeys(code for group in groups for code in group))
