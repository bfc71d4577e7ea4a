"""The sheets of a plan as one PDF document, on A4 or Letter, the same bytes for the same revision."""

from collections.abc import Sequence
from io import BytesIO
from typing import Final, Literal

from reportlab.pdfgen.canvas import Canvas

from service.render.card.shaft_line import Shaft
from service.render.pdf.document import SIZES, PaperSize, named_font
from service.render.pdf.fonts import FONTS, latin
from service.render.pdf.marks import operators
from service.render.pdf.sheets.found import form_groups, found_pages
from service.render.pdf.sheets.numbers import front_fits, front_page, numbers_page
from service.render.pdf.sheets.page import BOX_WIDTH, MM, Page
from service.render.pdf.sheets.sequence import pages_needed, picture_count, picture_pages, sequence_pages
from service.render.pictures.drawing import Drawing
from service.render.pictures.steps.handling import load_mark
from service.render.pictures.steps.shaft_line import Block, shaft_line
from service.render.present import UnitSystem
from service.render.sheets.figures import Figures
from service.render.sheets.found import found
from service.render.sheets.front import head, numbers
from service.render.sheets.pictures import StepPicture, numbered, step_pictures
from service.render.sheets.scene import Plan
from service.render.sheets.sequence import sequence

Level = Literal["brief", "standard", "full"]
TOPS: Final[dict[PaperSize, float]] = {"a4": 20 * MM, "letter": 11.2 * MM}


def pdf_sheets(
    record: dict[str, object],
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
    plan = Plan(record, Figures(units), shaft)
    pages = sheet_pages(plan, address=address)
    del level
    return written(pages, paper=paper, title=f"{head(plan, None).order}: sheets")


def sheet_pages(plan: Plan, *, address: str | None = None, further: int = 0) -> list[Page]:
    """Return the pages of the sheets; ``further`` pages follow them."""
    top = head(plan, address if address and address.startswith("http") else None)
    first, pictures = numbers(plan), step_pictures(plan)
    order, last = sequence(plan, numbered(pictures)), found(plan)
    apart = 0 if front_fits(first) else 1
    sizes = [apart, 1, len(pages_needed(order)), picture_count(pictures), len(form_groups(last))]
    count = sum(sizes) + further
    starts = [1 + sum(sizes[:n]) for n in range(len(sizes))]
    pages = [front_page(top, first, number=1, count=count)] if apart else []
    drawings = _beside(pictures)
    pages.append(numbers_page(top, first, line_drawing(plan), drawings, number=starts[1], count=count))
    pages += sequence_pages(top, order, number=starts[2], count=count)
    pages += picture_pages(top, pictures, order.foot, number=starts[3], count=count)
    pages += found_pages(top, last, load_mark(), number=starts[4], count=count)
    return pages


def _beside(pictures: Sequence[StepPicture]) -> list[Drawing]:
    """Return what is drawn beside a single bearing: where to measure, blade or stack, its seat."""
    wanted = ("blade-place", "blade-or-stack", "swivel", "heat", "held")
    chosen = [each.drawing for key in wanted for each in pictures if each.key == key]
    return [*chosen, *(each.drawing for each in pictures if each.key.startswith("free"))]


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
