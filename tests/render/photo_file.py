"""From code values to the file a phone writes: JPEG, PNG or HEIC with EXIF and colour profile."""

from __future__ import annotations

import io
import struct
from datetime import datetime
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.render.camera import adaptation
from tests.render.spectra import colour

TURNS = {1: 0, 6: 1, 3: 2, 8: 3}
"""EXIF orientation to quarter turns (counter-clockwise) from the upright to the stored picture."""


def s15(values: NDArray[np.float64]) -> bytes:
    """ICC s15Fixed16 numbers."""
    return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in np.ravel(values))


@cache
def display_p3_profile() -> bytes:
    """A matrix profile of Display P3 by ICC.1:2010, written from its primaries."""
    space = colour.RGB_COLOURSPACES["Display P3"]
    d50 = np.array([0.9642, 1.0, 0.8249])
    to_d50 = adaptation(colour.xy_to_XYZ(space.whitepoint), d50) @ space.matrix_RGB_to_XYZ
    curve = b"para\0\0\0\0\0\3\0\0" + s15(
        np.array([2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045])
    )
    text = b"Display P3"
    described = b"desc\0\0\0\0" + struct.pack(">I", len(text) + 1) + text + b"\0" + bytes(78)
    tags = {
        b"desc": described,
        b"cprt": b"text\0\0\0\0no rights kept\0",
        b"wtpt": b"XYZ \0\0\0\0" + s15(d50),
        b"rXYZ": b"XYZ \0\0\0\0" + s15(to_d50[:, 0]),
        b"gXYZ": b"XYZ \0\0\0\0" + s15(to_d50[:, 1]),
        b"bXYZ": b"XYZ \0\0\0\0" + s15(to_d50[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    table, body, at = b"", b"", 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        padded = data + bytes(-len(data) % 4)
        table += name + struct.pack(">II", at + len(body), len(data))
        body += padded
    size = at + len(body)
    head = struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + s15(d50)
    return head + bytes(128 - len(head)) + struct.pack(">I", len(tags)) + table + body


def exif_of(orientation: int, taken_at: datetime | None) -> Image.Exif:
    """EXIF with orientation and the time of the photo."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    if taken_at is not None:
        text = taken_at.strftime("%Y:%m:%d %H:%M:%S")
        offset = taken_at.strftime("%z")
        inner = exif.get_ifd(0x8769)
        inner[0x9003] = text
        inner[0x9011] = f"{offset[:3]}:{offset[3:]}" if offset else "+00:00"
        exif[0x0132] = text
    return exif


def as_file(
    pixels: NDArray[np.uint8],
    form: str,
    quality: int,
    space: str,
    orientation: int = 1,
    taken_at: datetime | None = None,
) -> bytes:
    """Return the bytes of `jpeg`, `png` or `heic`; pixels upright, (h, w, 3)."""
    if form == "heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
        orientation = 1
    pixels = np.ascontiguousarray(np.rot90(pixels, TURNS[orientation]))
    picture = Image.fromarray(pixels)
    options: dict[str, object] = {"exif": exif_of(orientation, taken_at).tobytes()}
    if space == "Display P3":
        options["icc_profile"] = display_p3_profile()
    if form == "jpeg":
        options |= {"quality": quality, "subsampling": "4:2:0"}
    if form == "heic":
        options |= {"quality": min(quality, 80)}
    out = io.BytesIO()
    picture.save(out, {"jpeg": "JPEG", "png": "PNG", "heic": "HEIF"}[form], **options)
    return out.getvalue()
