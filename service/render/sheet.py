"""Pages of paper filled from top to bottom with marks: lines of text, boxes, pictures; nothing is cut at an edge.

Lengths are in points (1/72 in), y runs down from the top of the page.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from service.render.drawing import Box, Circle, Drawing, Line, Mark, Shape, Words

MARGIN: Final = 40.0
BOTTOM: Final = 52.0
LEADING: Final = 1.25
Measure = Callable[[str, float, bool], float]
"""From text, size and boldness to its width."""
Run = tuple[str, bool]
"""Words and whether they are bold; a no-break space binds."""


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
    pages: list[list[Mark]] = field(default_factory=lambda: [[]])
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
            self.pages[-1] += [moved(mark, MARGIN, self.y) for mark in band.marks]
            self.y += band.height
        self._frame(block.frame, top)

    def _turn(self) -> None:
        self.pages.append([])
        self.y = MARGIN

    def _frame(self, frame: str, top: float) -> None:
        if not frame or self.y <= top:
            return
        width, height = self.column, self.y - top
        if frame == "bar":
            self.pages[-1].append(Box(MARGIN, top, 4.5, height, fill="black", stroke=0.0))
            return
        stroke = {"box": 0.8, "thick": 2.2, "double": 1.2}[frame]
        self.pages[-1].append(Box(MARGIN, top, width, height, stroke=stroke))
        if frame == "double":
            self.pages[-1].append(Box(MARGIN + 2.6, top + 2.6, width - 5.2, height - 5.2, stroke=stroke))


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
    x, room = 0.0, right - left
    for word, bold, glued in _words(runs):
        wide = measure(word, size, bold)
        blank = 0.0 if glued or not lines[-1] else measure(" ", size, bold)
        if lines[-1] and x + blank + wide > room:
            lines.append([])
            x, blank, room = 0.0, 0.0, right - left - hanging
        for piece in _pieces(word, bold, room, size, measure):
            if piece is not word and lines[-1]:
                lines.append([])
                x, blank, room = 0.0, 0.0, right - left - hanging
            lines[-1].append((piece if not blank else f" {piece}", bold))
            x += blank + (wide if piece is word else measure(piece, size, bold))
            blank = 0.0
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
    """Yield a word whole, or in pieces where it is longer than a line."""
    if measure(word, size, bold) <= room:
        yield word
        return
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
    from service.render.drawing import WIDTH

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
