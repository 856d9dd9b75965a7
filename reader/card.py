"""The printed reference card: markers, patches, slot; the built-in design and layout files.

Lengths are millimetres from the card's top left corner, x right, y down. Colours are CIELAB
under D50 / 2 degree.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Any, Literal, TypeGuard, get_args

from reader.errors import CardFileError

Lab = tuple[float, float, float]
Point = tuple[float, float]
Rect = tuple[float, float, float, float]
DipEnd = Literal["top", "bottom", "left", "right"]

STANDARD_DESIGN = "dipstep-a.1"
"""Design and version of the built-in card; `reader/data/card-<design>.json` holds its layout."""

DICTIONARY = re.compile(r"DICT_([4-7]X[4-7]_(50|100|250|1000)|APRILTAG_(16h5|25h9|36h10|36h11))")
"""Names of the marker dictionaries OpenCV carries."""


@dataclass(frozen=True)
class Marker:
    """A coded square that tells where the card lies."""

    id: int
    dictionary: str
    corners_mm: tuple[Point, ...]
    """Four corners, clockwise from the top left."""


@dataclass(frozen=True)
class Patch:
    """A printed field of known colour."""

    id: str
    rect_mm: Rect
    """x, y, width, height."""
    lab: Lab
    """CIELAB, D50 / 2 degree."""


@dataclass(frozen=True)
class Slot:
    """Where the strip is laid."""

    rect_mm: Rect
    """x, y, width, height."""
    dip_end: DipEnd
    """The end of the slot where the dipped tip lies."""
    ground_lab: Lab | None = None
    """Colour requested of the printer for the slot's ground; None where the layout has none."""


@dataclass(frozen=True)
class Card:
    """A card's design with the colours of its patches."""

    design: str
    """Design id and version."""
    size_mm: tuple[float, float]
    markers: tuple[Marker, ...]
    patches: tuple[Patch, ...]
    slot: Slot
    measured: bool = False
    """True where the patches' colours were measured, False where they are nominal."""
    print_sd: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """What a measurement left unsure in common to all patches: lightness, chroma and hue, in
    tolerance units (about CIEDE2000)."""


@cache
def standard_card() -> Card:
    """Return the built-in card with its nominal colours."""
    name = f"card-{STANDARD_DESIGN}.json"
    return load_card(files("reader").joinpath("data", name).read_text("utf-8"), name)


def layout_json(card: Card) -> str:
    """Return the layout as JSON, one marker or patch a line."""
    slot: dict[str, Any] = {"rect_mm": list(card.slot.rect_mm), "dip_end": card.slot.dip_end}
    if card.slot.ground_lab is not None:
        slot["ground_lab"] = list(card.slot.ground_lab)
    markers = [
        {"id": m.id, "dictionary": m.dictionary, "corners_mm": [list(c) for c in m.corners_mm]}
        for m in card.markers
    ]
    patches = [{"id": p.id, "rect_mm": list(p.rect_mm), "lab": list(p.lab)} for p in card.patches]
    return (
        f'{{"card": {json.dumps(card.design)}, "size_mm": {json.dumps(list(card.size_mm))},\n'
        f' "markers": [\n{_rows(markers)}],\n "patches": [\n{_rows(patches)}],\n'
        f' "strip_slot": {json.dumps(slot)}}}\n'
    )


def _rows(items: Sequence[Mapping[str, Any]]) -> str:
    return ",\n".join("  " + json.dumps(item) for item in items)


