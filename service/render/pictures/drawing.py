"""A picture as a list of marks: lines, boxes, shapes and words, black on white, and how much room words take.

Pictures are drawn as marks and written by ``render.pictures.svg``. Nothing here knows what is drawn. Lengths are in
units of the picture; a picture is ``WIDTH`` wide, so that it can be read on a phone and printed on paper.
"""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final, Literal

WIDTH: Final = 440.0
MARGIN: Final = 14.0
Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

_WIDTHS: Final = (  # in 1/100 of the size, not narrower than the wide sans-serif types in use, measured
    (34, " \u00a0'ijlI.,"),
    (43, "/:;|\\ftr()[]-!J"),
    (53, '"*_`sz?'),
    (60, "cLFkvxy"),
    (64, "aoeTPESYbdghnpqu$0123456789{}"),
    (72, "KAVBRXZC"),
    (80, "UHNDG&OQ"),
    (88, "w#+<=>^~M"),
)
_WIDTH_OF: Final = {char: width / 100 for width, chars in _WIDTHS for char in chars}
BOLD_WIDER: Final = 1.15
ASCENT: Final = 0.80
DESCENT: Final = 0.22


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return the room that a text takes at most, [-]."""
    return _ems(text) * size * (BOLD_WIDER if bold else 1.0)


@lru_cache(maxsize=8192)
def _ems(text: str) -> float:
    return sum(map(_char_width, text))


def _char_width(char: str) -> float:
    known = _WIDTH_OF.get(char)
    if known is not None:
        return known
    if char.isascii():
        return 1.0
    if unicodedata.combining(char):
        return 0.0
    return 1.4 if unicodedata.east_asian_width(char) in "WF" or ord(char) > 0xFFFF else 1.0


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line; ``dash`` as in SVG, empty for a full line."""

    start: Point
    end: Point
    width: float = 1.0
    dash: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle with an outline; ``fill`` is black, white or nothing."""

    x: float
    y: float
    width: float
    height: float
    fill: str = "none"
    stroke: float = 1.0
    dash: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True)
class Shape:
    """A closed outline through points."""

    points: tuple[Point, ...]
    fill: str = "black"
    part: str = ""


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle with an outline."""

    centre: Point
    radius: float
    fill: str = "white"
    stroke: float = 1.5
    part: str = ""


@dataclass(frozen=True, slots=True)
class Path:
    """A line through points, open or closed; a closed one may be filled black or white."""

    points: tuple[Point, ...]
    width: float = 1.0
    fill: str = "none"
    closed: bool = False
    dash: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text on its baseline."""

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    anchor: Anchor = "start"
    fill: str = "black"
    part: str = ""

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Return the room of the text: left, top, right, bottom."""
        width = text_width(self.text, self.size, bold=self.bold)
        left = self.x - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        return left, self.y - ASCENT * self.size, left + width, self.y + DESCENT * self.size


Mark = Line | Box | Shape | Circle | Path | Words


@dataclass
class Drawing:
    """Marks one over the other, with a title and a description that say the same in words."""

    title: str
    described: list[str] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    height: float = MARGIN

    def add(self, *marks: Mark) -> None:
        """Put marks over those that are there."""
        self.marks.extend(marks)

    def paragraph(
        self,
        text: str,
        *,
        size: float = 12.0,
        bold: bool = False,
        left: float = MARGIN,
        right: float = WIDTH - MARGIN,
        part: str = "",
    ) -> None:
        """Write a text in lines below all that was written before, and into the description."""
        self.described.append(text)
        for line in wrapped(text, right - left, size, bold=bold):
            self.height += size * 1.3
            self.add(Words(left, self.height - DESCENT * size, line, size, bold, part=part))

    def framed(self, text: str, *, size: float = 13.0, part: str = "") -> None:
        """Write a text inside a thick frame: what must be read first."""
        top = self.height + 6
        self.height = top + 4
        self.paragraph(text, size=size, bold=True, left=MARGIN + 8, right=WIDTH - MARGIN - 8, part=part)
        self.height += 6
        self.add(Box(MARGIN, top, WIDTH - 2 * MARGIN, self.height - top, stroke=2.5, part=part))
        self.height += 4


