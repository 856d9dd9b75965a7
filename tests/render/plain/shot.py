"""A plain photo of a flat sheet: one homography, a lens, a phone's processing, a file."""

from __future__ import annotations

import io
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from tests.render import ground
from tests.render.camera import adaptation
from tests.render.photo_file import TURNS, display_p3_profile, exif_of, s15
from tests.render.plain.sheet import ASIDE_MM, Sheet, drawn
from tests.render.pose import stand
from tests.render.scene import streak
from tests.render.spectra import Array, colour

Picture = NDArray[np.float32]

GROUND_SCALE = 6.0
"""Pixels a millimetre of the ground's field."""
GROUNDS = {
    "desk": ("plastic", (0.55, 0.54, 0.52), (0.62, 0.61, 0.60)),
    "white": ("plastic", (0.80, 0.80, 0.80), (0.86, 0.86, 0.86)),
    "wood": ("wood", (0.10, 0.06, 0.03), (0.45, 0.30, 0.17)),
    "cloth": ("cloth", (0.40, 0.03, 0.04), (0.80, 0.78, 0.76)),
    "towel": ("towel", (0.10, 0.20, 0.35), (0.55, 0.65, 0.75)),
    "granite": ("stone", (0.004, 0.004, 0.005), (0.05, 0.05, 0.055)),
    "tiles": ("tiles", (0.15, 0.15, 0.15), (0.75, 0.74, 0.70)),
}


@dataclass(frozen=True)
class Shot:
    """How a sheet is photographed and kept."""

    size_px: tuple[int, int] = (2048, 1536)
    fill: float = 0.85
    tilt_deg: float = 8.0
    towards_deg: float = 30.0
    turn_deg: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)
    ground: str = "wood"
    wet: int = 0
    """Drops on the ground that mirror the sky."""
    level: float = 0.75
    """Linear value of the paper's white."""
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    slope: float = 0.1
    """How much the light falls over the frame."""
    bow: float = 0.0
    fringe: float = 0.0
    """Relative difference in size of the red and blue pictures."""
    vignette: float = 0.15
    blur_px: float = 0.7
    noise: float = 0.004
    denoise: bool = False
    shaken_px: tuple[float, float] = (0.0, 0.0)
    beat: tuple[float, float, float] | None = None
    """A display's pattern: period [px], direction [deg] and strength."""
    hdr: float = 0.0
    """Exponent of local tone mapping."""
    contrast: float = 0.0
    sharpen: float = 0.4
    space: str = "sRGB"
    profile: bool = True
    form: str = "jpeg"
    """jpeg, png, png16, webp, tiff, heic, grey."""
    quality: int = 90
    sampling: str = "4:2:0"
    orientation: int = 1


def homography(sheet: Sheet, shot: Shot) -> Array:
    """From card mm to photo px."""
    where = stand(
        shot.size_px, sheet.card.size_mm, shot.tilt_deg, shot.towards_deg, shot.turn_deg,
        shot.fill, shot.shift, 0.0, 0.0,
    )  # fmt: skip
    return where.homography


def photographed(sheet: Sheet, shot: Shot, seed: int) -> Picture:
    """Code values 0 to 1 (h, w, 3), upright."""
    rng = np.random.default_rng([seed, 5])
    plane = homography(sheet, shot)
    scene = on_ground(sheet, shot, plane, rng)
    height, width = scene.shape[:2]
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    u, v = (x - (width - 1) / 2) / width, (y - (height - 1) / 2) / height
    light = 1 - shot.slope * (0.6 * u + 0.8 * v + 0.5) - shot.vignette * (u**2 + v**2) * 2
    scene *= (light * np.float32(shot.level))[..., None] * np.float32(shot.cast)
    if shot.bow or shot.fringe:
        scene = through_lens(scene, shot, x, y)
    if shot.blur_px:
        scene = cv2.GaussianBlur(scene, (0, 0), shot.blur_px)
    if any(shot.shaken_px):
        scene = cv2.filter2D(scene, -1, streak(*shot.shaken_px))
    if shot.beat is not None:
        period, turn, strength = shot.beat
        way = 2 * np.pi / period * (x * np.cos(np.radians(turn)) + y * np.sin(np.radians(turn)))
        scene *= np.stack([1 + strength * np.sin(way + k) for k in (0, 2.1, 4.2)], axis=2)
    scene += rng.standard_normal(scene.shape, np.float32) * (
        shot.noise * np.sqrt(np.clip(scene, 0.002, 1))
    )
    return developed(np.clip(scene, 0, 1), shot)


def on_ground(sheet: Sheet, shot: Shot, plane: Array, rng: np.random.Generator) -> Picture:
    """The linear scene under even light."""
    kind, dark, bright = GROUNDS[shot.ground]
    field = ground.PAINT[kind](rng)
    to_ground = np.diag([1 / GROUND_SCALE, 1 / GROUND_SCALE, 1.0])
    under = cv2.warpPerspective(
        field, plane @ to_ground, shot.size_px, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP
    )
    scene = np.float32(dark) + under[..., None] * (np.float32(bright) - np.float32(dark))
    for _ in range(shot.wet):
        spot = tuple(int(v) for v in rng.uniform((0, 0), shot.size_px))
        axes = tuple(int(v) for v in rng.uniform(0.004, 0.03, 2) * shot.size_px[0])
        cv2.ellipse(scene, spot, axes, float(rng.uniform(0, 180)), 0, 360, (0.9, 0.93, 1.0), -1)
    scale = float(np.clip(1.4 * np.sqrt(abs(np.linalg.det(jacobian(plane, sheet)))), 6, 40))
    rgb, there = drawn(sheet, scale, shot.space)
    corner = np.array([[1, 0, -ASIDE_MM], [0, 1, -ASIDE_MM], [0, 0, 1.0]])
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
    move = plane @ corner @ np.diag([1 / scale, 1 / scale, 1.0]) @ half
    card = cv2.warpPerspective(rgb * there[..., None], move, shot.size_px)
    seen = cv2.warpPerspective(there, move, shot.size_px)[..., None]
    return scene * (1 - seen) + card


