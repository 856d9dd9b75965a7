"""Files become upright pictures, and what is no picture gets one sentence."""

import io
import struct
import zlib
from datetime import timedelta

import cv2
import numpy as np
import pytest
from PIL import Image, ImageCms

from reader.encoding import SRGB, read_profile
from reader.photo import MAX_PIXELS, PhotoError, open_photo


def scene(width=160, height=120):
    """A picture no turn of which looks like another."""
    y, x = np.mgrid[:height, :width]
    return np.dstack([x * 255 // width, y * 255 // height, (x + y) % 256]).astype(np.uint8)


def saved(picture, kind="PNG", **options):
    out = io.BytesIO()
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    image.save(out, kind, **options)
    return out.getvalue()


def exif(**tags):
    made = Image.Exif()
    inner = made.get_ifd(0x8769)
    for name, value in tags.items():
        if name == "orientation":
            made[0x0112] = value
        else:
            inner[{"taken": 0x9003, "offset": 0x9011, "flash": 0x9209}[name]] = value
    return made


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_lossless_formats_come_back_pixel_by_pixel(kind):
    photo = open_photo(saved(scene(), kind, **({"lossless": True} if kind == "WEBP" else {})))
    assert np.array_equal(photo.pixels(), scene())
    assert photo.size == (160, 120)
    assert photo.rgb == pytest.approx(scene() / 255.0, abs=1e-6)


def test_heic_comes_back_nearly_the_same():
    import pillow_heif

    pillow_heif.register_heif_opener()
    photo = open_photo(saved(cv2.GaussianBlur(scene(), (0, 0), 3), "HEIF", quality=95))
    assert np.abs(photo.pixels().astype(int) - cv2.GaussianBlur(scene(), (0, 0), 3)).mean() < 4


@pytest.mark.parametrize(
    ("orientation", "turn"),
    [
        (1, None),
        (2, Image.Transpose.FLIP_LEFT_RIGHT),
        (3, Image.Transpose.ROTATE_180),
        (4, Image.Transpose.FLIP_TOP_BOTTOM),
        (5, Image.Transpose.TRANSPOSE),
        (6, Image.Transpose.ROTATE_270),
        (7, Image.Transpose.TRANSVERSE),
        (8, Image.Transpose.ROTATE_90),
    ],
)
def test_orientation_is_applied_once(orientation, turn):
    """The turns are those of CIPA DC-008, as Pillow's documentation of transpose lists them."""
    image = Image.fromarray(scene())
    expected = np.asarray(image if turn is None else image.transpose(turn))
    photo = open_photo(saved(image, "PNG", exif=exif(orientation=orientation)))
    assert np.array_equal(photo.pixels(), expected)
    assert photo.size == (expected.shape[1], expected.shape[0])


@pytest.mark.parametrize("orientation", [0, 9, 77])
def test_an_odd_orientation_counts_as_none(orientation):
    photo = open_photo(saved(scene(), "PNG", exif=exif(orientation=orientation)))
    assert np.array_equal(photo.pixels(), scene())


def test_a_large_jpeg_is_decoded_small_and_its_places_stay_true():
    picture = cv2.GaussianBlur(scene(4000, 3000), (0, 0), 2)
    photo = open_photo(saved(picture, "JPEG", quality=95))
    assert (photo.base, photo.size) == (2, (4000, 3000))
    for reduction in (4, 2, 1):
        small = photo.pixels(reduction)
        assert small.shape == (3000 // reduction, 4000 // reduction, 3)
        j, i = 1400 // reduction, 604 // reduction
        rows = slice(reduction * j, reduction * (j + 1))
        block = picture[rows, reduction * i : reduction * (i + 1)].mean((0, 1))
        assert small[j, i] == pytest.approx(block, abs=3)


def test_a_turned_jpeg_of_odd_size_is_decoded_at_every_size():
    photo = open_photo(saved(scene(4001, 2999), "JPEG", exif=exif(orientation=6)))
    assert photo.size == (2999, 4001)
    assert photo.pixels().shape == (2001, 1500, 3)
    assert photo.pixels(4).shape == (1000, 750, 3)
    assert photo.pixels(1).shape == (4001, 2999, 3)


def test_the_picture_of_a_phone_with_a_second_picture_inside_is_read():
    photo = open_photo(
        saved(scene(4000, 3000), "MPO", save_all=True, append_images=[Image.new("RGB", (99, 9))])
    )
    assert photo.size == (4000, 3000)
    assert photo.base == 2


def test_sixteen_bits_are_kept():
    deep = scene().astype(np.uint16) * 257 + 5
    done, file = cv2.imencode(".png", deep[:, :, ::-1])
    photo = open_photo(file.tobytes())
    assert done
    assert np.array_equal(photo.pixels(), deep)
    assert photo.rgb == pytest.approx(deep / 65535.0, abs=1e-6)


def test_when_and_how_it_was_taken():
    tags = exif(taken="2025:06:01 09:30:00", offset="+02:00", flash=1)
    photo = open_photo(saved(scene(), "JPEG", exif=tags))
    assert photo.taken_at.isoformat() == "2025-06-01T09:30:00+02:00"
    assert photo.taken_at.utcoffset() == timedelta(hours=2)
    assert photo.flash is True


@pytest.mark.parametrize("taken", ["", "    :  :     :  :  ", "2025:13:41 99:00:00", "today"])
def test_a_broken_clock_is_no_time(taken):
    assert open_photo(saved(scene(), "JPEG", exif=exif(taken=taken))).taken_at is None


def test_a_grey_photo_says_so():
    assert open_photo(saved(scene()[:, :, 0])).reasons == ("no_colour",)
    assert open_photo(saved(scene())).reasons == ()


def test_clipped_pixels_are_counted():
    picture = scene() // 2
    picture[:60] = 255
    assert open_photo(saved(picture)).clipped == pytest.approx(0.5, abs=0.02)


D50 = (0.9642, 1.0, 0.8249)
"""The profile connection space's white (ICC.1:2022, 7.2.16)."""


def profile(colorants, gamma):
    """A matrix/TRC profile with one gamma (ICC.1:2022)."""
    tags = [
        (c + b"XYZ", b"XYZ \0\0\0\0" + _fixed(v))
        for c, v in zip((b"r", b"g", b"b"), colorants, strict=True)
    ]
    tags += [(b"wtpt", b"XYZ \0\0\0\0" + _fixed(D50))]
    curve = b"curv\0\0\0\0" + struct.pack(">IHxx", 1, round(gamma * 256))
    tags += [(c + b"TRC", curve) for c in (b"r", b"g", b"b")]
    table, body, at = b"", b"", 132 + 12 * len(tags)
    for name, tag in tags:
        table += struct.pack(">4sII", name, at + len(body), len(tag))
        body += tag
    head = bytearray(128)
    head[0:4], head[8:12] = struct.pack(">I", 132 + len(table) + len(body)), b"\2\x40\0\0"
    head[12:24], head[36:40], head[68:80] = b"mntrRGB XYZ ", b"acsp", _fixed(D50)
    return bytes(head) + struct.pack(">I", len(tags)) + table + body


def _fixed(values):
    return struct.pack(">3i", *(round(v * 65536) for v in values))


# Colorants under D50, columns of the published RGB-to-XYZ matrices for Adobe RGB (1998),
# adapted by Bradford (Lindbloom, "RGB/XYZ Matrices"): rows here are red, green, blue.
ADOBE = ((0.6097559, 0.3111242, 0.0194811), (0.2052401, 0.6256560, 0.0608902),
         (0.1492240, 0.0632197, 0.7448387))  # fmt: skip


def test_adobe_rgb_comes_to_srgb():
    """Adobe RGB (0, 128, 0) shows green outside sRGB: red goes below zero, nothing is clamped."""
    encoding = read_profile(profile(ADOBE, 563 / 256))
    codes = encoding.codes(
        np.array([[0.0, 128 / 255, 0.0], [1, 1, 1], [0.5, 0.5, 0.5]], np.float32)
    )
    assert codes[0, 0] < -0.2
    assert codes[1] == pytest.approx([1, 1, 1], abs=2e-3)
    grey = 1.055 * (0.5 ** (563 / 256)) ** (1 / 2.4) - 0.055
    assert codes[2] == pytest.approx([grey] * 3, abs=2e-3)


def test_matrix_profiles_agree_with_littlecms():
    """Inside sRGB the result is that of LittleCMS (through Pillow), to its 8 bits."""
    made = profile(ADOBE, 2.2)
    colours = np.array(
        [[[120, 130, 140], [200, 180, 150], [90, 100, 80], [160, 90, 110]]], np.uint8
    )
    theirs = ImageCms.profileToProfile(
        Image.fromarray(colours), ImageCms.ImageCmsProfile(io.BytesIO(made)),
        ImageCms.createProfile("sRGB"), renderingIntent=1,
    )  # fmt: skip
    ours = open_photo(saved(colours.repeat(40, 0), icc_profile=made)).rgb[0]
    assert ours * 255 == pytest.approx(np.asarray(theirs)[0].astype(float), abs=1.5)


def test_an_srgb_profile_changes_nothing():
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    assert read_profile(made) is SRGB


@pytest.mark.parametrize("junk", [None, b"", b"x" * 200, profile(ADOBE, 2.2)[:150]])
def test_a_profile_that_cannot_be_read_counts_as_srgb(junk):
    assert read_profile(junk) is SRGB


def png_header(width, height):
    head = struct.pack(">IIBBBBB", width, height, 1, 0, 0, 0, 0)
    chunk = b"IHDR" + head
    return (
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + chunk + struct.pack(">I", zlib.crc32(chunk))
        + struct.pack(">I", 0) + b"IDAT" + struct.pack(">I", zlib.crc32(b"IDAT"))
    )  # fmt: skip


def transparent():
    rgba = np.dstack([scene(), np.full((120, 160), 128, np.uint8)])
    return saved(rgba)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "the photo is empty (0 bytes); choose another file"),
        (
            b"Dear customer,",
            "the file is no photo in JPEG, PNG, WebP, TIFF or HEIC; choose a photo",
        ),
        (
            b"\0\0\0\x18ftypheicjunkjunk" * 9,
            "the file is no photo in JPEG, PNG, WebP, TIFF or HEIC",
        ),
        (
            saved(scene(900, 700), "JPEG")[:9000],
            "the photo is cut off: its file ends in the middle",
        ),
        (saved(scene())[:-300], "the photo is cut off: its file ends in the middle"),
        (png_header(20_000, 10_000), "the photo has 20000 x 10000 pixels, more than 60 megapixels"),
        (saved(Image.new("CMYK", (99, 99)), "JPEG"), "the photo is in printing colours (CMYK)"),
        (transparent(), "the picture has transparent parts"),
    ],
)
def test_what_is_no_photo_gets_a_sentence(data, says):
    with pytest.raises(PhotoError) as fault:
        open_photo(data)
    assert str(fault.value).startswith(says)
    assert "; " in str(fault.value)


def test_a_file_of_too_many_bytes_is_refused_unread():
    with pytest.raises(PhotoError, match="has 100 MB, more than 100 MB"):
        open_photo(b"\xff\xd8" + bytes(100_000_000))


def test_the_limit_of_pixels_holds_phone_pictures():
    assert MAX_PIXELS > 8160 * 6120


@pytest.mark.parametrize("size", [(1, 1), (1, 500), (3, 2)])
def test_tiny_pictures_open(size):
    assert open_photo(saved(np.zeros((size[1], size[0], 3), np.uint8))).size == size
