"""The card as PDF: the same content as the other cards, on A4 or Letter, the same bytes for the same revision.

The standard fonts of PDF know the letters of Western Europe; others are written as in the plain text card.
"""

from functools import lru_cache
from io import BytesIO
from typing import Final, Literal

import segno
from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from service.render.card.card import Plan, card_of
from service.render.card.plain_text import cleaned
from service.render.card.shaft_line import Shaft
from service.render.pdf.blocks import Paper, filled
from service.render.pdf.fonts import FONTS, latin, width_of
from service.render.pdf.marks import operators
from service.render.pdf.sheet import MARGIN, Band, Sheets
from service.render.pictures.drawing import Box, Line, Mark, Words
from service.render.present import UnitSystem

PaperSize = Literal["a4", "letter"]
SIZES: Final[dict[PaperSize, tuple[float, float]]] = {"a4": (595.0, 842.0), "letter": (612.0, 792.0)}
rl_config.useA85 = 0  # streams as they are: 8 bits, not letters


def pdf_card(
    plan: Plan, *, units: UnitSystem, shaft: Shaft | None, address: str | None = None, paper: PaperSize = "a4"
) -> bytes:
    """Return the card of a plan as a PDF document.

    Parameters
    ----------
    shaft : Shaft or None
        What the picture of the shaft line is drawn from; without it there is none.
    address : str or None
        Where this card can be read; printed as a QR code when it is absolute.
    """
    card = card_of(plan, units=units)
    sheets = Sheets(*SIZES[paper])
    code = qr_band(address) if address and address.startswith("http") else None
    filled(sheets, card, Paper(units, width_of, latin), shaft=shaft, address=address, code=code)
    return _written(sheets, title=f"{card.order}: {card.title}", foot=f"{card.order}. {card.revision}")


@lru_cache(maxsize=256)
def qr_band(address: str, width: float = 76.0) -> Band:
    """Return the QR code of an address, dark modules of a row drawn together."""
    rows = [bytes(row) for row in segno.make_qr(address, error="m").matrix]
    module = width / (len(rows) + 8)
    marks: list[Mark] = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end]:
                end += 1
            if end > x:
                place = (x + 4) * module, (y + 4) * module
                marks.append(Box(*place, (end - x) * module, module, fill="black", stroke=0.0))
            x = max(end, x + 1)
    return Band(width, tuple(marks))


def _written(sheets: Sheets, *, title: str, foot: str) -> bytes:
    """Return the pages as a PDF document, each with its foot."""
    kept = BytesIO()
    canvas = Canvas(kept, pagesize=(sheets.width, sheets.height), invariant=1, pageCompression=1)
    canvas.setTitle(latin(title))
    canvas.setCreator("Cap and Saddle")
    said = latin(cleaned(foot, ascii_only=False))
    while width_of(said, 8.0, False) > sheets.column - 70:
        said = said[: len(said) * 9 // 10]
    for number, marks in enumerate(sheets.pages, start=1):
        fonts = {bold: _named(canvas, name) for bold, name in FONTS.items()}
        low, right = sheets.height - 30, sheets.width - MARGIN
        page = f"page {number} of {len(sheets.pages)}"
        ended = right - width_of(page, 8.0, False)
        own = (
            Line((MARGIN, low - 12), (right, low - 12), 0.6),
            Words(MARGIN, low, said, 8.0),
            Words(ended, low, page, 8.0),
        )
        lines = [
            operators(mark, left=x, top=sheets.height - y, fonts=fonts)
            for x, y, placed in (*marks, (0.0, 0.0, own))
            for mark in placed
        ]
        canvas.addLiteral("\n".join(lines))
        canvas.showPage()
    canvas.save()
    return kept.getvalue()


def _named(canvas: Canvas, font: str) -> str:
    """Return the name that the document has for a font, once a page has used it."""
    canvas.setFont(font, 10)
    named: str = canvas._doc.getInternalFontName(font)  # type: ignore[attr-defined]
    return named.removeprefix("/")
