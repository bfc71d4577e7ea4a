"""Marks as the drawing operators of PDF (ISO 32000-1, clauses 8 and 9); y is turned to run upwards."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from service.render.pdf.fonts import latin, width_of
from service.render.pictures.drawing import Box, Circle, Line, Mark, Path, Shape, Words

ARC: Final = 0.5523  # control points of a quarter circle, in radii
_ESCAPED: Final = {
    **{code: f"\\{code:03o}" for code in (*range(32), *range(127, 256))},
    **{ord(char): f"\\{char}" for char in "\\()"},
}
NO_FILL: Final = "none"
ROUND: Final = "1 J 1 j"
SQUARE: Final = "0 J 0 j"
"""Ends and joints of lines: rounded along a curve, else as PDF begins with."""


def operators(mark: Mark, *, left: float, top: float, fonts: Mapping[bool, str]) -> str:
    """Return what draws a mark, its origin at ``left`` and at ``top`` above the foot of the page.

    Parameters
    ----------
    fonts : mapping of bool to str
        The names that the page has for its plain and its bold font.
    """
    match mark:
        case Words():
            text, x = _escaped(mark.text), left + mark.x
            if mark.anchor != "start":
                x -= (0.5 if mark.anchor == "middle" else 1.0) * width_of(latin(mark.text), mark.size, mark.bold)
            size = f"/{fonts[mark.bold]} {mark.size:.2f} Tf {x:.2f} {top - mark.y:.2f} Td"
            return f"{'1' if mark.fill == 'white' else '0'} g BT {size} ({text}) Tj ET"
        case Line():
            (x1, y1), (x2, y2) = mark.start, mark.end
            ends = f"{left + x1:.2f} {top - y1:.2f} m {left + x2:.2f} {top - y2:.2f} l"
            return f"{_pen(mark.width, mark.dash)} {ends} S"
        case Box():
            corner = f"{left + mark.x:.2f} {top - mark.y - mark.height:.2f} {mark.width:.2f} {mark.height:.2f}"
            return f"{_pen(mark.stroke, mark.dash)} {corner} re {_painted(mark.fill, mark.stroke)}"
        case Shape():
            first, *others = (f"{left + x:.2f} {top - y:.2f}" for x, y in mark.points)
            path = " ".join([f"{first} m", *(f"{point} l" for point in others)])
            return f"{_pen(0.5, '')} {path} h {_painted(mark.fill, 0.5)}"
        case Circle():
            (x, y), radius = mark.centre, mark.radius
            path = _circle(left + x, top - y, radius)
            return f"{_pen(mark.stroke, '')} {path} h {_painted(mark.fill, mark.stroke)}"
        case Path():
            first, *others = (f"{left + x:.2f} {top - y:.2f}" for x, y in mark.points)
            path = " ".join([f"{first} m", *(f"{point} l" for point in others), *(("h",) if mark.closed else ())])
            return f"{_pen(mark.width, mark.dash)} {ROUND} {path} {_painted(mark.fill, mark.width)} {SQUARE}"


def _circle(x: float, y: float, r: float) -> str:
    k = r * ARC
    quarters = (
        ((x + r, y + k), (x + k, y + r), (x, y + r)),
        ((x - k, y + r), (x - r, y + k), (x - r, y)),
        ((x - r, y - k), (x - k, y - r), (x, y - r)),
        ((x + k, y - r), (x + r, y - k), (x + r, y)),
    )
    curves = [" ".join(f"{px:.2f} {py:.2f}" for px, py in quarter) + " c" for quarter in quarters]
    return f"{x + r:.2f} {y:.2f} m {' '.join(curves)}"


def _painted(fill: str, stroke: float) -> str:
    """Return the operators that fill and stroke a path."""
    if fill == NO_FILL:
        return "S" if stroke > 0 else "n"
    return f"{'1' if fill == 'white' else '0'} g {'B' if stroke > 0 else 'f'}"


def _pen(width: float, dash: str) -> str:
    return f"{width:.2f} w [{dash.replace(',', ' ')}] 0 d"


@lru_cache(maxsize=8192)
def _escaped(text: str) -> str:
    """Return a text as it stands in a string of PDF."""
    known = latin(text.replace("\u00a0", " "))
    return known.encode("cp1252").decode("latin-1").translate(_ESCAPED)
