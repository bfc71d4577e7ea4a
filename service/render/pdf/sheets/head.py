"""Head and foot of every page, and the strip in which holds are signed."""

from collections.abc import Sequence
from typing import Final

from service.render.pdf.document import qr_band
from service.render.pdf.sheet import moved
from service.render.pdf.sheets.page import (
    BOX_HEIGHT,
    BOX_WIDTH,
    FINE,
    FRAME,
    HEAVY,
    MM,
    NUMBER,
    SMALL,
    Page,
    broken,
    length,
    runs,
)
from service.render.sheets.content import Head, Hold

TOP: Final = 17.0 * MM
"""Where the content of a page begins."""
SHORT_ADDRESS: Final = 40
FOOT: Final = 8.5
SIGN_ROW: Final = 12.5 * MM
IN_A_ROW: Final = 6


def headed(head: Head, title: str, number: int, count: int, *, code: bool = False) -> Page:
    """Return a page with its head: order, machine, which sheet, which page; the code of its address where asked."""
    page = Page()
    right = BOX_WIDTH
    if code and head.address is not None:
        side = (15.0 if len(head.address) <= SHORT_ADDRESS else 18.0) * MM
        band = qr_band(head.address, side)
        right -= side + 3 * MM
        page.add(*(moved(mark, BOX_WIDTH - side, 0.0 if side < TOP else -2.2 * MM) for mark in band.marks))
    said = runs(title, 13.0, bold=True)
    page.words(right, 4.6 * MM, said, "end")
    page.text(right, 9.2 * MM, f"{head.revision}   page {number} of {count}", anchor="end")
    room = right - length(said) - 4 * MM
    page.fitted(0, 5.6 * MM, head.order, room, 17.0)
    page.fitted(0, 11.4 * MM, head.machine, right - 62 * MM, 11.0)
    page.line(0, TOP - 1.9 * MM, right, TOP - 1.9 * MM, FRAME)
    return page


def footed(page: Page, left: str, right: str = "") -> None:
    """Write the foot of a page."""
    y = BOX_HEIGHT - 1.1 * MM
    end = BOX_WIDTH - (length(runs(right, FOOT)) + 3 * MM if right else 0.0)
    line = next(iter(broken(left, end, FOOT)), ())
    page.words(0, y, line)
    page.text(BOX_WIDTH, y, right, FOOT, anchor="end")


def sign_rows(holds: Sequence[Hold]) -> int:
    """Return how many rows the strip of signatures has."""
    return -(-len(holds) // IN_A_ROW)


def signed(page: Page, holds: Sequence[Hold], y: float) -> None:
    """Draw the strip in which holds are signed, its upper edge given."""
    rows = sign_rows(holds)
    if not rows:
        return
    page.box(0, y, BOX_WIDTH, rows * SIGN_ROW, 0.6 * MM)
    wide = BOX_WIDTH / IN_A_ROW
    for number, hold in enumerate(holds):
        row, column = divmod(number, IN_A_ROW)
        x, top = column * wide, y + row * SIGN_ROW
        if column:
            page.line(x, top, x, top + SIGN_ROW, FINE)
        if row and not column:
            page.line(0, top, BOX_WIDTH, top, FINE)
        _signature(page, hold, x + 1.1 * MM, top, wide - 2.2 * MM)


def _signature(page: Page, hold: Hold, x: float, top: float, room: float) -> None:
    tag = ((f"HOLD {hold.number}", NUMBER, True),)
    wide = length(tag) + 2 * MM
    page.box(x, top + 0.7 * MM, wide, 4.0 * MM, HEAVY)
    page.words(x + wide / 2, top + 3.8 * MM, tag, "middle")
    if hold.position:
        page.fitted(x + wide + 1.2 * MM, top + 3.8 * MM, hold.position, room - wide - 1.2 * MM, 10.0)
    page.fitted(x, top + 7.8 * MM, hold.words, room, SMALL, bold=False)
    base = top + SIGN_ROW - 1.2 * MM
    names = ("1st", "2nd") if hold.second else ("sign",)
    for number, name in enumerate(names):
        start, end = x + number * room / len(names), x + (number + 1) * room / len(names)
        begun = page.text(start, base, name) + 0.8 * MM
        page.line(begun, base + 0.4 * MM, end - 0.8 * MM, base + 0.4 * MM, 0.35 * MM)
