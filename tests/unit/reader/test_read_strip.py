"""The whole path on rendered photos: colours near the truth, trouble as reasons, pictures drawn."""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from reader import PadPlace, PhotoError, load_card, read_strip, standard_card, with_measured
from reader.card_files import read_measured
from reader.explain import draw_flat
from reader.inks import LONG_SIDE, VERDICT_INK
from reader.lab import delta_e00
from reader.photo import open_photo
from reader.picture import draw_seen

SAMPLES = Path(__file__).parents[3] / "sample_images"


def sample(name):
    path = next(p for p in sorted(SAMPLES.glob(f"{name}*")) if ".truth" not in p.name)
    return path.read_bytes()


def truth(name):
    return json.loads(next(SAMPLES.glob(f"{name}*.truth.json")).read_text("utf-8"))


@pytest.fixture(scope="module")
def card():
    printed = load_card((SAMPLES / "card.json").read_text("utf-8"), "card.json")
    measured = (SAMPLES / "card-measured.txt").read_bytes()
    return with_measured(printed, read_measured(measured, "card-measured.txt"))


@pytest.fixture(scope="module")
def places():
    """Read the pads' places from the sample table."""
    rows = (SAMPLES / "table.csv").read_text("utf-8").splitlines()
    names = rows[0].split(",")
    cells = [dict(zip(names, row.split(","), strict=False)) for row in rows[1:]]
    found = {int(c["pad"]): (float(c["centre_mm"]), float(c["size_mm"])) for c in cells}
    return [PadPlace(pad, *place) for pad, place in sorted(found.items())]


@pytest.fixture(scope="module")
def shade(card, places):
    return read_strip(sample("01"), card, places)


def test_pads_in_the_shade_have_their_colours(shade):
    true = [np.array(pad["lab"]) for pad in truth("01")["strips"][0]["pads"]]
    errors = [delta_e00(pad.lab, lab) for pad, lab in zip(shade.pads, true, strict=True)]

    assert shade.card_found
    assert shade.strip_found
    assert shade.delta_e00_median < 0.8
    assert np.median(errors) < 2.0
    assert max(errors) < 5.0


def test_every_pad_carries_covariances(shade):
    for pad in shade.pads:
        assert np.linalg.eigvalsh(pad.cov).min() > 0
        assert np.linalg.eigvalsh(pad.cov_budget).min() > 0
        assert pad.dof > 2


def test_an_unmeasured_card_widens_and_says_so(shade, places):
    nominal = read_strip(sample("01"), standard_card(), places)

    assert "card_nominal" in nominal.reasons
    for loose, tight in zip(nominal.pads, shade.pads, strict=True):
        assert np.trace(loose.cov) > 2.0 * np.trace(tight.cov)


def test_the_same_bytes_give_the_same_answer(card, places, shade):
    again = read_strip(sample("01"), card, places)

    assert [p.lab.tolist() for p in again.pads] == [p.lab.tolist() for p in shade.pads]
    assert again.reasons == shade.reasons


@pytest.mark.parametrize(
    ("name", "codes"),
    [
        ("09", {"glare", "clipped"}),
        ("10", {"shadow_on_pad"}),
        ("14", {"no_strip"}),
        ("15", {"overexposed", "clipped"}),
    ],
)
def test_spoiled_photos_name_the_fault(card, places, name, codes):
    seen = read_strip(sample(name), card, places)
    said = {*seen.reasons, *(code for pad in seen.pads for code in pad.reasons)}

    assert said & codes


def test_a_photo_without_a_card_is_an_answer(card, places):
    grey = np.full((400, 600, 3), 120, np.uint8)
    seen = read_strip(cv2.imencode(".png", grey)[1].tobytes(), card, places)

    assert not seen.card_found
    assert seen.pads == ()
    assert "no_card" in seen.reasons
    assert draw_flat(seen) is None


def test_no_image_is_an_error(card, places):
    with pytest.raises(PhotoError):
        read_strip(b"no image", card, places)


def decoded(data):
    return cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]


def test_the_picture_shows_the_verdicts(shade):
    photo = open_photo(sample("01"))
    verdicts = {1: "accepted", 2: "recheck", 3: "unreadable"}
    plain, drawn = decoded(draw_seen(photo, shade)), decoded(draw_seen(photo, shade, verdicts))

    assert max(drawn.shape) <= LONG_SIDE
    for ink in VERDICT_INK.values():
        near = [np.all(np.abs(p.astype(int) - ink) < 24, axis=2).sum() for p in (plain, drawn)]
        assert near[1] > near[0] + 50


def test_a_photo_without_anything_is_still_drawn(card, places):
    grey = cv2.imencode(".png", np.full((300, 2000, 3), 120, np.uint8))[1].tobytes()
    drawn = decoded(draw_seen(open_photo(grey), read_strip(grey, card, places)))

    assert drawn.shape == (192, 1280, 3)


def test_the_flattened_card_is_drawn_with_what_is_said_below_it(shade):
    """The card has 140 x 90 mm at 8 pixels a millimetre; below it stands what the marks mean."""
    plain = decoded(draw_flat(shade))
    blurred = decoded(draw_flat(replace(shade, reasons=("blurred",))))

    assert plain.shape[1] == blurred.shape[1] == 1120
    assert 720 < plain.shape[0] < blurred.shape[0] < 900


def test_the_flattened_card_shows_the_verdicts(shade):
    verdicts = {1: "accepted", 2: "recheck", 3: "unreadable"}
    plain, drawn = (decoded(draw_flat(shade, told))[330:420] for told in ({}, verdicts))

    for ink in VERDICT_INK.values():
        near = [np.all(np.abs(p.astype(int) - ink) < 24, axis=2).sum() for p in (plain, drawn)]
        assert near[1] > near[0] + 50
