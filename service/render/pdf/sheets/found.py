"""Sheet 3 on paper: the as-found form of each bearing, the log of the run-in, hand-back."""

from collections.abc import Iterator, Sequence
from typing import Final

from service.render.pdf.sheets import parts
from service.render.pdf.sheets.head import TOP, footed, headed
from service.render.pdf.sheets.numbers import PAD, SPACE
from service.render.pdf.sheets.page import BOX_HEIGHT, BOX_WIDTH, FINE, MM, NUMBER, Page, runs
from service.render.pictures.drawing import Drawing
from service.render.sheets.content import Form, Found, Head, Part, Rows

FORMS_ON_A_PAGE: Final = 2
BAR: Final = 6.6 * MM
ROW: Final = 6.4 * MM
LOG_ROW: Final = 4.75 * MM
LOG_HEAD: Final = 8.2 * MM
CIRCLE: Final = 31 * MM


def found_pages(head: Head, content: Found, circle: Drawing, *, number: int, count: int) -> Iterator[Page]:
    """Yield sheet 3: two forms on a page; run-in and hand-back last, on a page of their own where there is no room."""
    for n, (forms, last) in enumerate(found_groups(content, circle)):
        title = ("AS FOUND AND RUN-IN" if forms else "RUN-IN") if last else "AS FOUND"
        page = headed(head, f"SHEET 3: {title}", number + n, count)
        y = _as_found(page, content, forms, circle) if forms else TOP - 1.6 * MM
        if last:
            _hand_back(page, content, _run_in(page, content, y))
        footed(page, f"{content.foot.partition('. ')[0]}.", "photograph this page or type it in")
        yield page


def found_groups(content: Found, circle: Drawing) -> list[tuple[Sequence[Form], bool]]:
    """Return the forms of each page, and whether run-in and hand-back stand below them."""
    forms = content.forms
    groups = [forms[n : n + FORMS_ON_A_PAGE] for n in range(0, len(forms), FORMS_ON_A_PAGE)] or [()]
    trial = Page()
    end = _hand_back(trial, content, _run_in(trial, content, _as_found(trial, content, groups[-1], circle)))
    if end <= BOX_HEIGHT - 5 * MM:
        return [*((each, False) for each in groups[:-1]), (groups[-1], True)]
    return [*((each, False) for each in groups), ((), True)]


def _as_found(page: Page, content: Found, forms: Sequence[Form], circle: Drawing) -> float:
    y = _bar(page, TOP - 0.6 * MM, "As found", "before anything is moved; a line not looked at: write not seen")
    y = _rows(page, content.shaft_rows, 0, y, BOX_WIDTH)
    return _forms(page, forms, circle, y + 0.8 * MM)


def _bar(page: Page, y: float, title: str, said: str = "") -> float:
    end = page.text(0, y + 4.6 * MM, title, 11.5, bold=True)
    if said:
        page.text(end + 2 * MM, y + 4.6 * MM, said)
    page.line(0, y + BAR - 0.6 * MM, BOX_WIDTH, y + BAR - 0.6 * MM, 0.9 * MM)
    return y + BAR


def _rows(page: Page, rows: Rows, x: float, y: float, room: float, pitch: float = 0.0) -> float:
    for row in parts.fitting(rows, room):
        y += max(pitch, parts.height(row, room) + 0.5 * MM)
        parts.draw(page, row, x, y, room)
        page.line(x, y + 0.2 * MM, x + room, y + 0.2 * MM, FINE)
    return y


def _forms(page: Page, forms: Sequence[Form], circle: Drawing, y: float) -> float:
    if not forms:
        return y
    wide = (BOX_WIDTH - SPACE * (FORMS_ON_A_PAGE - 1)) / FORMS_ON_A_PAGE
    feet = []
    for number, form in enumerate(forms):
        x = number * (wide + SPACE)
        inside, left = wide - 2 * PAD, x + PAD
        end = page.text(left, y + 5 * MM, form.role if form.role != "OPEN" else "HELD FREE ?", 12.5, bold=True)
        end = page.text(end + 1.2 * MM, y + 5 * MM, "by record")
        page.fitted(x + wide - PAD, y + 5 * MM, form.position, x + wide - PAD - end - 2 * MM, 12.5, anchor="end")
        page.line(x, y + 6.8 * MM, x + wide, y + 6.8 * MM, 0.6 * MM)
        foot = _rows(page, form.rows, left, y + 6.8 * MM, inside, ROW)
        feet.append(_marked(page, form.beside_circle, circle, left, foot + 0.8 * MM, inside))
    foot = max(feet) + 0.8 * MM
    for number in range(len(forms)):
        page.box(number * (wide + SPACE), y, wide, foot - y, 0.6 * MM)
    return foot


