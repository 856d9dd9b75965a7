"""Reason codes of the joint, and one view of all codes: photo, chart and joint."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

Weight = Literal["note", "doubt", "spoils"]
Verdict = Literal["accepted", "recheck", "unreadable"]

VERDICT: Mapping[str, Verdict] = {"note": "accepted", "doubt": "recheck", "spoils": "unreadable"}
"""What a reading is worth when this is its worst reason."""


class AnyReason(Protocol):
    """What reader, calibration and this package agree on about a reason."""

    @property
    def code(self) -> str: ...  # noqa: D102
    @property
    def weight(self) -> Weight: ...  # noqa: D102
    @property
    def sentence(self) -> str: ...  # noqa: D102
    @property
    def cure(self) -> str: ...  # noqa: D102


@dataclass(frozen=True)
class Reason:
    """Something a person should know about a reading."""

    code: str
    weight: Weight
    sentence: str
    cure: str


_OWN = (
    Reason(
        "not_an_image",
        "spoils",
        "The file is no image that can be read.",
        "Send the photo as the phone saved it: JPEG, PNG or HEIC.",
    ),
    Reason(
        "no_such_file",
        "spoils",
        "The photo's file cannot be opened.",
        "Check the path and who may read the file.",
    ),
    Reason(
        "reading_stopped",
        "spoils",
        "Reading this photo took too long or broke off.",
        "Take the photo again, or send it as a plain JPEG.",
    ),
    Reason(
        "off_time",
        "note",
        "The pad was photographed somewhat before or after its read time; the band is wider.",
        "Photograph the strip at the time the chart gives.",
    ),
    Reason(
        "read_early",
        "doubt",
        "The pad was photographed before its colour had formed.",
        "Dip a new strip and wait for the pad's read time.",
    ),
    Reason(
        "read_late",
        "doubt",
        "The pad was photographed long after its read time; its colour has moved on.",
        "Dip a new strip and photograph it at the pad's read time.",
    ),
    Reason(
        "far_off_time",
        "spoils",
        "The pad was photographed so far from its read time that its colour says nothing.",
        "Dip a new strip and photograph it at the pad's read time.",
    ),
    Reason(
        "photo_time_unknown",
        "note",
        "The photo bears no time of its own, so its read time could not be checked.",
        "Send the photo as the phone saved it, or give the seconds from dip to photo.",
    ),
    Reason(
        "photo_zone_unknown",
        "doubt",
        "The photo's own time bears no time zone and does not follow the dip within 15 minutes.",
        "Give the seconds from dip to photo, or the dip's time with the offset of the phone.",
    ),
    Reason(
        "photo_before_dip",
        "doubt",
        "By its own time the photo was taken before the dip.",
        "See that this is the photo of this strip, and that phone and dip go by the same clock.",
    ),
    Reason(
        "high_chlorine",
        "doubt",
        "Chlorine above 10 mg/L spoils the colours of the pH and alkalinity pads.",
        "Let the chlorine fall below 10 mg/L, or use a drop test with its chlorine remover.",
    ),
    Reason(
        "maybe_bleached",
        "doubt",
        "One chlorine pad shows nearly nothing while the other is at its end: it may be bleached.",
        "Dilute the sample one to one with chlorine-free water, dip again and double the value.",
    ),
    Reason(
        "total_below_free",
        "doubt",
        "Total chlorine reads below free chlorine, which cannot be.",
        "Dip a new strip; if it stays so, check both with a drop test.",
    ),
    Reason(
        "colours_off_chart",
        "doubt",
        "Several pads show colours that the table's chart does not have.",
        "See that strip, lot and table belong together, and that the strip lies pads up with its "
        "dipped end at the arrow; then print a new card if this one has faded.",
    ),
    Reason(
        "photos_disagree",
        "doubt",
        "The photos of this strip do not agree on the pad's colour.",
        "Photograph one strip again, all photos within a few seconds and in even light.",
    ),
    Reason(
        "photo_left_out",
        "note",
        "Not every photo took part: one was spoiled, or taken too early or too late.",
        "Take all photos of the strip within a few seconds, in even light.",
    ),
    Reason(
        "different_strips",
        "doubt",
        "The photos show different strips: pads differ far more than photos of one strip do.",
        "Give photos of one strip only, taken within a few seconds of each other.",
    ),
)

OWN_REASONS: Mapping[str, Reason] = {reason.code: reason for reason in _OWN}
"""The codes made where reader and calibration meet."""

_RANK: Mapping[Weight, int] = {"note": 0, "doubt": 1, "spoils": 2}


def all_reasons() -> Mapping[str, AnyReason]:
    """Return every code that a reading can carry, from all three registries."""
    from calibration.reasons import REASONS as CHART
    from reader.reasons import REASONS as PHOTO

    return {**PHOTO, **CHART, **OWN_REASONS}


def worst(codes: Iterable[str], known: Mapping[str, AnyReason]) -> Weight:
    """Return the heaviest weight among the codes; `note` when there are none."""
    weights: list[Weight] = [known[code].weight for code in codes]
    return max(weights, key=lambda weight: _RANK[weight], default="note")
