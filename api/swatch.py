"""A pad's colour on a screen."""

from __future__ import annotations

from collections.abc import Sequence

WHITE_D50 = (0.9642956764, 1.0, 0.8251046025)
"""XYZ of D50 (x 0.3457, y 0.3585) [CSS Color Module Level 4, sample code]."""
TO_LINEAR_SRGB = (
    (3.1341359569958707, -1.6173863321612538, -0.4906619460083532),
    (-0.9787955560196930, 1.9162543773959884, 0.0334427446612423),
    (0.0719576774784270, -0.2289767598158200, 1.4053860351131182),
)
"""XYZ under D50 to linear sRGB, Bradford [from the matrices of CSS Color Module Level 4]."""


def hex_of(lab: Sequence[float]) -> str:
    """Return CIELAB (D50) as the nearest colour an sRGB screen can show."""
    fy = (lab[0] + 16.0) / 116.0
    ratios = [_inverse(f) for f in (fy + lab[1] / 500.0, fy, fy - lab[2] / 200.0)]
    xyz = [ratio * white for ratio, white in zip(ratios, WHITE_D50, strict=True)]
    linear = [sum(part * one for part, one in zip(row, xyz, strict=True)) for row in TO_LINEAR_SRGB]
    return "#" + "".join(f"{_code(one):02x}" for one in linear)


def _inverse(f: float) -> float:
    return f**3 if f > 6.0 / 29.0 else 3.0 * (6.0 / 29.0) ** 2 * (f - 4.0 / 29.0)


def _code(linear: float) -> int:
    one = min(max(linear, 0.0), 1.0)
    encoded = 12.92 * one if one <= 0.0031308 else 1.055 * one ** (1 / 2.4) - 0.055
    return round(255 * encoded)
