"""Rows of values, labels, blanks, choices and rules: how wide each is, and how a row is set into its room."""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Final

from service.render.pdf.fonts import latin, width_of
from service.render.pdf.sheets.page import CELL, MM, SMALL, SMALL_CELL, Page, broken, length, runs
from service.render.pictures.drawing import Box as BoxMark
from service.render.sheets.content import Choice, Label, Part, Rule, Value
from service.render.sheets.figures import Blank

SIZES: Final = {"large": 15.0, "medium": 13.0, "small": 11.0}
SQUARE: Final = 3.4 * MM
LEAST_RULE: Final = 15 * MM
GAP: Final = 1.5 * MM
SLIP: Final = 0.01
LOW: Final = 4.9 * MM
MARK: Final = 3.2 * MM
"""Side of the black square that stands for STOP: not larger, it would smear."""


@lru_cache(maxsize=8192)
def width(part: Part) -> float:
    """Return the least room that a part takes."""
    match part:
        case Value():
            return width_of(latin(part.text), SIZES[part.size], True) + (MARK + 1 * MM if _is_stop(part) else 0.0)
        case Label():
            return length(runs(part.text, SMALL, bold=part.bold))
        case Choice():
            return sum(SQUARE + 0.8 * MM + length(runs(each)) for each in part.words) + 1.6 * MM * (len(part.words) - 1)
        case Rule():
            return (length(runs(part.label)) + 1 * MM if part.label else 0.0) + LEAST_RULE * part.share
        case Blank():
            return _label(part) + _cells(part) + (length(runs(part.unit)) + 0.7 * MM if part.unit else 0.0)


def _is_stop(value: Value) -> bool:
    return value.text.startswith("STOP")


def _label(blank: Blank) -> float:
    return length(runs(blank.label)) + 0.9 * MM if blank.label else 0.0


def _cell(blank: Blank) -> tuple[float, float]:
    return SMALL_CELL if blank.small else CELL


def _cells(blank: Blank) -> float:
    chars = [
        _cell(blank)[0] if char == "_" else width_of(char, 11.0, True) + (0.6 if char == "." else 0.2)
        for char in blank.pattern
    ]
    return sum(chars) + 0.7


def fitting(rows: Sequence[Sequence[Part]], room: float) -> Iterator[list[Part]]:
    """Yield rows that fit; what is too wide goes on below, a label with what it belongs to."""
    for row in rows:
        line: list[Part] = []
        for part in row:
            if line and _total([*line, part]) > room + SLIP:
                carried = [line.pop()] if isinstance(line[-1], Label) and len(line) > 1 else []
                yield line
                line = carried
            line.append(part)
        if line:
            yield line


def _total(row: Sequence[Part]) -> float:
    return sum(map(width, row)) + GAP * (len(row) - 1)


def height(row: Sequence[Part], room: float) -> float:
    """Return the height of a row that fits."""
    blanks = [_cell(each)[1] for each in row if isinstance(each, Blank)]
    if blanks:
        return max(blanks) + 0.6 * MM
    if len(row) == 1 and isinstance(row[0], Label | Value) and width(row[0]) > room + SLIP:
        size = SMALL if isinstance(row[0], Label) else SIZES[row[0].size]
        return 1.2 * MM + size * 1.16 * len(list(broken(row[0].text, room, size, bold=True)))
    sizes = [SIZES[each.size] for each in row if isinstance(each, Value)]
    return max([LOW, *(size * 1.12 for size in sizes)])


def draw(page: Page, row: Sequence[Part], x: float, y: float, room: float) -> None:
    """Draw a row whose foot is at ``y``: first part at the left, last at the right, rules as wide as they can."""
    if len(row) == 1 and isinstance(row[0], Label | Value) and width(row[0]) > room + SLIP:
        size = SMALL if isinstance(row[0], Label) else SIZES[row[0].size]
        top = y - height(row, room)
        page.wrapped(x, top + size * 1.05, row[0].text, room, size, bold=isinstance(row[0], Value) or row[0].bold)
        return
    slack = max(0.0, room - _total(row))
    rules = sum(each.share for each in row if isinstance(each, Rule))
    opened = [n for n in range(1, len(row)) if not isinstance(row[n - 1], Label)]
    base = y - max([_cell(each)[1] * 0.24 for each in row if isinstance(each, Blank)] or [1.1 * MM])
    for number, part in enumerate(row):
        if number:
            x += GAP + (slack / len(opened) if number in opened and not rules else 0.0)
        wide = width(part) + (slack * part.share / rules if isinstance(part, Rule) and rules else 0.0)
        _draw(page, part, x, base, y, wide)
        x += wide


def _draw(page: Page, part: Part, x: float, base: float, y: float, wide: float) -> None:
    match part:
        case Value():
            if _is_stop(part):
                page.add(BoxMark(x, base - MARK, MARK, MARK, "black", 0.0))
                x += MARK + 1 * MM
            page.words(x, base, ((latin(part.text), SIZES[part.size], True),))
        case Label():
            page.text(x, base, part.text, bold=part.bold)
        case Choice():
            for each in part.words:
                page.box(x, base - SQUARE + 0.5 * MM, SQUARE, SQUARE, 0.4 * MM)
                x = page.text(x + SQUARE + 0.8 * MM, base, each) + 1.6 * MM
        case Rule():
            start = page.text(x, base, part.label) + 1 * MM if part.label else x
            page.line(start, base + 0.9 * MM, x + wide, base + 0.9 * MM, 0.35 * MM)
        case Blank():
            if part.label:
                x = page.text(x, base, part.label) + 0.9 * MM
            x = page.cells(x, y - 0.4 * MM, part.pattern, cell=_cell(part))
            if part.unit:
                page.text(x + 0.5 * MM, base, part.unit)
