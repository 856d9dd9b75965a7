"""A new card's patches measured by a photo: beside a card already measured, or a published chart.

The colour fit comes from what is known in the photo; the new card's own white tells how the light
falls on it. Two papers need not be equally white: how they differ is told where the two cards are
nearest, under light that changes smoothly from one to the other, and is best pooled over photos
(`pooled_paper`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reader.card import Card
from reader.card_check import check_card
from reader.colour_fit import ColourFit, fit_colour, patch_codes
from reader.find_card import CardSeen, find_card, find_two
from reader.flatten import Flat, flatten
from reader.light import NOISE_SD, Light, kinship, light_field
from reader.photo import Photo, open_photo
from reader.plane import Plane
from reader.tone import srgb_decode, srgb_encode

Array = NDArray[np.float64]

PAPER_SD = 0.04
"""Spread of the logarithm of two papers' whites, channel by channel: common practice, no source."""

SMOOTH_SD = 0.012
"""What light may step by between two cards although it should not: an edge's shadow, a veil."""

TURNED = 0.5
"""Cosine of the angle between two cards' long sides below which they do not lie the same way."""


@dataclass(frozen=True, eq=False)
class NewCardSeen:
    """The patches of a new card in one photo, not yet told in CIELAB."""

    card: Card
    fit: ColourFit
    """By what is known in the photo, with the new card's own light."""
    code: Array
    """(k, 3): the patches' codes."""
    good: NDArray[np.bool_]
    """(k,): whole patches."""
    at_mm: Array
    """(k, 2): the patches' middles on the new card."""
    paper_log: Array
    """(3,): log of the new paper's white over that of the known, in the camera's channels."""
    paper_sd: float
    delta_e00_median: float
    """Leave-one-out error of what is known in the photo."""
    reasons: tuple[str, ...]

    def labs(self, paper_log: Array) -> Array:
        """Return the patches' CIELAB (k, 3), the papers' whites differing by `paper_log` (3,)."""
        light = self.fit.light
        known_white = srgb_decode(light.white_code) * np.exp(-paper_log)
        lit = replace(light, white_code=srgb_encode(known_white))
        return replace(self.fit, light=lit).read(self.code, self.at_mm)[0]


def see_beside(data: bytes, known: Card, new: Card) -> NewCardSeen | str:
    """Return the new card as seen beside a measured one, or the sentence that says why not.

    Both cards lie the same way up; the new one lies to the right of the measured one, or below it.

    Parameters
    ----------
    data
        The photo file's bytes.
    known
        The card with its measured colours.
    new
        The new card's layout.

    Raises
    ------
    PhotoError
        If the bytes are no image that can be read.
    """
    photo = open_photo(data)
    pair = _both(photo, known, new)
    if pair is None:
        return "does not show two cards; take it again with both whole, side by side"
    placed = in_order(*pair)
    if placed is None:
        return (
            "shows cards that do not lie the same way up, side by side; lay the new card to the "
            "right of the measured one or below it"
        )
    flat = flatten(photo, placed[0])
    light = light_field(flat, known)
    fit = fit_colour(flat, light, known)
    check = check_card(fit, light, known)
    flat_new = flatten(photo, placed[1])
    light_new = light_field(flat_new, new)
    paper, sd = paper_between(light, light_new, placed[0].plane, placed[1].plane)
    reasons = (*photo.reasons, *(r for seen in placed for r in seen.reasons))
    reasons = (*reasons, *light.reasons, *light_new.reasons, *check.reasons)
    return seen_by(
        new, replace(fit, light=light_new), flat_new, paper, sd, check.delta_e00_median, reasons
    )


def seen_by(
    new: Card,
    fit: ColourFit,
    flat: Flat,
    paper: Array,
    sd: float,
    error: float,
    reasons: Sequence[str],
) -> NewCardSeen:
    """Return the new card's patches with the fit that tells their colours."""
    rects = np.array([patch.rect_mm for patch in new.patches])
    code, good = patch_codes(flat, rects)
    middle = rects[:, :2] + rects[:, 2:] / 2
    return NewCardSeen(
        new, fit, code, good, middle, paper, sd, error, tuple(dict.fromkeys(reasons))
    )


def _both(photo: Photo, known: Card, new: Card) -> tuple[CardSeen, CardSeen] | None:
    if [m.id for m in known.markers] == [m.id for m in new.markers]:
        return find_two(photo, known)
    first, second = find_card(photo, known), find_card(photo, new)
    return None if first is None or second is None else (first, second)


def in_order(first: CardSeen, second: CardSeen) -> tuple[CardSeen, CardSeen] | None:
    """Return the left or upper card before the other; None unless they lie the same way up."""
    way = [_way(seen.plane, seen.size_mm) for seen in (first, second)]
    if way[0] @ way[1] < TURNED:
        return None
    middle = second.plane.to_photo(np.array([second.size_mm]) / 2)
    off = first.plane.to_card(middle)[0] - np.array(first.size_mm) / 2
    share = off / np.array(first.size_mm)
    if np.abs(share).max() < TURNED:
        return None
    return (first, second) if share[np.abs(share).argmax()] > 0 else (second, first)


def _way(plane: Plane, size_mm: tuple[float, float]) -> Array:
    """Return the direction (2,) in the photo of a card's upper side."""
    ends = plane.to_photo(np.array([[0.0, 0.0], [size_mm[0], 0.0]]))
    return np.asarray((ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0]))


def paper_between(
    known: Light, new: Light, known_plane: Plane, new_plane: Plane
) -> tuple[Array, float]:
    """Return the log (3,) of the new paper's white over the known one's, and how sure that is.

    The light is one smooth surface over both cards (as `reader.light` has it over one); what
    steps between them is the paper.
    """
    at_mm = np.vstack([known.white_mm, known_plane.to_card(new_plane.to_photo(new.white_mm))])
    log = np.log(np.maximum(srgb_decode(np.vstack([known.white_code, new.white_code])), 1e-4))
    cov = kinship(at_mm, at_mm) + NOISE_SD**2 * np.eye(len(at_mm))
    step = np.concatenate([np.zeros(len(known.white_mm)), np.ones(len(new.white_mm))])
    solved = np.linalg.solve(cov, step)
    return np.asarray(solved @ log / (solved @ step)), float((solved @ step) ** -0.5)


def pooled_paper(seen: Sequence[NewCardSeen]) -> Array:
    """Return the papers' log difference (3,) over several photos, drawn towards none."""
    weights = np.array([1.0 / (one.paper_sd**2 + SMOOTH_SD**2) for one in seen])
    total = np.array([one.paper_log for one in seen])
    return np.asarray(weights @ total / (weights.sum() + PAPER_SD**-2.0))
