"""Blank the place where a photo was taken, in the file itself, before it is hashed and kept.

Only bytes of the position are overwritten, length and pixels stay: GPS values in EXIF (JPEG,
PNG, HEIC) and in XMP. EXIF whose lists cannot be followed is blanked whole, to be safe.
"""

from __future__ import annotations

import re
import struct
import zlib

GPS_POINTER = 0x8825
GPS_FIELDS = 32
"""More fields than EXIF 2.32 knows of; a longer list is a damaged one."""
SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
EXIF_MARK = b"Exif\x00\x00"
TIFF_MARK = re.compile(rb"Exif\x00\x00(?=II\*\x00|MM\x00\*)")
XMP_GPS = re.compile(rb"""(exif:GPS\w+\s*=\s*["'])([^"']*)|(<exif:GPS\w+[^>]*>)([^<]*)""")


class BrokenExifError(Exception):
    """EXIF whose lists lead out of it."""


def blank_position(data: bytes) -> bytes:
    """Return the same file without the position."""
    image = bytearray(data)
    for found in TIFF_MARK.finditer(data):
        _blank(image, found.end(), len(image))
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        _blank_png(image)
    return XMP_GPS.sub(_spaces, bytes(image))


def _spaces(found: re.Match[bytes]) -> bytes:
    head, value = (found[1], found[2]) if found[1] is not None else (found[3], found[4])
    return head + b" " * len(value)


def _blank(image: bytearray, start: int, end: int) -> None:
    """Blank the position in the TIFF block that starts here; lose its fields when it is broken."""
    try:
        _blank_gps(image, start, end)
    except (BrokenExifError, struct.error):
        image[start : start + 8] = bytes(8)  # no TIFF any more: nobody finds a position in it
        stop = _segment_end(image, start) or min(end, start + 8)
        image[start:stop] = bytes(stop - start)


def _segment_end(image: bytearray, start: int) -> int | None:
    """Return where the JPEG segment that holds this EXIF ends, or None when it is no JPEG."""
    segment = start - len(EXIF_MARK) - 4
    if segment < 0 or image[segment : segment + 2] != b"\xff\xe1":
        return None
    length: int = struct.unpack_from(">H", image, segment + 2)[0]
    return min(len(image), segment + 2 + length)


def _blank_gps(image: bytearray, start: int, end: int) -> None:
    order = "<" if image[start : start + 2] == b"II" else ">"

    def number(kind: str, at: int) -> int:
        if not start <= at <= end - struct.calcsize(kind):
            raise BrokenExifError
        value: int = struct.unpack_from(order + kind, image, at)[0]
        return value

    def fields(at: int) -> list[int]:
        count = number("H", at)
        if count > 512:
            raise BrokenExifError
        return [at + 2 + 12 * i for i in range(count)]

    first = start + number("I", start + 4)
    for field in fields(first):
        if number("H", field) == GPS_POINTER:
            for gps in fields(start + number("I", field + 8))[:GPS_FIELDS]:
                size = SIZES.get(number("H", gps + 2), 1) * number("I", gps + 4)
                at = gps + 8 if size <= 4 else start + number("I", gps + 8)
                if at < start or at + size > end or size > 4096:
                    raise BrokenExifError
                image[at : at + size] = bytes(size)


def _blank_png(image: bytearray) -> None:
    """Blank the position in a PNG's eXIf chunk, and correct the chunk's check sum."""
    at = 8
    while at + 12 <= len(image):
        length = struct.unpack_from(">I", image, at)[0]
        if at + 12 + length > len(image):
            return
        if image[at + 4 : at + 8] == b"eXIf":
            _blank(image, at + 8, at + 8 + length)
            check = zlib.crc32(image[at + 4 : at + 8 + length])
            struct.pack_into(">I", image, at + 8 + length, check)
        at += 12 + length
