"""A few SVG elements, so that pictures read as what they draw."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

INK = "#26302f"
FAINT = "#d9dfdc"
QUIET = "#66726f"
GROUND = "#fbfcfb"
ALARM = "#b3261e"
FONT = "font-family='system-ui, -apple-system, Segoe UI, Roboto, sans-serif'"

Point = tuple[float, float]


def page(width: float, height: float, title: str, parts: Sequence[str]) -> str:
    """Return a whole SVG that scales to the width it is given; `title` is read out aloud."""
    head = (
        f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {width:g} {height:g}' "
        f"width='100%' role='img' aria-label='{escape(title, quote=True)}' {FONT}>"
    )
    ground = f"<rect width='{width:g}' height='{height:g}' fill='{GROUND}'/>"
    return "\n".join([head, f"<title>{escape(title)}</title>", ground, *parts, "</svg>\n"])


def text(
    at: Point,
    words: str,
    size: float = 12,
    anchor: str = "middle",
    colour: str = INK,
    bold: bool = False,
    halo: bool = False,
) -> str:
    """Return words at a point, with a pale halo where they cross lines."""
    weight = " font-weight='600'" if bold else ""
    rim = f" stroke='{GROUND}' stroke-width='3' paint-order='stroke'" if halo else ""
    return (
        f"<text x='{at[0]:.1f}' y='{at[1]:.1f}' font-size='{size:g}' text-anchor='{anchor}' "
        f"fill='{colour}'{weight}{rim}>{escape(words)}</text>"
    )


def line(start: Point, end: Point, colour: str = FAINT, width: float = 1, dashes: str = "") -> str:
    """Return a straight line."""
    dashed = f" stroke-dasharray='{dashes}'" if dashes else ""
    return (
        f"<line x1='{start[0]:.1f}' y1='{start[1]:.1f}' x2='{end[0]:.1f}' y2='{end[1]:.1f}' "
        f"stroke='{colour}' stroke-width='{width:g}' stroke-linecap='round'{dashed}/>"
    )


def polyline(points: Sequence[Point], colour: str, width: float = 1, dashes: str = "") -> str:
    """Return a broken line."""
    dashed = f" stroke-dasharray='{dashes}'" if dashes else ""
    way = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return (
        f"<polyline points='{way}' fill='none' stroke='{colour}' stroke-width='{width:g}' "
        f"stroke-linejoin='round' stroke-linecap='round'{dashed}/>"
    )


def polygon(
    points: Sequence[Point],
    fill: str = "none",
    stroke: str = INK,
    width: float = 1,
    opacity: float = 1,
) -> str:
    """Return a closed shape."""
    way = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return (
        f"<polygon points='{way}' fill='{fill}' fill-opacity='{opacity:g}' stroke='{stroke}' "
        f"stroke-width='{width:g}'/>"
    )


def swatch(centre: Point, colour: str, side: float = 18) -> str:
    """Return a block of the chart in its own colour, rimmed so that it shows on any ground."""
    x, y = centre[0] - side / 2, centre[1] - side / 2
    return (
        f"<rect x='{x:.1f}' y='{y:.1f}' width='{side:g}' height='{side:g}' rx='4' "
        f"fill='{colour}' stroke='#fff' stroke-width='3' paint-order='stroke'/>"
        f"<rect x='{x:.1f}' y='{y:.1f}' width='{side:g}' height='{side:g}' rx='4' "
        f"fill='none' stroke='{INK}' stroke-width='1'/>"
    )


def dot(centre: Point, colour: str, radius: float = 4, rim: str = "#fff") -> str:
    """Return a round mark."""
    return (
        f"<circle cx='{centre[0]:.1f}' cy='{centre[1]:.1f}' r='{radius:g}' fill='{colour}' "
        f"stroke='{rim}' stroke-width='1.5'/>"
    )