def with_measured(card: Card, lab: Mapping[str, Lab]) -> Card:
    """Return the card with measured colours in place of the nominal ones.

    Raises `CardFileError` where patches are missing, unknown, or no colours.
    """
    known = {patch.id for patch in card.patches}
    unknown = [name for name in lab if name not in known]
    missing = [patch.id for patch in card.patches if patch.id not in lab]
    if unknown:
        raise CardFileError(
            f"the measured card has {_some(unknown)}, which the card {card.design} has not; "
            "measure this design and name the rows as its patches are named"
        )
    if missing:
        raise CardFileError(
            f"the measured card lacks {_some(missing)} of the card {card.design}; "
            "measure every patch, one row each"
        )
    patches = tuple(replace(p, lab=_checked_lab(lab[p.id], f"patch {p.id}")) for p in card.patches)
    return replace(card, patches=patches, measured=True)


def _some(names: Sequence[str]) -> str:
    """Return at most five names, and how many more there are."""
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    noun = "patch" if len(names) == 1 else "patches"
    return f"{noun} {', '.join(repr(name) for name in names[:5])}{more}"


def _checked_lab(lab: Sequence[float], place: str) -> Lab:
    lightness, a, b = (float(v) for v in lab)
    if not (-0.5 <= lightness <= 110.0 and abs(a) <= 150.0 and abs(b) <= 150.0):
        raise CardFileError(
            f"{place}: L {lightness:g}, a {a:g}, b {b:g} is no CIELAB colour of a print; "
            "give L from 0 to 100, a and b from -128 to 127"
        )
    return lightness, a, b


def load_card(text: str, name: str) -> Card:
    """Return the card in this layout JSON; `name` is used in messages.

    Raises `CardFileError` with the place of the first fault and its cure.
    """
    try:
        layout = json.loads(text)
    except (ValueError, RecursionError) as fault:
        raise CardFileError(
            f"{name}: this is no JSON ({fault}); write the layout with `dipstep card --layout`"
        ) from None
    card = _Layout(name).card(layout)
    _check_whole(card, name)
    return card


@dataclass(frozen=True)
class _Layout:
    """Reads the parts of a layout and names the place of a fault."""

    name: str

    def fail(self, place: str, needs: str) -> CardFileError:
        """Return the error for a place in the layout."""
        return CardFileError(
            f"{self.name}, {place}: {needs}; write the layout with `dipstep card --layout`"
        )

    def card(self, layout: object) -> Card:
        """Return the card of the whole layout."""
        if not isinstance(layout, dict):
            raise self.fail("top level", "an object with card, size_mm, markers, ... is needed")
        width, height = self.numbers(layout.get("size_mm"), "size_mm", 2)
        return Card(
            design=self.text(layout.get("card"), "card"),
            size_mm=(width, height),
            markers=tuple(
                self.marker(item, f"markers[{i}]")
                for i, item in enumerate(self.items(layout.get("markers"), "markers"))
            ),
            patches=tuple(
                self.patch(item, f"patches[{i}]")
                for i, item in enumerate(self.items(layout.get("patches"), "patches"))
            ),
            slot=self.slot(layout.get("strip_slot"), "strip_slot"),
        )

    def marker(self, item: object, place: str) -> Marker:
        """Return one marker."""
        fields = self.fields(item, place)
        number, dictionary = fields.get("id"), fields.get("dictionary")
        if not isinstance(number, int) or isinstance(number, bool) or number < 0:
            raise self.fail(f"{place}.id", "a whole number from 0 is needed")
        if not isinstance(dictionary, str) or not DICTIONARY.fullmatch(dictionary):
            raise self.fail(f"{place}.dictionary", "a name such as DICT_4X4_50 is needed")
        corners = self.items(fields.get("corners_mm"), f"{place}.corners_mm")
        if len(corners) != 4:
            raise self.fail(f"{place}.corners_mm", "four corners are needed")
        pairs = [self.numbers(c, f"{place}.corners_mm[{i}]", 2) for i, c in enumerate(corners)]
        if _area(pairs) < 1.0:
            raise self.fail(f"{place}.corners_mm", "corners clockwise from the top left are needed")
        return Marker(number, dictionary, tuple((x, y) for x, y in pairs))

    def patch(self, item: object, place: str) -> Patch:
        """Return one patch."""
        fields = self.fields(item, place)
        lightness, a, b = self.numbers(fields.get("lab"), f"{place}.lab", 3)
        lab = _checked_lab((lightness, a, b), f"{self.name}, {place}.lab")
        return Patch(self.text(fields.get("id"), f"{place}.id"), self.rect(fields, place), lab)

    def slot(self, item: object, place: str) -> Slot:
        """Return the slot."""
        fields = self.fields(item, place)
        end, ground = fields.get("dip_end"), fields.get("ground_lab")
        if not _is_end(end):
            raise self.fail(f"{place}.dip_end", "one of top, bottom, left, right is needed")
        if ground is None:
            return Slot(self.rect(fields, place), end)
        lightness, a, b = self.numbers(ground, f"{place}.ground_lab", 3)
        return Slot(self.rect(fields, place), end, (lightness, a, b))

    def rect(self, fields: Mapping[str, object], place: str) -> Rect:
        """Return the rectangle x, y, width, height of a part."""
        x, y, width, height = self.numbers(fields.get("rect_mm"), f"{place}.rect_mm", 4)
        if width <= 0 or height <= 0:
            raise self.fail(f"{place}.rect_mm", "width and height above zero are needed")
        return x, y, width, height

    def text(self, value: object, place: str) -> str:
        """Return a text that is not empty."""
        if not isinstance(value, str) or not value.strip():
            raise self.fail(place, "a text is needed")
        return value

    def fields(self, value: object, place: str) -> Mapping[str, object]:
        """Return an object's fields."""
        if not isinstance(value, dict):
            raise self.fail(place, "an object is needed")
        return value

    def items(self, value: object, place: str) -> Sequence[object]:
        """Return a list's items; at least one is needed."""
        if not isinstance(value, list) or not value:
            raise self.fail(place, "a list that is not empty is needed")
        return value

    def numbers(self, value: object, place: str, count: int) -> tuple[float, ...]:
        """Return exactly `count` finite numbers."""
        if (
            not isinstance(value, list)
            or len(value) != count
            or not all(_is_number(v) for v in value)
        ):
            raise self.fail(place, f"a list of {count} numbers is needed")
        return tuple(float(v) for v in value)


