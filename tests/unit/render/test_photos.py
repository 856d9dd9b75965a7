"""Rendered photos: the same again by seed, and the truth lies where it says."""

import io
import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

from reader.card import standard_card
from tests.render import pose, scene, shots, tables
from tests.render.pads import Pads
from tests.render.photo_file import as_file, display_p3_profile
from tests.render.truth import render

SMALL = shots.Setting(standard_card(), pixels=5e5)


def opened(data):
    return Image.open(io.BytesIO(data))


def test_a_seed_gives_the_same_photo_again():
    first, truth = render(SMALL, 3, "good")
    again, truth_again = render(SMALL, 3, "good")
    assert first == again
    assert truth == truth_again
    assert json.loads(json.dumps(truth))["seed"] == 3


@pytest.mark.parametrize("kind", shots.KINDS)
def test_every_kind_gives_a_picture(kind):
    data, truth = render(SMALL, 4, kind)
    picture = opened(data)
    assert picture.format == "JPEG"
    assert picture.getexif()[0x0112] == truth["pose"]["exif_orientation"]
    assert sorted(picture.size) == sorted(truth["pose"]["size_px"])


def test_markers_lie_where_the_truth_says():
    """OpenCV's own detector, on the upright picture; bow and curl are small but there."""
    found = 0
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(book, cv2.aruco.DetectorParameters())
    for seed in range(3):
        drawn = replace(shots.draw(replace(SMALL, pixels=2e6), seed, "good"), orientation=1)
        pixels = scene.photographed(drawn)
        corners, ids, _ = detector.detectMarkers(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY))
        seen = dict(zip(ids.ravel().tolist(), corners, strict=True))
        for marker in drawn.card.markers:
            if marker.id in seen:
                expected = drawn.pose.to_px(np.array(marker.corners_mm))
                assert np.abs(seen[marker.id][0] - expected).max() < 2.0
                found += 1
    assert found >= 15


def test_the_map_back_to_the_card_undoes_bow_and_curl():
    where = pose.stand((1200, 900), (140, 90), 25.0, 40.0, 95.0, 0.7, (0.1, 0.2), 0.04, 0.4)
    at = np.array([[10.0, 5.0], [70.0, 45.0], [131.0, 82.0]])
    x_mm, y_mm = where.mm_grid(1, 0, 0, 1200, 900)
    for (u, v), mm in zip(where.to_px(at), at, strict=True):
        near = (round(v), round(u))
        assert [x_mm[near], y_mm[near]] == pytest.approx(mm, abs=0.15)


def test_orientation_and_profile_are_written():
    pixels = np.zeros((40, 60, 3), dtype=np.uint8)
    pixels[:10] = 255
    data = as_file(pixels, "jpeg", 90, "Display P3", orientation=6)
    picture = opened(data)
    assert picture.size == (40, 60)
    assert picture.info["icc_profile"] == display_p3_profile()
    turned = np.asarray(picture.transpose(Image.Transpose.ROTATE_270).convert("L"))
    assert turned[:8].min() > 200
    assert turned[20:].max() < 50


def test_the_tables_hold_every_block_and_every_patch():
    pads = Pads(5)
    text = tables.truth_table(pads)
    assert len(text.splitlines()) == 1 + sum(len(pad.blocks) for pad in pads.kind.pads)

    def read(pad, value):
        return pads.lab(pads.kind.pads[pad - 1].analyte, value) + np.random.default_rng(
            [pad, int(value * 10)]
        ).normal(0, 1, (6, 3))

    lines = tables.photo_table(pads, read).splitlines()
    assert lines[0].endswith("value,L,a,b,n,sL,sa,sb,rLa,rLb,rab")
    measured = tables.measured_card(SMALL.card, SMALL.paper())
    assert tables.cgats(measured, "x").count("\n") > len(SMALL.card.patches)
