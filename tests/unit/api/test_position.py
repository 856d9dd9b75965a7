"""The place where a photo was taken is blanked, the picture stays."""

import io
import struct

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from api.position import blank_position

GPS = 0x8825


def photo(kind):
    """Return a small photo with a position, a camera and a time in its EXIF."""
    rng = np.random.default_rng(1)
    image = Image.fromarray(rng.integers(0, 255, (40, 60, 3), dtype=np.uint8))
    exif = Image.Exif()
    exif[0x010F] = "Some camera"
    exif[0x0132] = "2026:06:01 12:00:00"
    exif.get_ifd(GPS).update({1: "N", 2: (47.0, 22.0, 33.123), 3: "E", 4: (8.0, 32.0, 7.654)})
    out = io.BytesIO()
    if kind == "HEIF":
        pillow_heif.from_pillow(image).save(out, exif=exif.tobytes(), quality=90)
    else:
        image.save(out, kind, exif=exif)
    return out.getvalue()


def opened(data):
    pillow_heif.register_heif_opener()
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "HEIF"])
def test_the_position_is_gone_and_all_else_stays(kind):
    before = photo(kind)
    after = blank_position(before)

    assert any(opened(before).getexif().get_ifd(GPS).get(2))
    left = opened(after).getexif().get_ifd(GPS)
    assert not any(value for value in left.get(2, ()) if value == value)
    assert not str(left.get(1, "")).strip("\x00")
    assert opened(after).getexif()[0x010F] == "Some camera"
    assert opened(after).getexif()[0x0132] == "2026:06:01 12:00:00"
    assert len(after) == len(before)
    assert np.array_equal(np.asarray(opened(after)), np.asarray(opened(before)))


def test_a_position_in_xmp_is_gone():
    before = (
        b'\xff\xd8 <x exif:GPSLatitude="47,22.55N"/><exif:GPSLongitude>8,32E</exif:GPSLongitude>'
    )
    after = blank_position(before)

    assert b"47" not in after
    assert b"8,32" not in after
    assert len(after) == len(before)


def test_a_photo_without_position_is_not_touched():
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "JPEG")

    assert blank_position(out.getvalue()) == out.getvalue()


def test_exif_that_leads_out_of_the_file_is_blanked_whole():
    exif = b"Exif\x00\x00II*\x00\x08\x00\x00\x00" + struct.pack("<H", 1)
    exif += struct.pack("<HHII", GPS, 4, 1, 0xFFFFFF00) + b"47.1234"
    data = b"\xff\xd8\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif + b"\xff\xd9"
    after = blank_position(data)

    assert b"47.1234" not in after
    assert after.endswith(b"\xff\xd9")
    assert len(after) == len(data)


def test_any_bytes_are_survived():
    rng = np.random.default_rng(2)
    good = photo("JPEG")
    for _ in range(300):
        damaged = bytearray(good)
        for place in rng.integers(0, min(400, len(good)), 8):
            damaged[place] = rng.integers(0, 256)
        assert len(blank_position(bytes(damaged))) == len(good)
