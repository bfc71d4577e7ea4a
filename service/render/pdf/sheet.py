"""Pages of paper filled from top to bottom with marks: lines of text, boxes, pictures; nothing is cut at an edge.

Lengths are in points (1/72 in), y runs down from the top of the page.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from service.render.pictures.drawing import WIDTH, Box, Circle, Drawing, Line, Mark, Shape, Words

MARGIN: Final = 40.0
BOTTOM: Final = 52.0
LEADING: Final = 1.25
Measure = Callable[[str, float, bool], float]
"""From text, size and boldness to its width."""
Run = tuple[str, bool]
"""Words and whether they are bold; a no-break space binds."""


Placed = tuple[float, float, tuple[Mark, ...]]
"""Marks and where their origin lies on the page: x, y."""


@dataclass(frozen=True, slots=True)
class Band:
    """A strip across the column that is never divided: its height and its marks, y from its top, x from the left."""

    height: float
    marks: tuple[Mark, ...] = ()


@dataclass
class Block:
    """Bands that stay on one page where a page can hold them, with a frame drawn around each part of them.

    Parameters
    ----------
    frame : str
        ``""``, ``box`` (thin), ``thick``, ``double`` or ``bar`` (a thick line at the left).
    """

    bands: list[Band]
    frame: str = ""
    before: float = 0.0

    @property
    def height(self) -> float:
        """Return the height of all bands."""
        return sum(band.height for band in self.bands)


@dataclass
class Sheets:
    """Pages as they are filled."""

    width: float
    height: float
    pages: list[list[Placed]] = field(default_factory=lambda: [[]])
    y: float = MARGIN

    @property
    def column(self) -> float:
        """Return the width between the margins."""
        return self.width - 2 * MARGIN

    @property
    def _end(self) -> float:
        return self.height - BOTTOM

    def put(self, block: Block, *, with_next: float = 0.0) -> None:
        """Put a block below what is there, on a new page where it or ``with_next`` more does not fit."""
        if self.y > MARGIN:
            self.y += block.before
        wanted = block.height + with_next
        if self.y + wanted > self._end and self.y > MARGIN and wanted <= self._end - MARGIN:
            self._turn()
        top = self.y
        for band in block.bands:
            if self.y + band.height > self._end and self.y > MARGIN:
                self._frame(block.frame, top)
                self._turn()
                top = self.y
            if band.marks:
                self.pages[-1].append((MARGIN, self.y, band.marks))
            self.y += band.height
        self._frame(block.frame, top)

    def _turn(self) -> None:
        self.pages.append([])
        self.y = MARGIN

    def _frame(self, frame: str, top: float) -> None:
        if not frame or self.y <= top:
            return
        width, height = self.column, self.y - top
        stroke = {"box": 0.8, "thick": 2.2, "double": 1.2, "bar": 0.0}[frame]
        marks: tuple[Mark, ...] = (Box(0, 0, width, height, stroke=stroke),)
        if frame == "bar":
            marks = (Box(0, 0, 4.5, height, fill="black", stroke=0.0),)
        if frame == "double":
            marks += (Box(2.6, 2.6, width - 5.2, height - 5.2, stroke=stroke),)
        self.pages[-1].append((MARGIN, top, marks))


def text_bands(
    runs: Sequence[Run],
    *,
    measure: Measure,
    left: float,
    right: float,
    size: float,
    hanging: float = 0.0,
    marks: tuple[Mark, ...] = (),
) -> list[Band]:
    """Return a text broken into lines between ``left`` and ``right``.

    Parameters
    ----------
    hanging : float
        How far the lines after the first are moved in.
    marks : tuple of Mark
        Further marks of the first line.
    """
    lines: list[list[Run]] = [[]]
    blanks = {bold: measure(" ", size, bold) for bold in (False, True)}
    x, room = 0.0, right - left
    for word, bold, glued in _words(runs):
        wide = measure(word, size, bold)
        line = lines[-1]
        blank = 0.0 if glued or not line else blanks[bold]
        if line and x + blank + wide > room:
            line, x, blank, room = [], 0.0, 0.0, right - left - hanging
            lines.append(line)
        if wide <= room:
            line.append((f" {word}" if blank else word, bold))
            x += blank + wide
            continue
        for n, piece in enumerate(_pieces(word, bold, right - left - hanging, size, measure)):
            if n:
                lines.append([])
            lines[-1].append((piece, bold))
            x, room = measure(piece, size, bold), right - left - hanging
    return [
        _band(line, left + (hanging if n else 0.0), size, measure, marks if n == 0 else ())
        for n, line in enumerate(lines)
    ]


def _words(runs: Sequence[Run]) -> Iterable[tuple[str, bool, bool]]:
    """Yield (word, bold, whether it is glued to the one before): runs may meet inside a word."""
    ended = True
    for text, bold in runs:
        for n, word in enumerate(text.split(" ")):
            if n:
                ended = True
            if word:
                yield word, bold, not ended
                ended = False


def _pieces(word: str, bold: bool, room: float, size: float, measure: Measure) -> Iterable[str]:
    """Yield the pieces of a word that is longer than a line."""
    while word:
        count = len(word)
        while count > 1 and measure(word[:count], size, bold) > room:
            count -= 1
        yield word[:count]
        word = word[count:]


def _band(line: Sequence[Run], x: float, size: float, measure: Measure, marks: tuple[Mark, ...]) -> Band:
    words: list[Mark] = []
    together: list[Run] = []
    for text, bold in line:
        if together and together[-1][1] == bold:
            together[-1] = (together[-1][0] + text, bold)
        else:
            together.append((text, bold))
    for text, bold in together:
        words.append(Words(x, size, text, size, bold))
        x += measure(text, size, bold)
    return Band(size * LEADING, (*marks, *words))


def beside(left: Sequence[Band], picture: Drawing, *, x: float, width: float) -> Band:
    """Return bands with a picture at their right, as one band."""
    marks: list[Mark] = []
    y = 0.0
    for band in left:
        marks += [moved(mark, 0.0, y) for mark in band.marks]
        y += band.height
    drawn = pictured(picture, x=x, width=width)
    return Band(max(y, drawn.height), (*marks, *drawn.marks))


def pictured(picture: Drawing, *, x: float, width: float) -> Band:
    """Return a picture as a band, scaled to a width."""
    scale = width / WIDTH
    return Band(picture.height * scale, tuple(moved(mark, x, 0.0, scale) for mark in picture.marks))


def moved(mark: Mark, dx: float, dy: float, scale: float = 1.0) -> Mark:
    """Return a mark scaled and then moved."""

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return point[0] * scale + dx, point[1] * scale + dy

    match mark:
        case Line():
            return Line(at(mark.start), at(mark.end), mark.width * scale, _dashed(mark.dash, scale))
        case Box():
            x, y = at((mark.x, mark.y))
            width, height = mark.width * scale, mark.height * scale
            return Box(x, y, width, height, mark.fill, mark.stroke * scale, _dashed(mark.dash, scale))
        case Shape():
            return Shape(tuple(at(point) for point in mark.points), mark.fill)
        case Circle():
            return Circle(at(mark.centre), mark.radius * scale, mark.fill, mark.stroke * scale)
        case Words():
            x, y = at((mark.x, mark.y))
            return Words(x, y, mark.text, mark.size * scale, mark.bold, mark.anchor, mark.fill)


def _dashed(dash: str, scale: float) -> str:
    if not dash or scale == 1.0:
        return dash
    return " ".join(f"{float(part) * scale:.2f}" for part in dash.replace(",", " ").split())
