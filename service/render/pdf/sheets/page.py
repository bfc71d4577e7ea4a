"""One page of a sheet: a box of 188 x 257 mm, filled with marks in points; y runs down from the top of the box."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

from service.render.pdf.fonts import latin, width_of
from service.render.pdf.sheet import moved
from service.render.pictures.drawing import WIDTH as UNITS
from service.render.pictures.drawing import Anchor, Box, Circle, Drawing, Line, Mark, Words

MM: Final = 72 / 25.4
BOX_WIDTH: Final = 188 * MM
BOX_HEIGHT: Final = 257 * MM
SMALL: Final = 9.0
NUMBER: Final = 9.5
"""Size of words, and of the smallest number: what a copy of a copy keeps."""
FRAME: Final = 1.1 * MM
HEAVY: Final = 0.75 * MM
OUTLINE: Final = 0.45 * MM
FINE: Final = 0.25 * MM
CELL: Final = (4.6 * MM, 5.8 * MM)
SMALL_CELL: Final = (4.2 * MM, 4.5 * MM)
LEADING: Final = 1.16
Run = tuple[str, float, bool]
"""Words, their size and boldness."""
_NUMBERS: Final = re.compile(r"(\S*\d\S*)")


@lru_cache(maxsize=8192)
def runs(text: str, size: float = SMALL, *, bold: bool = False) -> tuple[Run, ...]:
    """Return a text whose numbers are bold and large enough for a bad copy."""
    pieces = _NUMBERS.split(latin(text))
    found: list[Run] = []
    for number, piece in enumerate(pieces):
        if piece:
            found.append((piece, max(size, NUMBER), True) if number % 2 else (piece, size, bold))
    return tuple(found)


def length(of: Sequence[Run]) -> float:
    """Return the width of words."""
    return sum([width_of(text, size, bold) for text, size, bold in of])


def cut(name: str, room: float, size: float, *, bold: bool) -> str:
    """Return a name as long as there is room for, three points where it goes on."""
    if width_of(name, size, bold) <= room:
        return name
    kept = name
    while len(kept) > 1 and width_of(f"{kept.rstrip()}\u2026", size, bold) > room:
        kept = kept[:-1]
    return f"{kept.rstrip()}\u2026"


@dataclass
class Page:
    """Marks on one page, from the upper left corner of its box."""

    marks: list[Mark] = field(default_factory=list)

    def add(self, *marks: Mark) -> None:
        """Put marks as they are."""
        self.marks.extend(marks)

    def line(self, x1: float, y1: float, x2: float, y2: float, width: float = FINE) -> None:
        """Draw a straight line."""
        self.add(Line((x1, y1), (x2, y2), width))

    def box(self, x: float, y: float, width: float, height: float, stroke: float = OUTLINE) -> None:
        """Draw a rectangle; the line lies inside the given room."""
        half = stroke / 2
        self.add(Box(x + half, y + half, width - stroke, height - stroke, stroke=stroke))

    def words(self, x: float, y: float, said: Sequence[Run], anchor: Anchor = "start") -> float:
        """Write words on a baseline; return where they end."""
        x -= {"start": 0.0, "middle": length(said) / 2, "end": length(said)}[anchor]
        for text, size, bold in said:
            shown = text.strip()
            if shown:  # without blanks at its ends, which SVG drops
                lead = text[: len(text) - len(text.lstrip())]
                self.add(Words(x + width_of(lead, size, bold), y, shown, size, bold))
            x += width_of(text, size, bold)
        return x

    def text(
        self, x: float, y: float, text: str, size: float = SMALL, *, bold: bool = False, anchor: Anchor = "start"
    ) -> float:
        """Write a text on a baseline, its numbers bold; return where it ends."""
        return self.words(x, y, runs(text, size, bold=bold), anchor)

    def fitted(
        self, x: float, y: float, text: str, room: float, size: float, *, bold: bool = True, anchor: Anchor = "start"
    ) -> None:
        """Write a name in one line: smaller, down to the size of numbers, and cut only where even that is too wide."""
        said = latin(text)
        while size > NUMBER and width_of(said, size, bold) > room:
            size -= 0.5
        self.words(x, y, ((cut(said, room, size, bold=bold), size, bold),), anchor)

    def wrapped(
        self,
        x: float,
        y: float,
        text: str,
        room: float,
        size: float = SMALL,
        *,
        bold: bool = False,
        leading: float = LEADING,
    ) -> float:
        """Write a text in lines, the first on this baseline; return the baseline after the last."""
        for said in broken(text, room, size, bold=bold):
            self.words(x, y, said)
            y += size * leading
        return y

    def cells(self, x: float, y: float, pattern: str, *, cell: tuple[float, float] = CELL) -> float:
        """Draw a blank: what is printed of the number, and a cell for each digit; ``y`` is its foot."""
        wide, high = cell
        size = 11.0 if high > 5 * MM else 10.0
        for char in pattern:
            if char == "_":
                self.box(x, y - high, wide + FINE, high, 0.35 * MM)
                x += wide
            else:
                x += 0.9 if char == "." and pattern[0] == "_" else 0.0
                self.words(x, y - high * 0.24, ((char, size, True),))
                x += width_of(char, size, True) + (0.6 if char == "." else 0.2)
        return x + FINE

    def hold(self, right: float, y: float, number: int) -> float:
        """Draw the tag of a hold with its right edge given, centred on ``y``; return its left edge."""
        said = ((f"HOLD {number}", NUMBER, True),)
        wide = length(said) + 2.4 * MM
        self.box(right - wide, y - 2.2 * MM, wide, 4.4 * MM, HEAVY)
        self.words(right - wide / 2, y + 1.2 * MM, said, "middle")
        return right - wide

    def circled(self, x: float, y: float, number: int) -> None:
        """Write a number in a circle whose centre is given."""
        self.add(Circle((x, y), 2.3 * MM, stroke=0.4 * MM))
        self.words(x, y + 3.3, ((str(number), NUMBER, True),), "middle")

    def picture(self, drawing: Drawing, x: float, y: float, width: float) -> float:
        """Draw a picture, its upper left corner and width given; return its height."""
        scale = width / UNITS
        self.add(*(moved(mark, x, y, scale) for mark in drawing.marks))
        return drawing.height * scale


def broken(text: str, room: float, size: float = SMALL, *, bold: bool = False) -> Iterator[tuple[Run, ...]]:
    """Yield the lines of a text that fit into a room; a word longer than a line stands alone and is cut."""
    line: tuple[Run, ...] = ()
    said = ""
    for word in text.split(" "):
        wider = f"{said} {word}" if said else word
        measured = runs(wider, size, bold=bold)
        if length(measured) <= room:
            said, line = wider, measured
            continue
        if said:
            yield line
        said, line = word, runs(word, size, bold=bold)
        while length(line) > room and len(said) > 1:
            count = next(
                n for n in range(len(said) - 1, 0, -1) if n == 1 or length(runs(said[:n], size, bold=bold)) <= room
            )
            yield runs(said[:count], size, bold=bold)
            said = said[count:]
            line = runs(said, size, bold=bold)
    if said:
        yield line