def wrapped(text: str, room: float, size: float, *, bold: bool = False) -> Iterator[str]:
    """Yield lines that take at most ``room``; only a word that is longer than a line is cut."""
    line = ""
    for word in text.split(" "):
        wider = f"{line} {word}" if line else word
        if text_width(wider, size, bold=bold) <= room:
            line = wider
            continue
        if line:
            yield line
        line = word
        while text_width(line, size, bold=bold) > room and len(line) > 1:
            piece = _fitting(line, room, size, bold)
            yield piece
            line = line[len(piece) :]
    if line:
        yield line


def _fitting(word: str, room: float, size: float, bold: bool) -> str:
    """Return as much of a word as fits, one letter at least."""
    count = 1
    while text_width(word[: count + 1], size, bold=bold) <= room:
        count += 1
    return word[:count]


def spread(wanted: Sequence[float], lengths: Sequence[float], low: float, high: float) -> list[float]:
    """Return centres near those wanted, in their order, so that pieces of these lengths do not overlap.

    Parameters
    ----------
    wanted : sequence of float, shape (n,)
        Centres wanted, ascending, [-]
    lengths : sequence of float, shape (n,)
        Length of each piece; together they fit between ``low`` and ``high``, [-]
    """
    blocks: list[tuple[float, float, int]] = []  # start, length, pieces
    for centre, length in zip(wanted, lengths, strict=True):
        start, total, count = centre - length / 2, length, 1
        while blocks and blocks[-1][0] + blocks[-1][1] > start:
            before, before_length, before_count = blocks.pop()
            start = (before * before_count + (start - before_length) * count) / (before_count + count)
            total, count = total + before_length, count + before_count
        blocks.append((start, total, count))
    starts, index = [], 0
    for start, _, count in blocks:
        for length in lengths[index : index + count]:
            starts.append(start)
            start += length
        index += count
    return _held(starts, lengths, low, high)


def _held(starts: Sequence[float], lengths: Sequence[float], low: float, high: float) -> list[float]:
    """Return centres of the pieces, pushed inside the limits and apart."""
    held, edge = [], low
    for start, length in zip(starts, lengths, strict=True):
        held.append(max(start, edge))
        edge = held[-1] + length
    edge = high
    for index in range(len(held) - 1, -1, -1):
        held[index] = min(held[index], edge - lengths[index])
        edge = held[index]
    return [start + length / 2 for start, length in zip(held, lengths, strict=True)]


def arrow(start: Point, end: Point, *, width: float = 2.0, dash: str = "", part: str = "") -> tuple[Mark, ...]:
    """Return an arrow along x or y, its head at ``end``; a head alone where it is short."""
    (x1, y1), (x2, y2) = start, end
    length = abs(x2 - x1) + abs(y2 - y1)
    head = min(9.0, max(1.0, length))
    half = max(2.0, head / 2)
    if abs(x2 - x1) >= abs(y2 - y1):
        back = x2 - head if x2 >= x1 else x2 + head
        stem, points = (back, y2), ((x2, y2), (back, y2 - half), (back, y2 + half))
    else:
        back = y2 - head if y2 >= y1 else y2 + head
        stem, points = (x2, back), ((x2, y2), (x2 - half, back), (x2 + half, back))
    stems = (Line(start, stem, width, dash, part),) if length > head else ()
    return (*stems, Shape(points, part=part))


def hatching(x: float, y: float, width: float, height: float, *, step: float = 6.0) -> Iterator[Line]:
    """Yield thin diagonal lines that fill a rectangle."""
    offset = step
    while offset < width + height:
        left, right = max(0.0, offset - height), min(offset, width)
        yield Line((x + left, y + offset - left), (x + right, y + offset - right), 0.7)
        offset += step
