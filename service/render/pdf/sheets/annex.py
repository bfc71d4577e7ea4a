"""The annex on paper: two columns of 10 pt, as many pages as it takes, nothing to sign."""

from collections.abc import Iterable, Iterator
from typing import Final

from service.render.card.plain_text import cleaned
from service.render.pdf.sheets.head import TOP, footed, headed
from service.render.pdf.sheets.page import BOX_HEIGHT, BOX_WIDTH, FINE, MM, Page, Run, length, runs
from service.render.present import text
from service.render.sheets.annex import Piece
from service.render.sheets.content import Head
from service.words import UnitSystem

SIZE: Final = 10.0
LINE: Final = 4.15 * MM
BETWEEN: Final = 6 * MM
WIDE: Final = (BOX_WIDTH - BETWEEN) / 2
END: Final = BOX_HEIGHT - 6 * MM
SIZES: Final = {"title": 12.5, "phase": 11.0}
BEFORE: Final = {"title": 3 * MM, "phase": 2 * MM, "step": 1.1 * MM, "words": 0.0, "row": 0.0}
Set = tuple[float, tuple[tuple[Run, ...], ...], bool]
"""Room before a piece, its lines, whether a line is drawn below it."""


def annex_columns(pieces: Iterable[Piece], units: UnitSystem) -> list[list[Set]]:
    """Return the pieces set into columns; a heading is never the last of its column."""
    columns: list[list[Set]] = [[]]
    y = TOP
    waiting: list[Set] = []
    for piece in pieces:
        waiting.append(_set(piece, units))
        if piece.kind in SIZES:
            continue
        wanted = sum(before + LINE * len(lines) for before, lines, _ in waiting)
        if y + wanted > END and columns[-1]:
            columns.append([])
            y = TOP
        columns[-1] += waiting
        y += wanted
        waiting = []
    columns[-1] += waiting
    return columns


def annex_pages(
    head: Head,
    columns: list[list[Set]],
    foot: str,
    *,
    number: int,
    count: int,
    title: str = "ANNEX",
    right: str = "read it, sign on sheet 1",
) -> Iterator[Page]:
    """Yield pages of two columns: those of the annex, or of what has the same look under a title of its own."""
    for n in range(0, len(columns), 2):
        page = headed(head, title, number + n // 2, count)
        for side, column in enumerate(columns[n : n + 2]):
            _column(page, column, side * (WIDE + BETWEEN))
        page.line(WIDE + BETWEEN / 2, TOP, WIDE + BETWEEN / 2, END, FINE)
        footed(page, foot, right)
        yield page


def annex_count(columns: list[list[Set]]) -> int:
    """Return how many pages the columns take."""
    return -(-len(columns) // 2)


def _set(piece: Piece, units: UnitSystem) -> Set:
    text_said = cleaned(text(piece.text, units), ascii_only=False)
    if piece.kind in SIZES:
        lines = tuple(_lines(((text_said, True),), WIDE, SIZES[piece.kind]))
        return BEFORE[piece.kind], lines, piece.kind == "title"
    lead = cleaned(piece.lead, ascii_only=False)
    said = ((lead, True), (text_said, False)) if lead else ((text_said, False),)
    return BEFORE[piece.kind], tuple(_lines(said, WIDE, SIZE)), False


def _lines(said: Iterable[tuple[str, bool]], room: float, size: float) -> Iterator[tuple[Run, ...]]:
    """Yield the lines of words of two weights; a word that is longer than a line is cut where it must be."""
    line: list[Run] = []
    used = 0.0
    for written, bold in said:
        for word in written.split():
            for piece in _pieces(word, room, size, bold=bold):
                measured = runs(f"{' ' if line else ''}{piece}", size, bold=bold)
                if line and used + length(measured) > room:
                    yield tuple(line)
                    line, used = [], 0.0
                    measured = runs(piece, size, bold=bold)
                line += measured
                used += length(measured)
    if line:
        yield tuple(line)


def _pieces(word: str, room: float, size: float, *, bold: bool) -> Iterator[str]:
    while length(runs(word, size, bold=bold)) > room:
        count = next(
            n for n in range(len(word) - 1, 0, -1) if n == 1 or length(runs(word[:n], size, bold=bold)) <= room
        )
        yield word[:count]
        word = word[count:]
    yield word


def _column(page: Page, column: list[Set], x: float) -> None:
    y = TOP
    for n, (before, lines, ruled) in enumerate(column):
        y += before if n else 0.0
        for line in lines:
            y += LINE
            page.words(x, y - 1 * MM, line)
        if ruled:
            page.line(x, y, x + WIDE, y, 0.6 * MM)
