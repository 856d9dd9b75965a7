"""The printed card is true to scale: rasterised by another program and measured."""

import subprocess
from dataclasses import replace

import cv2
import numpy as np
import pytest

from reader.card import Slot, standard_card
from reader.card_sheet import draw_sheet, srgb_of

CARD = standard_card()
DPI = 300
PER_MM = DPI / 25.4


def rasterised(pdf, folder):
    path = folder / "sheet.pdf"
    path.write_bytes(pdf)
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-png", "-singlefile", str(path), str(folder / "sheet")],
        check=True,
    )
    return cv2.imread(str(folder / "sheet.png"))[:, :, ::-1]


def markers_mm(picture):
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    detector = cv2.aruco.ArucoDetector(dictionary, settings)
    corners, ids, _ = detector.detectMarkers(np.ascontiguousarray(picture))
    places = [(c.reshape(4, 2) + 0.5) / PER_MM for c in corners]
    return list(zip(ids.ravel().tolist(), places, strict=True))


def test_markers_are_printed_where_the_layout_says(tmp_path):
    found = dict(markers_mm(rasterised(draw_sheet(CARD), tmp_path)))
    assert sorted(found) == [7, 11, 18, 20, 24, 30]
    for marker in CARD.markers:
        assert found[marker.id] == pytest.approx(np.array(marker.corners_mm), abs=0.1)


def test_patches_and_slot_are_printed_in_place_and_colour(tmp_path):
    picture = rasterised(draw_sheet(CARD), tmp_path)
    assert picture.shape[:2] == (round(90 * PER_MM), round(140 * PER_MM))
    printed = [(p.rect_mm, p.lab) for p in CARD.patches]
    for rect, lab in [*printed, (CARD.slot.rect_mm, CARD.slot.ground_lab)]:
        x, y, w, h = rect
        left, right, top, low = (round(v * PER_MM) for v in (x, x + w, y, y + h))
        inside = picture[top + 2 : low - 2, left + 2 : right - 2].reshape(-1, 3)
        assert np.ptp(inside, axis=0).max() == 0
        assert inside[0] == pytest.approx(np.array(srgb_of(lab)) * 255, abs=1.1)
        around = (picture[top - 4, left:right], picture[top:low, right + 4])
        assert all(band.min() == 255 for band in around)


def test_markers_keep_their_quiet_margin(tmp_path):
    picture = rasterised(draw_sheet(CARD), tmp_path)
    for marker in CARD.markers:
        corners = np.array(marker.corners_mm)
        (left, top), (right, low) = corners.min(axis=0) - 1.8, corners.max(axis=0) + 1.8
        rows = slice(round(top * PER_MM), round(low * PER_MM))
        columns = slice(round(left * PER_MM), round(right * PER_MM))
        ring = picture[rows, columns].copy()
        ring[18:-18, 18:-18] = 255
        assert ring.min() == 255


def test_the_page_is_the_card_and_prints_the_same_every_time():
    pdf = draw_sheet(CARD)
    assert b"/MediaBox [ 0 0 396.8504 255.1181 ]" in pdf
    assert draw_sheet(CARD) == pdf


@pytest.mark.parametrize(("sheet", "cards"), [("a4", 4), ("letter", 2)])
def test_sheets_hold_whole_cards_at_true_scale(tmp_path, sheet, cards):
    found = markers_mm(rasterised(draw_sheet(CARD, sheet), tmp_path))
    assert len(found) == 6 * cards
    for _, corners in found:
        assert np.linalg.norm(corners[1] - corners[0]) == pytest.approx(10.8, abs=0.1)
    leftmost = min((c[0] for n, c in found if n == 7), key=lambda corner: tuple(corner.round()))
    spans = [np.linalg.norm(c[1] - leftmost) for n, c in found if n == 18]
    assert min(abs(span - 132.8) for span in spans) < 0.1


def test_a_sheet_too_small_for_the_card_is_refused():
    with pytest.raises(ValueError, match="does not fit on the sheet"):
        draw_sheet(replace(CARD, size_mm=(400.0, 90.0)), "a4")
    with pytest.raises(ValueError, match="no sheet 'b5'; choose card, a4 or letter"):
        draw_sheet(CARD, "b5")


@pytest.mark.parametrize("end", ["left", "right", "top", "bottom"])
def test_the_arrow_stands_at_the_dipped_end(tmp_path, end):
    rect = (23.0, 41.0, 94.0, 8.0) if end in ("left", "right") else (66.0, 20.0, 8.0, 50.0)
    card = replace(CARD, patches=CARD.patches[:1], slot=Slot(rect, end))
    picture = rasterised(draw_sheet(card), tmp_path)
    x, y, w, h = rect
    place = {
        "left": (x - 5, y + h / 2), "right": (x + w + 5, y + h / 2),
        "top": (x + w / 2, y - 5), "bottom": (x + w / 2, y + h + 5),
    }[end]  # fmt: skip
    column, row = (round(v * PER_MM) for v in place)
    assert picture[row, column].max() < 120


def test_colours_go_out_as_srgb():
    """White and mid grey: L 100 is code 1; L 50 has Y 0.184, sRGB code 0.466 (IEC 61966-2-1)."""
    assert srgb_of((100.0, 0.0, 0.0)) == pytest.approx((1, 1, 1), abs=2e-3)
    assert srgb_of((50.0, 0.0, 0.0)) == pytest.approx((0.466, 0.466, 0.466), abs=2e-3)


def words_of(pdf, folder):
    (folder / "sheet.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-layout", str(folder / "sheet.pdf"), "-"],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    return done.stdout


def test_each_card_of_a_sheet_bears_its_own_serial(tmp_path):
    assert "Serial 2026-1\n" in words_of(draw_sheet(CARD, serial="2026-1"), tmp_path)
    sheet = words_of(draw_sheet(CARD, "a4", "2026"), tmp_path)
    assert "Serial 2026-1" in sheet
    assert "Serial 2026-2" in sheet
    assert "Serial" not in words_of(draw_sheet(CARD), tmp_path)


@pytest.mark.parametrize("serial", ["", " a", "x" * 25, "a\nb", "ü1"])
def test_a_serial_that_cannot_be_printed_is_refused(serial):
    with pytest.raises(ValueError, match="cannot be printed; give 1 to 24"):
        draw_sheet(CARD, serial=serial)