def jacobian(plane: Array, sheet: Sheet) -> Array:
    """Derivative (2, 2) of the place in the photo in the middle of the card."""
    x, y = np.array(sheet.card.size_mm) / 2
    places = np.array([[[x, y], [x + 1, y], [x, y + 1]]])
    ends = cv2.perspectiveTransform(places, plane)[0]
    return np.stack([ends[1] - ends[0], ends[2] - ends[0]], axis=1)


def through_lens(scene: Picture, shot: Shot, x: Picture, y: Picture) -> Picture:
    """Bow and colour fringes."""
    height, width = scene.shape[:2]
    cx, cy = (width - 1) / 2, (height - 1) / 2
    r2 = ((x - cx) ** 2 + (y - cy) ** 2) / np.float32((width**2 + height**2) / 4)
    layers = []
    for channel, side in enumerate((1, 0, -1)):
        grow = (1 - shot.bow * r2 * (1 - shot.bow * r2)) * np.float32(1 + side * shot.fringe)
        at = ((x - cx) * grow + cx).astype(np.float32), ((y - cy) * grow + cy).astype(np.float32)
        plane = np.ascontiguousarray(scene[..., channel])
        layers.append(cv2.remap(plane, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    return np.stack(layers, axis=2)


def developed(scene: Picture, shot: Shot) -> Picture:
    """Tone mapping, the space's curve, contrast, denoising, sharpening."""
    if shot.hdr:
        grey = np.log(np.maximum(scene.mean(axis=2), 1e-3))
        around = cv2.GaussianBlur(grey, (0, 0), 0.04 * scene.shape[1])
        scene = scene * np.exp(-shot.hdr * (around - np.quantile(around, 0.8)))[..., None]
    # Adobe RGB (1998) has a plain power of 563/256, the others sRGB's curve.
    code = np.clip(scene, 0, 1)
    if shot.space.startswith("Adobe"):
        code = code ** np.float32(256 / 563)
    else:
        code = np.where(code <= 0.0031308, 12.92 * code, 1.055 * code ** (1 / 2.4) - 0.055)
    code = (code - shot.contrast * np.sin(2 * np.pi * code) / (2 * np.pi)).astype(np.float32)
    if shot.denoise:
        code = cv2.bilateralFilter(code, 7, 0.08, 4)
    if shot.sharpen:
        code = code + shot.sharpen * (code - cv2.GaussianBlur(code, (0, 0), 1.5))
    return np.clip(code, 0, 1)


def adobe_profile() -> bytes:
    """A matrix profile of Adobe RGB (1998), made from that of Display P3."""
    space = colour.RGB_COLOURSPACES["Adobe RGB (1998)"]
    d50 = np.array([0.9642, 1.0, 0.8249])
    to_d50 = adaptation(colour.xy_to_XYZ(space.whitepoint), d50) @ space.matrix_RGB_to_XYZ
    data = bytearray(display_p3_profile())
    count = int.from_bytes(data[128:132], "big")
    for i in range(count):
        entry = data[132 + 12 * i : 144 + 12 * i]
        start = int.from_bytes(entry[4:8], "big")
        name = bytes(entry[:4])
        if name in (b"rXYZ", b"gXYZ", b"bXYZ"):
            column = "rgb".index(chr(name[0]))
            data[start + 8 : start + 20] = s15(to_d50[:, column])
        if name.endswith(b"TRC"):
            data[start : start + 32] = (
                b"para\0\0\0\0\0\0\0\0" + s15(np.array([563 / 256])) + bytes(16)
            )
    return bytes(data)


def profile_of(shot: Shot) -> bytes | None:
    """The ICC profile to write."""
    if not shot.profile:
        return None
    if shot.space == "Display P3":
        return display_p3_profile()
    if shot.space.startswith("Adobe"):
        return adobe_profile()
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    # Its header holds the time of making; the same photo shall have the same bytes.
    return made[:24] + display_p3_profile()[24:36] + made[36:]


def as_file(code: Picture, shot: Shot) -> bytes:
    """The photo's file."""
    code = np.ascontiguousarray(np.rot90(code, TURNS[shot.orientation]))
    if shot.form == "png16":
        ok, data = cv2.imencode(".png", np.round(code[..., ::-1] * 65535).astype(np.uint16))
        assert ok
        return data.tobytes()
    picture = Image.fromarray(np.round(code * 255).astype(np.uint8))
    if shot.form == "grey":
        picture = picture.convert("L")
    options: dict[str, object] = {}
    if shot.orientation != 1:
        options["exif"] = exif_of(shot.orientation, None).tobytes()
    icc = profile_of(shot)
    if icc:
        options["icc_profile"] = icc
    if shot.form == "jpeg":
        options |= {"quality": shot.quality, "subsampling": shot.sampling}
    if shot.form == "heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
        options |= {"quality": 70}
    if shot.form == "webp":
        options |= {"quality": shot.quality}
    names = {"jpeg": "JPEG", "heic": "HEIF", "webp": "WEBP", "tiff": "TIFF"}
    out = io.BytesIO()
    picture.save(out, names.get(shot.form, "PNG"), **options)
    return out.getvalue()
