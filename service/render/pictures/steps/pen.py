"""What the drawings of steps are made of: three line weights, curves, arrows, words of one size.

A drawing is 440 units wide and is printed 62 mm wide, so that a unit is 0.14 mm: heavy 0.85 mm for the part that
counts, outline 0.45 mm, thin 0.28 mm for what stands behind and for leaders, words 9.6 pt: what a bad photocopy keeps.
"""

from collections.abc import Iterable, Iterator, Sequence
from math import cos, hypot, pi, radians, sin
from typing import Final

from service.render.pictures.drawing import Anchor, Box, Circle, Drawing, Line, Mark, Path, Point, Words

HEIGHT: Final = 320.0
HEAVY: Final = 6.0
OUTLINE: Final = 3.2
THIN: Final = 2.0
SIZE: Final = 24.0
LARGE: Final = 27.0
BROKEN: Final = "6 6"
CENTRE_LINE: Final = "20 6 4 6"


def blank(title: str, *said: str) -> Drawing:
    """Return an empty drawing with its title and what it says to those who cannot see it."""
    return Drawing(title, described=[each for each in said if each], height=HEIGHT)


def words(
    x: float, y: float, text: str, *, bold: bool = False, anchor: Anchor = "start", size: float = SIZE, part: str = ""
) -> Words:
    """Return words of a drawing on their baseline."""
    return Words(x, y, text, size, bold, anchor, part=part)


def line(x1: float, y1: float, x2: float, y2: float, width: float = OUTLINE, dash: str = "") -> Line:
    """Return a straight line."""
    return Line((x1, y1), (x2, y2), width, dash)


def box(
    x: float, y: float, width: float, height: float, stroke: float = OUTLINE, fill: str = "white", part: str = ""
) -> Box:
    """Return a rectangle, white unless it is said."""
    return Box(x, y, width, height, fill, stroke, part=part)


def circle(x: float, y: float, radius: float, stroke: float = OUTLINE, fill: str = "white") -> Circle:
    """Return a circle, white unless it is said."""
    return Circle((x, y), radius, fill, stroke)


def outline(points: Iterable[Point], width: float = OUTLINE, fill: str = "white", part: str = "") -> Path:
    """Return a closed outline."""
    return Path(tuple(points), width, fill, closed=True, part=part)


def curve(points: Iterable[Point], width: float = OUTLINE, part: str = "") -> Path:
    """Return an open line through points."""
    return Path(tuple(points), width, part=part)


def arc(x: float, y: float, radius: float, start_deg: float, end_deg: float, flat: float = 1.0) -> Iterator[Point]:
    """Yield points along an arc, angles clockwise from the right; ``flat`` is height over width."""
    count = max(4, int(abs(end_deg - start_deg) / 7.5))
    for step in range(count + 1):
        angle = radians(start_deg + (end_deg - start_deg) * step / count)
        yield x + radius * cos(angle), y + radius * flat * sin(angle)


def bow(start: Point, middle: Point, end: Point) -> Iterator[Point]:
    """Yield points along a curve that leaves towards ``middle`` and comes from there to its end."""
    for step in range(9):
        t = step / 8
        yield tuple(  # type: ignore[misc]
            (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t * t * c for a, b, c in zip(start, middle, end, strict=True)
        )


def pointer(
    x1: float, y1: float, x2: float, y2: float, width: float = OUTLINE, *, most: float = 14.0
) -> tuple[Mark, ...]:
    """Return an arrow in any direction, its head at the second point and at most so long."""
    length = hypot(x2 - x1, y2 - y1) or 1.0
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    head = min(18.0 if width >= HEAVY else most, length)
    half = head * 0.42
    bx, by = x2 - ux * head, y2 - uy * head
    tip = outline(((x2, y2), (bx - uy * half, by + ux * half), (bx + uy * half, by - ux * half)), 1.0, "black")
    stem = (Line((x1, y1), (bx + ux * 2, by + uy * 2), width),) if length > head else ()
    return (*stem, tip)


def cross(x: float, y: float, half: float) -> tuple[Line, Line]:
    """Return a heavy cross: not here."""
    return line(x - half, y - half, x + half, y + half, HEAVY), line(x - half, y + half, x + half, y - half, HEAVY)


def tooth(x: float, y: float, turn_deg: float, inner: float, outer: float, half_deg: float) -> tuple[Point, ...]:
    """Return the corners of a tab or slot on a circle."""
    at = radians(turn_deg)
    half = half_deg * pi / 180
    corners = ((inner, -half), (outer, -half * 0.85), (outer, half * 0.85), (inner, half))
    return tuple((x + r * cos(at + t), y + r * sin(at + t)) for r, t in corners)


def lines_of(
    x: float, y: float, texts: Sequence[str], *, anchor: Anchor = "start", bold: bool = False
) -> tuple[Words, ...]:
    """Return words on lines below each other."""
    return tuple(words(x, y + 27 * n, text, anchor=anchor, bold=bold) for n, text in enumerate(texts))