def _is_end(value: object) -> TypeGuard[DipEnd]:
    return value in get_args(DipEnd)


def _is_number(value: object) -> bool:
    is_real = isinstance(value, int | float) and not isinstance(value, bool)
    return is_real and abs(value) < 1e6 and math.isfinite(value)  # type: ignore[arg-type]


def _area(corners: Sequence[Sequence[float]]) -> float:
    """Return the signed area [mm2] of a polygon; positive where it runs clockwise, y down."""
    following = [*corners[1:], corners[0]]
    return sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(corners, following, strict=True)) / 2


def _check_whole(card: Card, name: str) -> None:
    """Raise where parts repeat or lie outside the card."""
    _check_unique([f"{m.dictionary} {m.id}" for m in card.markers], "marker", name)
    _check_unique([p.id for p in card.patches], "patch", name)
    width, height = card.size_mm
    spans = [(f"marker {m.id}", m.corners_mm) for m in card.markers]
    spans += [(f"patch {p.id}", _corners(p.rect_mm)) for p in card.patches]
    spans += [("strip_slot", _corners(card.slot.rect_mm))]
    for part, corners in spans:
        if any(not (0 <= x <= width and 0 <= y <= height) for x, y in corners):
            raise CardFileError(
                f"{name}, {part}: it lies outside the card of {width:g} x {height:g} mm; "
                "correct its place or size_mm"
            )


def _corners(rect: Rect) -> tuple[Point, Point]:
    return (rect[0], rect[1]), (rect[0] + rect[2], rect[1] + rect[3])


def _check_unique(names: Sequence[str], part: str, layout: str) -> None:
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise CardFileError(f"{layout}: {part} {twice} stands twice; give each {part} its own id")
