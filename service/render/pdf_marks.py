"""Marks as the drawing operators of PDF (ISO 32000-1, clauses 8 and 9); y is turned to run upwards."""

from collections.abc import Mapping
from typing import Final

from service.render.drawing import Box, Circle, Line, Mark, Point, Shape, Words

ARC: Final = 0.5523  # control points of a quarter circle, in radii
_ESCAPED: Final = {
    **{code: f"\\{code:03o}" for code in (*range(32), *range(127, 256))},
    **{ord(char): f"\\{char}" for char in "\\()"},
}
NO_FILL: Final = "none"


def operators(mark: Mark, *, height: float, fonts: Mapping[bool, str]) -> str:
    """Return what draws a mark on a page of this height; texts hold letters of code page 1252 only.

    Parameters
    ----------
    fonts : mapping of bool to str
        The names that the page has for its plain and its bold font.
    """
    match mark:
        case Words():
            shade = "1 g " if mark.fill == "white" else "0 g "
            size = f"/{fonts[mark.bold]} {_number(mark.size)} Tf"
            return f"{shade}BT {size} {_at((mark.x, mark.y), height)} Td ({_text(mark.text)}) Tj ET"
        case Line():
            ends = f"{_at(mark.start, height)} m {_at(mark.end, height)} l"
            return f"{_pen(mark.width, mark.dash)} {ends} S"
        case Box():
            corner = _at((mark.x, mark.y + mark.height), height)
            size = f"{_number(mark.width)} {_number(mark.height)}"
            return f"{_pen(mark.stroke, mark.dash)} {corner} {size} re {_painted(mark.fill, mark.stroke)}"
        case Shape():
            first, *others = (_at(point, height) for point in mark.points)
            path = " ".join([f"{first} m", *(f"{point} l" for point in others)])
            return f"{_pen(0.5, '')} {path} h {_painted(mark.fill, 0.5)}"
        case Circle():
            return f"{_pen(mark.stroke, '')} {_circle(mark, height)} h {_painted(mark.fill, mark.stroke)}"


def _circle(circle: Circle, height: float) -> str:
    (x, y), r, k = circle.centre, circle.radius, circle.radius * ARC
    quarters = (
        ((x + r, y + k), (x + k, y + r), (x, y + r)),
        ((x - k, y + r), (x - r, y + k), (x - r, y)),
        ((x - r, y - k), (x - k, y - r), (x, y - r)),
        ((x + k, y - r), (x + r, y - k), (x + r, y)),
    )
    curves = (" ".join(_at(point, height) for point in quarter) + " c" for quarter in quarters)
    return f"{_at((x + r, y), height)} m {' '.join(curves)}"


def _painted(fill: str, stroke: float) -> str:
    """Return the operators that fill and stroke a path."""
    if fill == NO_FILL:
        return "S" if stroke > 0 else "n"
    return f"{'1' if fill == 'white' else '0'} g {'B' if stroke > 0 else 'f'}"


def _pen(width: float, dash: str) -> str:
    return f"{_number(width)} w [{dash.replace(',', ' ')}] 0 d"


def _text(text: str) -> str:
    return text.encode("cp1252", "replace").decode("latin-1").translate(_ESCAPED)


def _at(point: Point, height: float) -> str:
    return f"{_number(point[0])} {_number(height - point[1])}"


def _number(value: float) -> str:
    return f"{value:.2f}"
