"""From the bytes of a file to an upright picture, at the size the work needs."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import (
    Image,
    JpegImagePlugin,
    MpoImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    UnidentifiedImageError,
    WebPImagePlugin,
)

from reader.encoding import Encoding, read_profile
from reader.errors import PhotoError
from reader.inks import DRAWN

Pixels = NDArray[Any]
"""Picture in the file's own code values, RGB, shape (h, w, 3), uint8 or uint16."""

MAX_BYTES = 100_000_000
MAX_PIXELS = 60_000_000
"""Beyond these a file is refused before a pixel is decoded."""

KNOWN = "JPEG, PNG, WebP, TIFF or HEIC"
READERS = (JpegImagePlugin, MpoImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin)
"""Importing them registers them; Pillow's other formats stay out."""
FORMATS = ("JPEG", "PNG", "WEBP", "TIFF")
READING_SIDES: Mapping[int, int] = {2: 1900, 4: 5600, 8: 11200}
"""A JPEG is first decoded at 1/2, 1/4 or 1/8 where its long side has this many pixels at least.
The unpacking of the file, which no reduction spares, costs most: a second decode for a card that
is small in the picture costs more than a first one that is fine enough for most. A card that fills
a third of a phone's photo has 5 pixels a millimetre then. Finer decodes follow where need be."""

AT_REDUCTION: Mapping[int, int] = {
    1: 0,
    2: cv2.IMREAD_REDUCED_GRAYSCALE_2,
    4: cv2.IMREAD_REDUCED_GRAYSCALE_4,
    8: cv2.IMREAD_REDUCED_GRAYSCALE_8,
}
"""OpenCV's flags for a reduction; "grayscale" says no more than "not blue first"."""

ORIENTATION, TAKEN, OFFSET, FLASH = 0x0112, 0x9003, 0x9011, 0x9209
"""EXIF tags (CIPA DC-008): orientation, DateTimeOriginal, OffsetTimeOriginal, flash."""

TURNS: Mapping[int, tuple[bool, int | None]] = {
    1: (False, None),
    2: (False, 1),
    3: (False, -1),
    4: (False, 0),
    5: (True, None),
    6: (True, 1),
    7: (True, -1),
    8: (True, 0),
}
"""EXIF orientation: whether to swap rows and columns first, then the axis to flip (cv2.flip)."""

# The size is checked below, before anything is decoded; Pillow would only warn.
Image.MAX_IMAGE_PIXELS = None


