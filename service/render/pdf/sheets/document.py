"""The sheets of a plan as one PDF document, on A4 or Letter, the same bytes for the same revision.

The standard fonts of PDF know the letters of Western Europe; others are written as in the plain text card.
"""

from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any, Final

from reportlab.pdfgen.canvas import Canvas

from service.render.card.shaft_line import Shaft
from service.render.pdf.document import SIZES, named_font
from service.render.pdf.fonts import FONTS, latin
from service.render.pdf.marks import operators
from service.render.pdf.sheets.annex import annex_columns, annex_count, annex_pages
from service.render.pdf.sheets.found import found_groups, found_pages
from service.render.pdf.sheets.numbers import front_apart, front_page, numbers_count, numbers_pages
from service.render.pdf.sheets.page import BOX_WIDTH, MM, Page
from service.render.pdf.sheets.sequence import pages_needed, picture_count, picture_pages, sequence_pages
from service.render.pictures.drawing import Drawing
from service.render.pictures.steps.handling import load_mark
from service.render.pictures.steps.shaft_line import Block, shaft_line
from service.render.sheets.annex import annex
from service.render.sheets.figures import Figures
from service.render.sheets.found import found
from service.render.sheets.front import head, numbers
from service.render.sheets.pictures import StepPicture, numbered, step_pictures
from service.render.sheets.scene import Plan
from service.render.sheets.sequence import sequence
from service.words import Level, PaperSize, UnitSystem

ANNEX_FOOT: Final = "Numbers in both unit systems. Makers' instructions and local codes come first."
TOPS: Final[dict[PaperSize, float]] = {"a4": 20 * MM, "letter": 11.2 * MM}


def pdf_sheets(
    record: Mapping[str, Any],
    *,
    units: UnitSystem,
    shaft: Shaft | None,
    address: str | None = None,
    paper: PaperSize = "a4",
    level: Level = "brief",
) -> bytes:
    """Return the sheets of a plan as a PDF document.

    Parameters
    ----------
    record : dict
        The unit-neutral record of a plan, with id, revision, sha256 and ``external`` where known
    shaft : Shaft or None
        What stands along the shaft: places, drives, sides of the nuts
    address : str or None
        Where this card can be read; printed as a QR code when it is absolute
    level : str
        ``brief`` the sheets; ``standard`` adds the standard texts; ``full`` reasons, sources and every figure too
    """
    pages = pages_of(record, units=units, shaft=shaft, address=address, level=level)
    order = (record.get("external") or {}).get("number") or "No work order"
    return written(pages, paper=paper, title=f"{order}: sheets")


def pages_of(
    record: Mapping[str, Any], *, units: UnitSystem, shaft: Shaft | None, address: str | None, level: Level
) -> list[Page]:
    """Return the pages of the sheets, with the annex that a level adds; see ``pdf_sheets``."""
    plan = Plan(record, Figures(units), shaft)
    columns = [] if level == "brief" else annex_columns(annex(plan, full=level == "full"))
    further = annex_count(columns)
    pages = sheet_pages(plan, address=address, further=further)
    count = len(pages) + further
    pages += annex_pages(head(plan, None), columns, ANNEX_FOOT, number=len(pages) + 1, count=count)
    return pages


def sheet_pages(plan: Plan, *, address: str | None = None, further: int = 0) -> list[Page]:
    """Return the pages of the sheets; ``further`` pages follow them."""
    top = head(plan, address if address and address.startswith("http") else None)
    first, pictures = numbers(plan), step_pictures(plan)
    alone = len(plan.worked) == 1 and len(plan.supports) == 2
    shown = _beside(pictures, plan.worked) if alone else pictures
    order, last = sequence(plan, numbered(shown)), found(plan)
    apart = int(front_apart(first))
    drawn = 0 if alone else picture_count(shown)
    sizes = [apart, numbers_count(first), len(pages_needed(order)), drawn, len(found_groups(last, load_mark()))]
    count = sum(sizes) + further
    starts = [1 + sum(sizes[:n]) for n in range(len(sizes))]
    pages = [front_page(top, first, number=1, count=count)] if apart else []
    beside = [each.drawing for each in (shown if alone else ())]
    pages += numbers_pages(top, first, line_drawing(plan), beside, number=starts[1], count=count)
    where = "sheet 1" if alone else "the next page"
    pages += sequence_pages(top, order, where=where, number=starts[2], count=count)
    if not alone:
        pages += picture_pages(top, shown, order.foot, number=starts[3], count=count)
    pages += found_pages(top, last, load_mark(), number=starts[4], count=count)
    return pages


MOST_BESIDE: Final = 2
_WANTED: Final = ("blade-place", "swivel", "heat", "blade-or-stack")


def _beside(pictures: Sequence[StepPicture], worked: Sequence[str]) -> tuple[StepPicture, ...]:
    """Return what is drawn beside a single bearing: where to measure, blade or stack, its seat."""
    wanted = [each for key in _WANTED for each in pictures if each.key == key]
    seats = [each for each in pictures if each.position in worked]
    return (*wanted[:1], *seats, *wanted[1:])[:MOST_BESIDE]


def line_drawing(plan: Plan) -> Drawing:
    """Return the shaft line of sheet 1."""
    blocks = []
    for name, role in plan.names():
        support = plan.supports[name]
        growth = (support.get("expansion") or {}).get("heat_up")
        moves = growth is not None and growth.value > 0 and support.get("direction") in ("minus", "plus")
        blocks.append(
            Block(
                name,
                role,
                plan.nut_side(name),
                tuple(support.get("ring_sides") or ()) if role != "OPEN" else (),
                plan.figures.number(type(growth)("gap", growth.value)) if moves and growth is not None else None,
                support.get("direction") if moves else None,
                thin=name not in plan.worked,
            )
        )
    return shaft_line(blocks, drive_side=plan.drive_side)


def written(pages: Sequence[Page], *, paper: PaperSize, title: str) -> bytes:
    """Return pages as a PDF document, the box of each in the middle of the paper."""
    kept = BytesIO()
    width, height = SIZES[paper]
    canvas = Canvas(kept, pagesize=(width, height), invariant=1, pageCompression=1)
    canvas.setTitle(latin(title))
    canvas.setCreator("Cap and Saddle")
    left, top = (width - BOX_WIDTH) / 2, height - TOPS[paper]
    for page in pages:
        fonts = {bold: named_font(canvas, name) for bold, name in FONTS.items()}
        canvas.addLiteral("\n".join(operators(mark, left=left, top=top, fonts=fonts) for mark in page.marks))
        canvas.showPage()
    canvas.save()
    return kept.getvalue()
