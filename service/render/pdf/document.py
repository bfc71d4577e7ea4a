"""What a PDF of this service is made of: its sizes of paper, its fonts by name, the QR code of an address."""

from functools import lru_cache
from typing import Final

import segno
from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from service.render.pdf.sheet import Band
from service.render.pictures.drawing import Box, Mark
from service.words import PaperSize

SIZES: Final[dict[PaperSize, tuple[float, float]]] = {"a4": (595.0, 842.0), "letter": (612.0, 792.0)}
rl_config.useA85 = 0  # streams as they are: 8 bits, not letters


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


def named_font(canvas: Canvas, font: str) -> str:
    """Return the name that the document has for a font, once a page has used it."""
    canvas.setFont(font, 10)
    named: str = canvas._doc.getInternalFontName(font)  # type: ignore[attr-defined]
    return named.removeprefix("/")