@dataclass(frozen=True, eq=False)
class Photo:
    """An upright picture.

    Places in a photo are (x, y) in pixels of the file's full size after turning it upright,
    pixel centres at whole numbers. Pixels are kept as the file has them and decoded as small as
    the work allows; `codes` turns what was cut out of them into sRGB code values.
    """

    size: tuple[int, int]
    """Width and height at full size, upright."""
    base: int
    """Reduction (1, 2, 4, 8) at which the picture was first decoded."""
    encoding: Encoding
    clipped: float
    """Share of pixels with a channel at the top of its range."""
    taken_at: datetime | None
    """When the camera says it was taken; without an offset where the camera gave none."""
    flash: bool | None
    """Whether the flash fired, None where the file does not say."""
    reasons: tuple[str, ...]
    _levels: dict[int, Pixels] = field(repr=False)
    _data: bytes = field(repr=False)

    def pixels(self, reduction: int | None = None) -> Pixels:
        """Return the upright picture at 1/reduction of its size, shape (h, w, 3), read-only.

        Pixel (i, j) of it is centred at ((i + 0.5) * reduction - 0.5, ...) of the full size.
        """
        wanted = self.base if reduction is None else reduction
        if wanted not in self._levels:
            self._levels[wanted] = self._made(wanted)
        return self._levels[wanted]

    def _made(self, reduction: int) -> Pixels:
        finest = min(self._levels)
        if reduction < finest:
            return _decoded(self._data, reduction)[1]
        return _shrunk(self._levels[finest], reduction // finest)

    def codes(self, pixels: Pixels | NDArray[np.float32]) -> NDArray[np.float32]:
        """Return values of the file as sRGB code values, float32, 1.0 = full code, unclamped.

        Integers are taken as the file's own range (0 to 255 or 65535), floats as 0 to 1.
        """
        if np.issubdtype(pixels.dtype, np.integer):
            return self.encoding.codes_of(pixels)
        return self.encoding.codes(pixels.astype(np.float32, copy=False))

    @property
    def rgb(self) -> NDArray[np.float32]:
        """The whole picture at its base size as sRGB code values, shape (h, w, 3)."""
        return self.codes(self.pixels())


def open_photo(data: bytes) -> Photo:
    """Return the photo in these bytes, upright.

    Raises `PhotoError` for anything that is no whole picture in a known format.
    """
    if not data:
        raise PhotoError("the photo is empty (0 bytes); choose another file")
    if len(data) > MAX_BYTES:
        raise PhotoError(
            f"the photo has {len(data) / 1e6:.0f} MB, more than {MAX_BYTES / 1e6:.0f} MB; "
            "save it as JPEG"
        )
    try:
        return _opened(data)
    except PhotoError:
        raise
    except MemoryError:
        raise PhotoError(
            "the photo needs more memory than there is; save it as a smaller JPEG"
        ) from None
    except Exception as fault:
        raise PhotoError(_in_words(fault)) from None


def _in_words(fault: Exception) -> str:
    """Return the sentence for what a decoder says; decoders raise nearly every kind of error."""
    said = str(fault).lower()
    if "truncated" in said or isinstance(fault, EOFError):
        return "the photo is cut off: its file ends in the middle; copy it again from the phone"
    return "the photo is damaged and cannot be decoded; copy it again or take another"


def _opened(data: bytes) -> Photo:
    with _image(data) as image:
        size, exif = image.size, _exif(image)
        reduction = _reduction(image)
        encoding = read_profile(image.info.get("icc_profile"))
    reasons, pixels = _decoded(data, reduction)
    turned = TURNS[exif.orientation][0]
    return Photo(
        size=(size[1], size[0]) if turned else size,
        base=reduction,
        encoding=encoding,
        clipped=_clipped(pixels),
        taken_at=exif.taken_at,
        flash=exif.flash,
        reasons=reasons,
        _levels={reduction: pixels},
        _data=data,
    )


def _image(data: bytes) -> Image.Image:
    """Return the image opened but not decoded, its size checked."""
    formats = list(FORMATS)
    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
        formats.append("HEIF")
    try:
        image = Image.open(io.BytesIO(data), formats=formats)
    except UnidentifiedImageError:
        raise PhotoError(f"the file is no photo in {KNOWN}; choose a photo") from None
    if image.info.get("comment") == DRAWN:
        raise PhotoError(
            "the picture was drawn to explain a reading; give the photo as the camera saved it"
        )
    width, height = image.size
    if width * height > MAX_PIXELS:
        raise PhotoError(
            f"the photo has {width} x {height} pixels, more than {MAX_PIXELS / 1e6:.0f} "
            "megapixels; take it in the camera's normal size"
        )
    return image


def _reduction(image: Image.Image) -> int:
    """Return how much smaller a file can be decoded at once; only JPEG can."""
    if image.format not in ("JPEG", "MPO"):
        return 1
    longest = max(image.size)
    return max((k for k, side in READING_SIDES.items() if longest >= side), default=1)


def _decoded(data: bytes, reduction: int) -> tuple[tuple[str, ...], Pixels]:
    """Return reasons and the upright picture at this reduction."""
    with _image(data) as image:
        turn = _exif(image).orientation
        if _is_deep_png(data):
            reasons, pixels = _deep(data)
        elif (whole := _jpeg(data, image, reduction)) is not None:
            reasons, pixels = (), whole
        else:
            if reduction > 1:
                image.draft("RGB", (image.width // reduction, image.height // reduction))
            reasons, pixels = _plain(image)
    pixels = _upright(pixels, turn)
    pixels.setflags(write=False)
    return reasons, pixels


def _jpeg(data: bytes, image: Image.Image, reduction: int) -> Pixels | None:
    """Return the pixels of a whole JPEG in RGB; None for any other, which Pillow then explains.

    The pixels are Pillow's own, in two thirds of its time.
    """
    if image.format not in ("JPEG", "MPO") or image.mode != "RGB":
        return None
    flags = AT_REDUCTION[reduction] | cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    try:
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    except cv2.error:
        return None
    size = (-(-image.height // reduction), -(-image.width // reduction), 3)
    return pixels if pixels is not None and pixels.shape == size else None


def _plain(image: Image.Image) -> tuple[tuple[str, ...], Pixels]:
    """Return reasons and RGB pixels, 8 bit, of an image of any mode."""
    mode = image.mode
    if mode == "CMYK":
        raise PhotoError("the photo is in printing colours (CMYK); save it as an RGB JPEG")
    grey = mode in ("1", "L", "LA", "I", "F", "La") or mode.startswith("I;16")
    if mode.startswith("I") or mode == "F":
        image = Image.new("L", image.size)
    if image.has_transparency_data:
        _refuse_transparent(image.convert("RGBA"))
    rgb = image if image.mode == "RGB" else image.convert("RGB")
    return (("no_colour",) if grey else ()), np.asarray(rgb)


def _refuse_transparent(image: Image.Image) -> None:
    if np.asarray(image.getchannel("A")).min() < 255:
        raise PhotoError(
            "the picture has transparent parts, so it is no plain photo; "
            "give the photo as the camera saved it"
        )


def _is_deep_png(data: bytes) -> bool:
    """Say whether this is a PNG with 16 bits and colour, which Pillow would cut to 8 bits."""
    return data[:8] == b"\x89PNG\r\n\x1a\n" and data[24:25] == b"\x10" and data[25:26] in b"\2\6"


def _deep(data: bytes) -> tuple[tuple[str, ...], Pixels]:
    """Return the 16-bit pixels of a PNG."""
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if pixels is None or pixels.ndim != 3:
        raise PhotoError("the photo is cut off or damaged; copy it again from the phone")
    if pixels.shape[2] == 4 and pixels[:, :, 3].min() < 65535:
        raise PhotoError(
            "the picture has transparent parts, so it is no plain photo; "
            "give the photo as the camera saved it"
        )
    return (), np.ascontiguousarray(pixels[:, :, 2::-1])


def _upright(pixels: Pixels, orientation: int) -> Pixels:
    swap, flip = TURNS[orientation]
    if swap and flip == 1:
        return cv2.transpose(cv2.flip(pixels, 0))  # the same, but whole rows are flipped
    if swap:
        pixels = cv2.transpose(pixels)
    return pixels if flip is None else cv2.flip(pixels, flip)


def _shrunk(pixels: Pixels, factor: int) -> Pixels:
    """Return the mean over blocks of factor x factor; what does not fill a block is left out."""
    height, width = (max(n // factor, 1) for n in pixels.shape[:2])
    whole = pixels[: height * factor, : width * factor]
    small = cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA)
    small.flags.writeable = False
    return small


def _clipped(pixels: Pixels) -> float:
    """Return the share of pixels, one of sixteen looked at, with a channel at the top."""
    some = np.ascontiguousarray(pixels[::4, ::4])
    below = int(np.iinfo(pixels.dtype).max) - 1
    kept = cv2.countNonZero(cv2.inRange(some, (0, 0, 0), (below,) * 3))
    return float(1.0 - kept / (some.shape[0] * some.shape[1]))


@dataclass(frozen=True)
class _Exif:
    orientation: int
    taken_at: datetime | None
    flash: bool | None


def _exif(image: Image.Image) -> _Exif:
    """Return what the camera wrote; a broken EXIF block counts as none."""
    try:
        tags = image.getexif()
        main, inner = dict(tags), dict(tags.get_ifd(0x8769))
    except Exception:  # any parser fault, the picture itself may be whole
        return _Exif(1, None, None)
    turn, flash = main.get(ORIENTATION), inner.get(FLASH)
    return _Exif(
        orientation=turn if isinstance(turn, int) and turn in TURNS else 1,
        taken_at=_moment(inner.get(TAKEN), inner.get(OFFSET)),
        flash=bool(flash & 1) if isinstance(flash, int) else None,
    )


def _moment(text: object, offset: object) -> datetime | None:
    """Return EXIF's `2025:06:01 09:00:00` with its offset such as `+02:00`, if any."""
    digits = re.match(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d:\d\d)", str(text))
    if digits is None:
        return None
    year, month, day, clock = digits.groups()
    zone = str(offset).strip("\0 ") if re.match(r"[+-]\d\d:\d\d", str(offset)) else ""
    try:
        return datetime.fromisoformat(f"{year}-{month}-{day}T{clock}{zone[:6]}")
    except ValueError:
        return None