def _marked(page: Page, rows: Rows, circle: Drawing, x: float, y: float, room: float) -> float:
    """Draw the circle for the load mark with its rows beside it; return where both end."""
    page.picture(circle, x - 6 * MM, y + 4 * MM, CIRCLE + 10 * MM)
    left = x + CIRCLE
    return max(_plain(page, rows, left, y, room - CIRCLE), y + (CIRCLE + 10 * MM) * circle.height / 440 + 4 * MM)


def _plain(page: Page, rows: Rows, x: float, y: float, room: float) -> float:
    for row in parts.fitting(rows, room):
        y += 4.75 * MM
        parts.draw(page, row, x, y, room)
    return y


def _run_in(page: Page, content: Found, y: float) -> float:
    """Draw the log with the stop limit before its first row, and the field in which it is plotted."""
    y += 1.0 * MM
    end = page.text(0, y + 5 * MM, "Run-in", 11.5, bold=True) + 3 * MM
    limit: Sequence[Part] = content.limit
    parts.draw(page, limit, end, y + 6.6 * MM, BOX_WIDTH - end)
    y += 7.2 * MM
    page.line(0, y, BOX_WIDTH, y, 0.9 * MM)
    y += 1 * MM
    wide = 100 * MM if len(content.log_heads) <= 4 else 118 * MM
    foot = _log(page, content, y, wide)
    _plot(page, content, wide + 3 * MM, y, foot)
    return page.wrapped(0, foot + 3.8 * MM, content.said, BOX_WIDTH) - 2.2 * MM


def _log(page: Page, content: Found, y: float, wide: float) -> float:
    first, last = 15 * MM, 24 * MM
    each = (wide - first - last) / (len(content.log_heads) - 2)
    edges = [0.0, first, *(first + each * (n + 1) for n in range(len(content.log_heads) - 2)), wide]
    foot = y + LOG_HEAD + LOG_ROW * len(content.times)
    unit = content.plot[0]
    for n, name in enumerate(content.log_heads):
        page.fitted(edges[n] + 0.8 * MM, y + 3.4 * MM, name, edges[n + 1] - edges[n] - 1.2 * MM, NUMBER)
        if 0 < n < len(content.log_heads) - 1:
            page.text(edges[n] + 0.8 * MM, y + 7 * MM, unit)
    for n, time in enumerate(content.times):
        top = y + LOG_HEAD + LOG_ROW * n
        page.line(0, top, wide, top, FINE if n != 5 else 0.6 * MM)
        page.words(0.8 * MM, top + 3.6 * MM, runs(time))
    page.box(0, y, wide, foot - y, FINE)
    for edge in edges[1:-1]:
        page.line(edge, y, edge, foot, FINE)
    return foot


def _plot(page: Page, content: Found, x: float, y: float, foot: float) -> None:
    unit, values = content.plot
    left, right, low = x + 8 * MM, BOX_WIDTH - 3 * MM, foot - 8.4 * MM
    hours = 6
    for n in range(2 * hours + 1):
        at = left + (right - left) * n / (2 * hours)
        page.line(at, y + 1.5 * MM, at, low, FINE if n % 2 else 0.4 * MM)
        if n % 2 == 0:
            page.text(at, low + 3.9 * MM, f"{n // 2}", anchor="middle")
    for n in range(2 * len(values) - 1):
        at = y + 1.5 * MM + (low - y - 1.5 * MM) * n / (2 * len(values) - 2)
        page.line(left, at, right, at, FINE if n % 2 else 0.4 * MM)
        if n % 2 == 0:
            page.text(left - 1 * MM, at + 1.2 * MM, str(values[n // 2]), anchor="end")
    page.text(left, foot - 0.6 * MM, f"{unit} over hours; stop limit across")


def _hand_back(page: Page, content: Found, y: float) -> float:
    """Draw the last rows; return where they end."""
    y = _bar(page, y + 0.4 * MM, "Hand-back")
    wide = (BOX_WIDTH - 4 * MM) / 2
    feet = [y]
    for x, rows in zip((0.0, wide + 4 * MM), content.hand_back, strict=True):
        foot = y
        for row in parts.fitting(rows, wide):
            foot += 5.4 * MM
            parts.draw(page, row, x, foot, wide)
        feet.append(foot)
    return max(feet)
