"""/v1/work-orders/{id}/review: the lead's sheet, as JSON, as text and as a page to print."""

from typing import Final

from flask import Response

from service.api.http.media import VARY, best_media
from service.api.http.operations import Answer, Blueprint, Call
from service.api.orders.instructions.views import PDF, PLAIN
from service.api.orders.review.schemas import ReviewQuery, ReviewRead
from service.exchange.media import JSON
from service.record import Record
from service.render.pages.lead_sheet import lead_sections, lead_text
from service.use_cases.orders.review import review_of
from service.words import PaperSize, UnitSystem

blueprint = Blueprint("review", __name__, url_prefix="/v1/work-orders", description="What the lead looks over")

FORMS: Final = (PLAIN, PDF)


@blueprint.operation(
    "GET",
    "/<order_id>/review",
    scope="read",
    query=ReviewQuery,
    answers={
        200: Answer(
            ReviewRead,
            "Who signed what and when; what came in bulk, out of order or late; deviations; what is still open. "
            "As JSON, or by Accept as plain text or PDF",
            media=FORMS,
        )
    },
    refuses=("406",),
    headers=("Accept",),
)
def read_review(call: Call, order_id: str) -> Response:
    """Read what the lead looks over before an order is closed"""
    media = best_media((JSON, *FORMS))
    with call.reading() as tx:
        review = review_of(tx, order_id)
    if media == JSON:
        return call.answer(review, headers=VARY)
    if media == PDF:
        return printed_review(review, call.units, call.query.get("paper"))
    return Response(lead_text(review), content_type=f"{PLAIN}; charset=utf-8", headers=VARY)


def printed_review(review: Record, units: UnitSystem, paper: PaperSize | None = None) -> Response:
    """Answer the lead's sheet on paper; Letter for inch units, A4 for metric where no paper is named."""
    from service.render.pdf.sheets.document import written
    from service.render.pdf.sheets.sections import section_pages
    from service.render.sheets.content import Head

    number = review["external"]["number"]
    head = Head(number, review["asset"], f"revision {review['revision']}, {review['status']}", None, "")
    right = "seen by ________________   date ____________"
    pages = section_pages(head, lead_sections(review), units, title="LEAD", right=right)
    body = written(pages, paper=paper or ("letter" if units == "inch" else "a4"), title=number)
    return Response(body, content_type=PDF, headers={"Content-Disposition": 'inline; filename="lead.pdf"', **VARY})
