"""The sheets as a page that a browser prints: the same marks as the PDF, one SVG a sheet, no script."""

from collections.abc import Mapping
from typing import Any, Final

from service.render.card.shaft_line import Shaft
from service.render.markup import drawn, environment, style
from service.render.pdf.sheets.document import pages_of
from service.render.pdf.sheets.page import BOX_HEIGHT, BOX_WIDTH
from service.render.pictures.svg import svg_page
from service.words import Level, UnitSystem

STYLE: Final = "sheets.css"


def sheets_page(
    record: Mapping[str, Any],
    *,
    units: UnitSystem,
    shaft: Shaft | None,
    address: str | None = None,
    level: Level = "brief",
) -> str:
    """Return the print view of a plan as an HTML document; see ``pdf_sheets``."""
    pages = pages_of(record, units=units, shaft=shaft, address=address, level=level)
    order = (record.get("external") or {}).get("number") or "No work order"
    sheets = [
        drawn(svg_page(page.marks, width=BOX_WIDTH, height=BOX_HEIGHT, name=f"page {n} of {len(pages)}"))
        for n, page in enumerate(pages, start=1)
    ]
    return (
        environment(units)
        .get_template("sheets.html")
        .render(order=order, title="sheets", sheets=sheets, style=style(STYLE))
    )
