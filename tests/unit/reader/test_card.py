"""The card's design holds what the reader needs of it, and faulty layouts name their place."""

import json
import math

import pytest

from reader.card import CardFileError, layout_json, load_card, standard_card, with_measured


def layout(**changes):
    return json.dumps({**json.loads(layout_json(standard_card())), **changes})


def test_layout_survives_writing_and_reading():
    assert load_card(layout_json(standard_card()), "again.json") == standard_card()


def test_layout_without_a_ground_colour_is_fine():
    text = layout(strip_slot={"rect_mm": [23, 41, 94, 8], "dip_end": "left"})
    assert load_card(text, "plain.json").slot.ground_lab is None


def test_design_carries_what_a_reading_needs():
    card = standard_card()
    width, height = card.slot.rect_mm[2:]
    assert len(card.markers) >= 6
    assert len(card.patches) >= 48
    assert sum(math.hypot(*p.lab[1:]) < 1 for p in card.patches) >= 6
    assert width >= 94
    assert height >= 8
    assert not card.measured


def test_every_part_has_white_beside_it():
    card = standard_card()
    boxes = [p.rect_mm for p in card.patches] + [card.slot.rect_mm]
    boxes += [(*m.corners_mm[0], 10.8, 10.8) for m in card.markers]
    for i, (x, y, w, h) in enumerate(boxes):
        for u, v, r, s in boxes[:i]:
            gap = max(u - x - w, x - u - r, v - y - h, y - v - s)
            assert gap >= 1.9


def test_neighbouring_patches_are_unlike():
    patches = standard_card().patches
    for i, first in enumerate(patches):
        for second in patches[:i]:
            if math.dist(first.rect_mm[:2], second.rect_mm[:2]) < 13:
                assert math.dist(first.lab, second.lab) > 20


def test_measured_colours_replace_the_nominal_ones():
    card = standard_card()
    measured = {p.id: (p.lab[0] - 1.0, p.lab[1], p.lab[2]) for p in card.patches}
    changed = with_measured(card, measured)
    assert changed.measured
    assert changed.patches[5].lab == measured[changed.patches[5].id]


def test_a_missing_patch_is_named():
    measured = {p.id: p.lab for p in standard_card().patches if p.id not in ("A3", "C7")}
    with pytest.raises(CardFileError) as fault:
        with_measured(standard_card(), measured)
    assert str(fault.value) == (
        "the measured card lacks patches 'A3', 'C7' of the card dipstep-a.1; "
        "measure every patch, one row each"
    )


def test_an_unknown_patch_is_named():
    measured = {p.id: p.lab for p in standard_card().patches} | {"Z9": (50.0, 0.0, 0.0)}
    with pytest.raises(CardFileError, match="has patch 'Z9', which the card"):
        with_measured(standard_card(), measured)


@pytest.mark.parametrize("lab", [(140.0, 0.0, 0.0), (50.0, 200.0, 0.0), (math.nan, 0.0, 0.0)])
def test_a_colour_that_cannot_be_is_refused(lab):
    measured = {p.id: p.lab for p in standard_card().patches} | {"B2": lab}
    with pytest.raises(CardFileError, match=r"patch B2: L .* is no CIELAB colour of a print"):
        with_measured(standard_card(), measured)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "bad.json: this is no JSON"),
        ("[]", "bad.json, top level: an object"),
        (layout(size_mm=[1]), "bad.json, size_mm: a list of 2 numbers"),
        (layout(size_mm=[True, 90]), "bad.json, size_mm: a list of 2 numbers"),
        (layout(markers=[]), "bad.json, markers: a list that is not empty"),
        (layout(markers=[{"id": -1}]), r"bad.json, markers\[0\].id: a whole number"),
        (layout(markers=[{"id": 1, "dictionary": "X"}]), r"markers\[0\].dictionary: a name"),
        (
            layout(
                markers=[
                    {
                        "id": 1,
                        "dictionary": "DICT_4X4_50",
                        "corners_mm": [[1, 1], [1, 9], [9, 9], [9, 1]],
                    }
                ]
            ),
            r"markers\[0\].corners_mm: corners clockwise",
        ),
        (layout(patches=[{"id": "A1"}]), r"patches\[0\].lab: a list of 3 numbers"),
        (layout(strip_slot={"dip_end": "up"}), "strip_slot.dip_end: one of top, bottom"),
        (layout(size_mm=[60, 90]), "it lies outside the card of 60 x 90 mm"),
        ("[" * 100_000, "this is no JSON"),
    ],
)
def test_a_faulty_layout_names_its_place(text, says):
    with pytest.raises(CardFileError, match=says):
        load_card(text, "bad.json")


def test_a_part_that_stands_twice_is_named():
    patches = json.loads(layout_json(standard_card()))["patches"]
    with pytest.raises(CardFileError, match="patch A1 stands twice"):
        load_card(layout(patches=[patches[0], *patches]), "twice.json")
