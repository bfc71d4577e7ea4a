"""A job pack on paper: what is planned together, then the sheets of each order in the order of work."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.render.card.shaft_line import Shaft
from service.render.pdf.sheets.document import pages_of, written
from service.render.pdf.sheets.sections import section_pages
from service.render.planning.pack_text import sections
from service.render.sheets.content import Head
from service.words import Level, PaperSize, UnitSystem


@dataclass(frozen=True, slots=True)
class Card:
    """An order of a pack: the record of its plan, what stands along its shaft, where its card can be read."""

    record: Mapping[str, Any]
    shaft: Shaft | None
    address: str | None


def pdf_pack(
    pack: Mapping[str, Any],
    cards: Sequence[Card],
    *,
    units: UnitSystem,
    paper: PaperSize = "a4",
    level: Level = "brief",
) -> bytes:
    """Return a pack as a PDF document; the pages of each order are counted by themselves, to be handed out apart.

    Parameters
    ----------
    pack : record
        As ``instructions.planning.pack.job_pack`` returns it
    cards : sequence of Card, shape (n,)
        Its orders, in the order of work
    """
    said = f"{len(pack['orders'])} order{'s' if len(pack['orders']) > 1 else ''}"
    numbers = ", ".join(number for line in pack["sequence"] for number in line["orders"])
    head = Head(said, numbers, "planned together", None, "")
    follow = "the sheets of each order follow"
    pages = section_pages(head, sections(pack, units), units, title="JOB PACK", right=follow)
    for each in cards:
        pages += pages_of(each.record, units=units, shaft=each.shaft, address=each.address, level=level)
    return written(pages, paper=paper, title=f"Job pack of {said}")
