"""The standard fonts of PDF: widths, and the letters they know (code page 1252, Western Europe)."""

from functools import lru_cache
from typing import Final

from reportlab.pdfbase import pdfmetrics

from service.render.card.plain_text import cleaned

FONTS: Final = {False: "Helvetica", True: "Helvetica-Bold"}
_WIDTHS: Final = {bold: [float(w) / 1000 for w in pdfmetrics.getFont(name).widths] for bold, name in FONTS.items()}


@lru_cache(maxsize=16_384)
def width_of(text: str, size: float, bold: bool) -> float:
    """Return the width of a text in its font."""
    widths = _WIDTHS[bold]
    return sum([widths[byte] for byte in text.encode("cp1252", "replace")]) * size


@lru_cache(maxsize=4096)
def latin(text: str) -> str:
    """Return a text in the letters that the fonts know; others are written as on the plain text card."""
    if _known(text):
        return text
    return "".join(char if _known(char) else cleaned(char, ascii_only=True) for char in text)


def _known(text: str) -> bool:
    try:
        text.encode("cp1252")
    except UnicodeEncodeError:
        return False
    return True
