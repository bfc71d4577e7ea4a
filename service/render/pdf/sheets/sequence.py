"""Sheet 2 on paper: one line a step, squares to tick under each bearing, holds framed; then the pictures."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from service.render.pdf.fonts import latin, width_of
from service.render.pdf.sheets.head import TOP, footed, headed
from service.render.pdf.sheets.page import (
    BOX_HEIGHT,
    BOX_WIDTH,
    FINE,
    HEAVY,
    MM,
    NUMBER,
    SMALL,
    Page,
    broken,
    cut,
    length,
    runs,
)
from service.render.pictures.drawing import Box
from service.render.sheets.content import Head, Line, Phase
from service.render.sheets.content import Sequence as Content
from service.render.sheets.pictures import StepPicture

TICK: Final = 3.9 * MM
PITCH: Final = 5.15 * MM
WORDS: Final = 10.5
PHASE: Final = 22 * MM
NUMBERED: Final = 9 * MM
HOLD: Final = 17.5 * MM
PICTURES: Final = 12 * MM
HEADS: Final = 11.4 * MM
CAUTION: Final = 3.75 * MM
PHASE_LINE: Final = 0.9 * MM
GRID: Final = (2, 5)


@dataclass(frozen=True, slots=True)
class _Columns:
    """Where the columns of the sequence stand."""

    tick: float
    ticks: tuple[tuple[str, str, float], ...]
    pictures: float
    words: float
    hold: float

    @classmethod
    def of(cls, positions: Sequence[tuple[str, str]], pictured: bool) -> "_Columns":
        """Return the columns for the bearings of a shaft; ticks as wide as there is room for."""
        wide = {1: 22 * MM, 2: 14 * MM}.get(len(positions), max(9.0 * MM, 39 * MM / max(1, len(positions))))
        hold = BOX_WIDTH - HOLD
        tick = hold - wide * len(positions)
        ticks = tuple((name, role, tick + wide * (n + 0.5)) for n, (name, role) in enumerate(positions))
        return cls(tick, ticks, tick - (PICTURES if pictured else 0.0), PHASE + NUMBERED, hold)


def pages_needed(content: Content) -> list[list[Phase]]:
    """Return the phases on each page, broken between phases where all find no room on one."""
    room = BOX_HEIGHT - TOP - HEADS - 5.6 * MM
    pages: list[list[Phase]] = [[]]
    used = 0.0
    for phase in content.phases:
        high = PITCH * sum(_rows(line) for line in phase.lines)
        if used + high > room and pages[-1]:
            pages.append([])
            used = 0.0
        pages[-1].append(phase)
        used += high
    return pages


def _rows(line: Line) -> int:
    return 1 if len(line.words) <= 72 else 2


def sequence_pages(head: Head, content: Content, *, where: str, number: int, count: int) -> Iterator[Page]:
    """Yield sheet 2; ``where`` says where its pictures are."""
    steps = sum(len(phase.lines) for phase in content.phases)
    holds = sum(line.hold is not None for phase in content.phases for line in phase.lines)
    parts = pages_needed(content)
    for n, phases in enumerate(parts):
        page = headed(head, "SHEET 2: THE SEQUENCE", number + n, count)
        y = _table(page, content, phases)
        if n == len(parts) - 1:
            _cautions(page, content.cautions, y + 1.2 * MM)
        footed(page, f"pic = picture on {where}. Long text: phone or annex.", f"{steps} steps, {holds} holds")
        yield page


def _table(page: Page, content: Content, phases: Sequence[Phase]) -> float:
    pictured = any(line.pictures for phase in content.phases for line in phase.lines)
    at = _Columns.of(content.positions, pictured)
    base = TOP + HEADS - 2 * MM
    page.text(PHASE, base, "One line a step. Framed = hold: sign on sheet 1, then go on.", SMALL, bold=True)
    if pictured:
        page.text(at.pictures + PICTURES / 2, base, "pic", SMALL, bold=True, anchor="middle")
    wide = (at.hold - at.tick) / max(1, len(at.ticks))
    for name, role, x in at.ticks:
        lines = _named(name, wide - 0.6 * MM)
        for n, said in enumerate(reversed(lines)):
            page.words(x, base - (n + 1) * 3.5 * MM, ((said, SMALL, True),), "middle")
        page.words(x, base, ((role if role != "OPEN" else "?", SMALL, True),), "middle")
    y = TOP + HEADS - 0.4 * MM
    for phase in phases:
        y = _phase(page, phase, at, y)
    page.line(0, y, BOX_WIDTH, y, PHASE_LINE)
    return y


def _named(name: str, room: float) -> list[str]:
    """Return a name in two lines at most, each cut only where a single word is too wide."""
    lines: list[str] = []
    for word in latin(name).split():
        wider = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(wider, SMALL, True) <= room:
            lines[-1] = wider
        elif len(lines) < 2:
            lines.append(word)
    return [cut(each, room, SMALL, bold=True) for each in lines]


def _phase(page: Page, phase: Phase, at: _Columns, y: float) -> float:
    page.line(0, y, BOX_WIDTH, y, PHASE_LINE)
    page.fitted(0, y + 4.1 * MM, phase.title, PHASE - 1 * MM, 10.0)
    if phase.note:
        page.text(0, y + 8.2 * MM, phase.note, SMALL)
    for number, line in enumerate(phase.lines):
        high = PITCH * _rows(line)
        if number:
            page.line(PHASE, y, BOX_WIDTH, y, FINE)
        _step(page, line, at, y, high)
        y += high
    return y


def _step(page: Page, line: Line, at: _Columns, y: float, high: float) -> None:
    base = y + PITCH / 2 + 1.25 * MM
    marked = line.hold is not None or line.stop
    page.words(at.words - 1.6 * MM, base, ((str(line.number), NUMBER, True),), "end")
    room = at.pictures - at.words - 1.2 * MM
    left = at.words + (parts_mark(page, at.words, base) if line.stop else 0.0)
    size = WORDS
    while size > NUMBER and length(runs(line.words, size, bold=marked)) > room - (left - at.words) and high == PITCH:
        size -= 0.25
    lines = [runs(line.words, size, bold=marked)]
    if length(lines[0]) > room:
        lines = list(broken(line.words, room - (left - at.words), SMALL, bold=marked))
    for n, each in enumerate(lines[:2]):
        lower = (n - 0.5) * 3.4 * MM if len(lines) > 1 and high == PITCH else n * PITCH
        page.words(left, base + lower * (0.62 if high == PITCH else 1.0), each)
    if line.pictures:
        said = ", ".join(map(str, line.pictures))
        page.fitted(at.pictures + PICTURES / 2, base, said, PICTURES - 0.8 * MM, NUMBER, anchor="middle")
    _ticks(page, line, at, y + PITCH / 2 - TICK / 2)
    if marked:
        page.box(PHASE, y, at.pictures - PHASE, high, HEAVY * (1.45 if line.stop else 1.0))
    if line.hold is not None:
        page.hold(BOX_WIDTH, y + PITCH / 2, line.hold)
    elif line.stop:
        page.words(BOX_WIDTH, base, (("STOP", 11.0, True),), "end")


def parts_mark(page: Page, x: float, base: float) -> float:
    """Draw the square of a STOP before its words; return the room that it takes."""
    side = 3 * MM
    page.add(Box(x, base - side + 0.2 * MM, side, side, "black", 0.0))
    return side + 1.2 * MM


def _ticks(page: Page, line: Line, at: _Columns, y: float) -> None:
    if not line.ticks:
        wide = 2.6 * TICK if len(at.ticks) % 2 and len(at.ticks) > 1 else TICK  # not taken for that of the middle one
        page.box((at.tick + at.hold - wide) / 2, y, wide, TICK)
        return
    for name, _, x in at.ticks:
        if name in line.ticks:
            page.box(x - TICK / 2, y, TICK, TICK)


def _cautions(page: Page, cautions: Sequence[str], y: float) -> None:
    """Write the cautions of the phases in two columns, as many as find room above the foot."""
    wide = (BOX_WIDTH - 4 * MM) / 2
    end = BOX_HEIGHT - 6.5 * MM
    x, base = 0.0, y + 3.2 * MM
    for each in cautions:
        lines = list(broken(each, wide - 3.4 * MM, SMALL, bold=True))
        if base + CAUTION * (len(lines) - 1) > end:
            if x > 0:
                return
            x, base = wide + 4 * MM, y + 3.2 * MM
        if base + CAUTION * (len(lines) - 1) > end:
            return
        page.words(x, base, (("!", SMALL, True),))
        for said in lines:
            page.words(x + 3.2 * MM, base, said)
            base += CAUTION
        base += 0.3 * MM


def picture_pages(head: Head, pictures: Sequence[StepPicture], foot: str, *, number: int, count: int) -> Iterator[Page]:
    """Yield the pictures of sheet 2, ten on a page, each with its number and what it shows."""
    many = GRID[0] * GRID[1]
    for n in range(0, len(pictures), many):
        page = headed(head, "SHEET 2: PICTURES", number + n // many, count)
        _grid(page, pictures[n : n + many], n + 1)
        footed(page, f"Not to scale. {foot.partition('. ')[0]}.")
        yield page


def picture_count(pictures: Sequence[StepPicture]) -> int:
    """Return how many pages the pictures take."""
    return -(-len(pictures) // (GRID[0] * GRID[1]))


def _grid(page: Page, pictures: Sequence[StepPicture], first: int) -> None:
    wide = BOX_WIDTH / GRID[0]
    top = TOP - 1.3 * MM
    rows = -(-len(pictures) // GRID[0])
    high = (BOX_HEIGHT - 5 * MM - top) / GRID[1]
    for n, each in enumerate(pictures):
        row, column = divmod(n, GRID[0])
        x, y = column * wide, top + row * high
        _pictured(page, each, first + n, x, y, wide, high)
    for row in range(1, rows + 1):
        page.line(0, top + row * high, BOX_WIDTH, top + row * high, FINE)
    page.line(wide, top, wide, top + rows * high, FINE)


def _pictured(page: Page, each: StepPicture, number: int, x: float, y: float, wide: float, high: float) -> None:
    drawn = 62 * MM
    page.picture(each.drawing, x + 0.6 * MM, y + (high - drawn * each.drawing.height / 440) / 2, drawn)
    left = x + drawn + 2 * MM
    room = wide - drawn - 2.6 * MM
    words = list(broken(each.note, room, NUMBER))
    title = list(broken(each.title, room - 6 * MM, 11.0, bold=True))
    base = y + high / 2 - (len(words) + len(title)) * 2.1 * MM + 2 * MM
    page.circled(left + 2.4 * MM, base - 1.2 * MM, number)
    for each_line in title:
        page.words(left + 6 * MM, base, each_line)
        base += 4.6 * MM
    for said in words:
        page.words(left, base + 0.4 * MM, said)
        base += 4.0 * MM
