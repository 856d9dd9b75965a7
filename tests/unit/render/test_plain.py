"""The plain renderer: places, colours and files are what it says they are."""

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from reader.card import layout_json, load_card
from tests.render.plain import shot as shots
from tests.render.plain.faults import FAULTS
from tests.render.plain.sheet import linear
from tests.render.plain.variants import VARIANTS, good, plain_photo, sheet_and_shot
from tests.render.spectra import colour


def pixels(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), float) / 255


def test_a_photo_is_the_same_each_time():
    assert plain_photo("plain", 5).data == plain_photo("plain", 5).data
    assert plain_photo("plain", 5).data != plain_photo("plain", 6).data


@pytest.mark.parametrize("name", sorted(VARIANTS))
def test_every_variant_has_a_sound_card_and_its_pads_on_the_strip(name):
    sheet, _ = sheet_and_shot(name, 3)
    card = load_card(layout_json(sheet.card), name)
    assert {p.id for p in card.patches} == set(sheet.printed)
    kind = sheet.pads.kind
    assert len(sheet.values) == len(kind.pads)
    assert kind.centre_mm(len(kind.pads)) + kind.pad_mm / 2 < kind.length_mm
    assert kind.pitch_mm >= kind.pad_mm


def test_a_pad_lies_where_the_plane_says_and_has_its_colour():
    sheet, shot = sheet_and_shot("quick", 4)
    shot = replace(shot, cast=(1.0, 1.0, 1.0), form="png", level=0.8)
    picture = pixels(shots.as_file(shots.photographed(sheet, shot, 4), shot))
    at_mm = sheet.strip_places(np.array([[sheet.pads.kind.centre_mm(2), 0.0]]))
    x, y = cv2.perspectiveTransform(at_mm[None], shots.homography(sheet, shot))[0, 0]
    seen = picture[round(y) - 2 : round(y) + 3, round(x) - 2 : round(x) + 3].mean(axis=(0, 1))
    wanted = colour.cctf_encoding(0.8 * linear(sheet.lab_of(1)), function="sRGB")
    assert seen == pytest.approx(wanted, abs=0.01)


def test_the_adobe_profile_is_one():
    profile = ImageCms.ImageCmsProfile(io.BytesIO(shots.adobe_profile()))
    red = profile.profile.red_primary
    assert red[1][:2] == pytest.approx((0.6484, 0.3309), abs=0.002)  # ICC D50, by Bradford


@pytest.mark.parametrize("name", sorted(FAULTS))
def test_every_fault_changes_what_is_seen(name):
    sheet, shot = good(3)
    spoilt, taken, pads = FAULTS[name]((sheet, shot), np.random.default_rng(7), 3)
    assert (spoilt, taken) != (sheet, shot)
    assert all(1 <= pad <= len(sheet.values) for pad in pads)


def test_a_strip_turned_round_has_its_tip_at_the_other_end():
    sheet, _ = sheet_and_shot("flush", 3)
    tip, end = sheet.strip_places(np.array([[0.0, 0.0], [sheet.pads.kind.length_mm, 0.0]]))
    turned = replace(sheet, is_reversed=True)
    assert turned.strip_places(np.array([[0.0, 0.0]]))[0] == pytest.approx(end)
    assert sheet.card.slot.rect_mm[0] == pytest.approx(tip[0])
