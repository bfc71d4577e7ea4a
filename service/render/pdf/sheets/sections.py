"""Lists for a desk on paper: pages of two columns, with the head of the sheets."""

from collections.abc import Iterable, Iterator
from typing import Final

from service.render.pdf.sheets.annex import annex_columns, annex_count, annex_pages
from service.render.pdf.sheets.page import Page
from service.render.sections import TICK, Section
from service.render.sheets.annex import Piece
from service.render.sheets.content import Head
from service.words import UnitSystem

FOOT: Final = "Makers' instructions and local codes come first."


def section_pages(head: Head, sections: Iterable[Section], units: UnitSystem, *, title: str, right: str) -> list[Page]:
    """Return the pages of sections; ``right`` stands at the foot."""
    columns = annex_columns(_pieces(sections), units)
    return list(annex_pages(head, columns, FOOT, number=1, count=annex_count(columns), title=title, right=right))


def _pieces(sections: Iterable[Section]) -> Iterator[Piece]:
    for section in sections:
        yield Piece("title", section.title)
        for lead, said in section.lines:
            yield Piece("words" if lead == TICK else "step", said, lead="[  ]" if lead == TICK else lead)
