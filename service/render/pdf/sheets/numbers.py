"""Sheet 1 on paper: stops and questions first, the shaft line, a column for each bearing under its block, the holds."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from service.render.pdf.fonts import latin, width_of
from service.render.pdf.sheets import parts
from service.render.pdf.sheets.head import SIGN_ROW, TOP, footed, headed, sign_rows, signed
from service.render.pdf.sheets.page import BOX_HEIGHT, BOX_WIDTH, FINE, FRAME, MM, NUMBER, SMALL, Page, broken, runs
from service.render.pictures.drawing import WIDTH as UNITS
from service.render.pictures.drawing import Box, Drawing
from service.render.sheets.content import FREE, HELD, Ask, Column, Head, Label, Numbered, Numbers, Part, Stop, Table
from service.render.sheets.figures import Blank

THREE: Final = 21.8 * MM
MOST_STOPS: Final = 3
IN_A_ROW: Final = 2
SPACE: Final = 3 * MM
PAD: Final = 1.4 * MM
LABEL_ROW: Final = 4.9 * MM
ROLE_WORDS: Final = {HELD: "locating", FREE: "must move"}
TABLE_ROW: Final = 4.7 * MM
TIGHT_ROW: Final = 4.1 * MM
MOST_SPACE: Final = 5 * MM
LOUD: Final = 12.0
TABLE_HEAD: Final = 4.0 * MM


def numbers_pages(
    head: Head, content: Numbers, line: Drawing, beside: Sequence[Drawing], *, number: int, count: int
) -> Iterator[Page]:
    """Yield sheet 1: two bearings on a page, all on one where the shaft has no more; else a page with the holds first.

    Parameters
    ----------
    line : Drawing
        The shaft line, its blocks over the columns
    beside : sequence of Drawing
        What is drawn beside a single bearing
    """
    groups = column_groups(content)
    if len(groups) > 1:
        yield _overview(head, content, line, number=number, count=count)
        number += 1
    for n, columns in enumerate(groups):
        page = headed(head, "SHEET 1: THE NUMBERS", number + n, count, code=len(groups) == 1)
        y, foot = TOP, BOX_HEIGHT - 5.2 * MM
        if len(groups) == 1:
            foot = _front(page, content, foot)
            y += THREE + 0.8 * MM
        y += page.picture(line, 0, y, BOX_WIDTH)
        if len(groups) == 1:
            y = _shaft_rows(page, content, y)
        _columns(page, columns, y + 0.8 * MM, foot, beside)
        footed(page, content.foot, "steps: sheet 2")
        yield page


def numbers_count(content: Numbers) -> int:
    """Return how many pages sheet 1 takes."""
    groups = len(column_groups(content))
    return groups + (groups > 1)


def _front(page: Page, content: Numbers, foot: float) -> float:
    """Draw the three boxes at the head and the holds at the foot; return where the room between them ends."""
    _three(page, content, TOP)
    foot -= SIGN_ROW * sign_rows(content.holds)
    signed(page, content.holds, foot)
    return foot - 1.4 * MM


def _overview(head: Head, content: Numbers, line: Drawing, *, number: int, count: int) -> Page:
    """Return the first page of a shaft with many bearings: stops, questions, the shaft line, the holds."""
    page = headed(head, "SHEET 1: THE SHAFT", number, count, code=True)
    foot = _front(page, content, BOX_HEIGHT - 5.2 * MM)
    y = TOP + THREE + 0.8 * MM
    y += page.picture(line, 0, y, BOX_WIDTH)
    y = _shaft_rows(page, content, y)
    if not front_fits(content):
        _settled(page, content, y + 3 * MM, foot)
    footed(page, content.foot, "numbers: next pages")
    return page


def column_groups(content: Numbers) -> list[Sequence[Column]]:
    """Return the columns of each page: of two bearings both under their blocks, else those that have lines."""
    columns = content.columns
    if len(columns) != IN_A_ROW:
        columns = tuple(each for each in columns if each.lines)
    return [columns[n : n + IN_A_ROW] for n in range(0, len(columns), IN_A_ROW)] or [()]


def front_fits(content: Numbers) -> bool:
    """Return whether stops and questions find room at the head of sheet 1; else they take a page before it."""
    return _stops_fit(content) and _asks_fit(content)


def _stops_fit(content: Numbers) -> bool:
    return len(content.stops) <= MOST_STOPS and _stop_lines(content, _third()) * 3.75 * MM <= THREE - 1.6 * MM


def _asks_fit(content: Numbers) -> bool:
    return sum(_ask_height(each, _third()) for each in content.asks) <= THREE - 5.8 * MM


def front_apart(content: Numbers) -> bool:
    """Return whether stops and questions take a page of their own before sheet 1."""
    return not front_fits(content) and len(column_groups(content)) == 1


def front_page(head: Head, content: Numbers, *, number: int, count: int) -> Page:
    """Return the page before sheet 1: everything that must be settled or asked first."""
    page = headed(head, "BEFORE THE WORK", number, count)
    _settled(page, content, TOP + 2 * MM, BOX_HEIGHT - 6 * MM)
    footed(page, content.foot, "numbers: sheet 1")
    return page


def _settled(page: Page, content: Numbers, y: float, end: float) -> None:
    """Draw every stop, and every question with its blank and how it is answered, down to ``end``."""
    for stop in content.stops:
        lines = len(list(broken(stop.said, BOX_WIDTH - 6 * MM, 10.0, bold=True)))
        high = (8.5 + 4.2 * lines) * MM
        if y + high > end:
            break
        page.box(0, y, BOX_WIDTH, high, FRAME)
        _mark(page, 3 * MM, y + 5.6 * MM)
        page.fitted(8 * MM, y + 5.6 * MM, stop.title, BOX_WIDTH - 84 * MM, 12.0)
        page.wrapped(3 * MM, y + 10.4 * MM, stop.said, BOX_WIDTH - 6 * MM, 10.0, bold=True)
        said = page.text(BOX_WIDTH - 74 * MM, y + 5.6 * MM, f"{stop.before}  settled by")
        page.line(said + MM, y + 6.2 * MM, BOX_WIDTH - 3 * MM, y + 6.2 * MM, 0.35 * MM)
        y += high + 2 * MM
    page.text(0, y + 4 * MM, f"ASK FIRST ({len(content.asks)} not known)", 12.0, bold=True)
    y += 6 * MM
    for ask in content.asks:
        high = _asked_height(ask)
        if y + high > end:
            break
        _asked(page, ask, y)
        y += high


def _asked_height(ask: Ask) -> float:
    room = BOX_WIDTH - 5 * MM
    rows = sum(parts.height(each, room) for each in parts.fitting((_ask_row(ask),), room))
    return rows + 4.1 * MM * len(list(broken(ask.how, room, NUMBER))) + 1.6 * MM


def _asked(page: Page, ask: Ask, y: float) -> None:
    room = BOX_WIDTH - 5 * MM
    page.text(0, y + 4.4 * MM, "?", 11.0, bold=True)
    for each in parts.fitting((_ask_row(ask),), room):
        y += parts.height(each, room)
        parts.draw(page, each, 5 * MM, y, room)
    for way in broken(ask.how, room, NUMBER):
        page.words(5 * MM, y + 3.8 * MM, way)
        y += 4.1 * MM
    page.line(0, y + 1.2 * MM, BOX_WIDTH, y + 1.2 * MM, FINE)


def _third() -> float:
    return (BOX_WIDTH - 2 * PAD) / 3


def _mark(page: Page, x: float, base: float) -> None:
    page.add(Box(x, base - parts.MARK, parts.MARK, parts.MARK, "black", 0.0))


def _three(page: Page, content: Numbers, y: float) -> None:
    """Draw the three boxes at the head: stops, questions, cautions."""
    wide = _third()
    page.box(0, y, wide, THREE, FRAME)
    if content.stops and _stops_fit(content):
        _stops(page, content.stops, 2 * MM, y + 0.9 * MM, wide - 4 * MM)
    elif content.stops:
        _mark(page, 2 * MM, y + 5.4 * MM)
        page.text(7 * MM, y + 5.4 * MM, f"{len(content.stops)} STOP", 12.0, bold=True)
        page.wrapped(2 * MM, y + 10 * MM, "Settle the page before this first.", wide - 4 * MM, 10.0, bold=True)
    else:
        _listed(page, "STOP and ask when", content.standing, 2 * MM, y + 0.6 * MM, wide - 4 * MM, "square")
    x = wide + PAD
    page.box(x, y, wide, THREE, 0.35 * MM)
    _asks(page, content.asks if _asks_fit(content) else (), content, x + PAD, y, wide - 2 * PAD)
    x += wide + PAD
    page.box(x, y, wide, THREE, 0.35 * MM)
    _listed(page, "CAUTION", content.cautions, x + PAD, y, wide - 2 * PAD, "!")


def _listed(page: Page, title: str, said: Sequence[str], x: float, y: float, room: float, mark: str) -> None:
    page.text(x, y + 4.1 * MM, title, 10.5, bold=True)
    base = y + 7.3 * MM
    for each in said:
        if mark == "square":
            page.add(Box(x, base - 2.1 * MM, 2 * MM, 2 * MM, "black", 0.0))
        else:
            page.text(x, base, mark, SMALL, bold=True)
        base = page.wrapped(x + 3.2 * MM, base, each, room - 3.2 * MM, SMALL, bold=True, leading=1.07)


def _stop_lines(content: Numbers, room: float) -> int:
    inside = room - 4 * MM
    return sum(
        len(list(broken(f"{each.title} {each.before}", inside - 4 * MM, 10.0, bold=True)))
        + len(list(broken(each.said, inside, SMALL, bold=True)))
        for each in content.stops
    )


def _stops(page: Page, stops: Sequence[Stop], x: float, y: float, room: float) -> None:
    base = y + 3.5 * MM
    for stop in stops:
        _mark(page, x, base)
        base = page.wrapped(x + 4 * MM, base, f"{stop.title} {stop.before}", room - 4 * MM, 10.0, bold=True)
        base = page.wrapped(x, base, stop.said, room, SMALL, bold=True)


def _ask_row(ask: Ask) -> list[Part]:
    return [Label(ask.text, bold=True), ask.blank]


def _ask_height(ask: Ask, room: float) -> float:
    inside = room - 2 * PAD - 3.2 * MM
    return sum(parts.height(row, inside) for row in parts.fitting((_ask_row(ask),), inside))


def _asks(page: Page, asks: Sequence[Ask], content: Numbers, x: float, y: float, room: float) -> None:
    count = len(content.asks)
    where = "See the page before this." if front_apart(content) else "See below."
    title = f"ASK FIRST ({count} not known)" if count else "ASK FIRST: nothing"
    page.text(x, y + 4.1 * MM, title, 10.5, bold=True)
    if count and not asks:
        page.wrapped(x, y + 9 * MM, where, room, 10.0, bold=True)
        return
    y += 5.2 * MM
    inside = room - 3.2 * MM
    for ask in asks:
        for n, row in enumerate(parts.fitting((_ask_row(ask),), inside)):
            y += parts.height(row, inside)
            if n == 0:
                page.text(x, y - 1.6 * MM, "?", 10.0, bold=True)
            parts.draw(page, row, x + 3.2 * MM, y, inside)


def _shaft_rows(page: Page, content: Numbers, y: float) -> float:
    for row in parts.fitting(content.shaft_rows, BOX_WIDTH):
        y += parts.height(row, BOX_WIDTH)
        parts.draw(page, row, 0, y, BOX_WIDTH)
    return y


def _columns(page: Page, columns: Sequence[Column], top: float, foot: float, beside: Sequence[Drawing]) -> None:
    """Draw the columns; a line stands at the same height in all of them."""
    wide = (BOX_WIDTH - SPACE * (IN_A_ROW - 1)) / IN_A_ROW
    inside, first = wide - 2 * PAD, top + 7.2 * MM
    room = foot - first - 0.6 * MM
    columns = [_without_table(each) if _least(each, inside) > room else each for each in columns]
    tight = sum(_line_heights(columns, inside, tight=False).values()) > room
    heights = _line_heights(columns, inside, tight=tight)
    together = sum(heights.values()) <= room
    share = min(max(0.0, room - sum(heights.values())) / max(1, len(heights)), MOST_SPACE)
    for number, column in enumerate(columns):
        x = number * (wide + SPACE)
        page.box(x, top, wide, foot - top, 0.6 * MM)
        _titled(page, column, x, top, wide)
        alone = {line.place: _height(line, inside, tight=tight) for line in column.lines}
        shown = {n: high + share for n, high in heights.items()} if column.worked and together else alone
        _lines(page, column, (x + PAD, first, inside, foot), shown, tight=tight)
        if not column.worked:
            below = first + sum(shown.values())
            page.line(x + PAD, below, x + wide - PAD, below, FINE)
            _drawn(page, beside, x + PAD, below, inside, foot)
    if len(columns) < IN_A_ROW:
        _drawn(page, beside, wide + SPACE + PAD, top, inside, foot)


def _least(column: Column, room: float) -> float:
    return sum(_height(line, room, tight=True) for line in column.lines)


def _without_table(column: Column) -> Column:
    """Return a column whose blade table gives way to the sum, for want of room."""
    lines = tuple(
        replace(line, table=None, title="Blade to try: inside line 3") if line.table else line for line in column.lines
    )
    return replace(column, lines=lines)


def _line_heights(columns: Sequence[Column], room: float, *, tight: bool) -> dict[int, float]:
    """Return the height of each line, that of the highest in any column of a bearing that is worked on."""
    found: dict[int, float] = {}
    for column in columns:
        for line in column.lines if column.worked else ():
            found[line.place] = max(found.get(line.place, 0.0), _height(line, room, tight=tight))
    return dict(sorted(found.items()))


def _titled(page: Page, column: Column, x: float, top: float, wide: float) -> None:
    base = top + 5.2 * MM
    left = x + PAD
    if column.role in ROLE_WORDS:
        left = page.text(left, base, column.role, 12.5, bold=True) + 1.2 * MM
        names = width_of(latin(column.position), 12.5, True) + width_of(latin(column.bearing), 12.5, True)
        if left + names + 26 * MM < x + wide:
            left = page.text(left, base, f"({ROLE_WORDS[column.role]})") + 1.5 * MM
    else:
        for word in (HELD, FREE):
            page.box(left, base - 3.2 * MM, parts.SQUARE, parts.SQUARE)
            left = page.text(left + 4.2 * MM, base, word, 11.0, bold=True) + 2 * MM
    right = x + wide - PAD
    room = right - left - 3 * MM
    bearing = min(width_of(latin(column.bearing), 12.5, True), room * 0.6)
    page.fitted(right, base, column.bearing, bearing + 0.1, 12.5, anchor="end")
    page.fitted(left + 1 * MM, base, column.position, room - bearing, 12.5)
    page.line(x, top + 7.2 * MM, x + wide, top + 7.2 * MM, 0.6 * MM)


def _lines(
    page: Page,
    column: Column,
    place: tuple[float, float, float, float],
    heights: Mapping[int, float],
    *,
    tight: bool,
) -> None:
    """Set the lines of a column into its place: left, top, width, foot."""
    x, y, room, _ = place
    lines = {line.place: line for line in column.lines}
    for number, high in heights.items():
        if number in lines:
            line = lines[number]
            _numbered(page, line, x, y + (high - _height(line, room, tight=tight)) / 2, room, tight=tight)
        y += high
        if number != max(heights):
            page.line(x, y, x + room, y, FINE)


def _drawn(page: Page, beside: Sequence[Drawing], x: float, y: float, room: float, foot: float) -> None:
    """Draw pictures below each other, each with its number, as many as there is room for."""
    for number, drawing in enumerate(beside, start=1):
        wide = min(room, 68 * MM)
        if y + 2 * MM + drawing.height * wide / UNITS > foot:
            break
        y += 2 * MM
        page.circled(x + 2.4 * MM, y + 2.6 * MM, number)
        y += page.picture(drawing, x + room - wide, y, wide)


def _height(line: Numbered, room: float, *, tight: bool) -> float:
    rows = sum(parts.height(row, room) for row in parts.fitting(line.rows, room))
    table = _table_height(line.table, tight=tight) if line.table else 0.0
    return _label_height(line, room, tight=tight) + rows + table + (0.3 if tight else 0.6) * MM


def _label_height(line: Numbered, room: float, *, tight: bool) -> float:
    row = 4.4 * MM if tight else LABEL_ROW
    if not line.beside:
        return row
    beside = parts.height(line.beside, room)
    return max(row, beside) if _label_fits(line, room) else row + beside


def _indent(line: Numbered) -> float:
    return 0.0 if line.number is None else 5.6 * MM


def _label_fits(line: Numbered, room: float) -> bool:
    taken = sum(map(parts.width, line.beside)) + parts.GAP * len(line.beside)
    hold = 17 * MM if line.hold else 0.0
    return _indent(line) + parts.width(Label(line.title)) + taken + hold <= room


def _numbered(page: Page, line: Numbered, x: float, y: float, room: float, *, tight: bool) -> None:
    high = _label_height(line, room, tight=tight)
    fits = _label_fits(line, room)
    first = high if fits or not line.beside else high - parts.height(line.beside, room)
    middle = y + first / 2 + 0.3 * MM
    if line.number is not None:
        page.circled(x + 2.4 * MM, middle, line.number)
    after = page.text(x + _indent(line), middle + 1.1 * MM, line.title)
    right = x + room
    if line.hold is not None:
        right = page.hold(right, middle, line.hold) - 1.5 * MM
    if line.beside and fits:
        wanted = sum(map(parts.width, line.beside)) + parts.GAP * (len(line.beside) - 1)
        start = after + parts.GAP if line.hold is not None else max(after + parts.GAP, right - wanted)
        boxed = any(isinstance(each, Blank) for each in line.beside)
        parts.draw(page, line.beside, start, y + high if boxed else middle + 2.6 * MM, max(right - start, wanted))
    elif line.beside:
        parts.draw(page, line.beside, x + 5.6 * MM, y + high, room - 5.6 * MM)
    y += high
    for row in parts.fitting(line.rows, room):
        y += parts.height(row, room)
        parts.draw(page, row, x, y, room)
    if line.table:
        _table(page, line.table, x, y + 0.3 * MM, room, tight=tight)


def _table_height(table: Table, *, tight: bool) -> float:
    row = TIGHT_ROW if tight else TABLE_ROW
    return TABLE_HEAD + row * len(table.rows) + 3.7 * MM * len(table.below) + 0.8 * MM


def _edges(table: Table, x: float, room: float) -> list[float]:
    """Return where the columns of a table begin and end: each as wide as its widest cell, the rest shared."""
    needed = [
        max(width_of(latin(row[n]), LOUD if n == table.loud else NUMBER, True) for row in table.rows) + 1.3 * MM
        for n in range(len(table.heads))
    ]
    heads = [width_of(latin(each), SMALL, False) + 1.3 * MM for each in table.heads]
    with_heads = [max(pair) for pair in zip(needed, heads, strict=True)]
    if sum(with_heads) <= room:
        needed = with_heads
    spare = (room - sum(needed)) / len(needed)
    edges = [x]
    for each in needed:
        edges.append(edges[-1] + each + spare)
    return edges


def _table(page: Page, table: Table, x: float, y: float, room: float, *, tight: bool) -> None:
    high = TIGHT_ROW if tight else TABLE_ROW
    edges = _edges(table, x, room)
    foot = y + TABLE_HEAD + high * len(table.rows)
    for number, each in enumerate(table.heads):
        page.fitted(edges[number] + 0.6 * MM, y + 3.1 * MM, each, edges[number + 1] - edges[number], SMALL, bold=False)
    for count, row in enumerate(table.rows):
        top = y + TABLE_HEAD + high * count
        page.line(x, top, x + room, top, FINE)
        for number, each in enumerate(row):
            size = LOUD if number == table.loud else NUMBER
            page.words(edges[number] + 0.6 * MM, top + high - 1.0 * MM, ((latin(each), size, True),))
    page.box(x, y, room, foot - y, FINE)
    for edge in edges[1:-1]:
        page.line(edge, y, edge, foot, FINE)
    base = foot + 3.4 * MM
    for each in table.below:
        page.words(x, base, runs(each, SMALL, bold=True))
        base += 3.7 * MM
