"""/v1/work-orders/{id}/instructions: one record, as JSON or as a card for people, by Accept."""

import re
from collections.abc import Mapping
from typing import Any, Final

from flask import Response, current_app

from service.api.http import versions
from service.api.http.media import VARY, best_media
from service.api.http.operations import Answer, Blueprint, Call
from service.api.orders.instructions.schemas import CardQuery, Instructions
from service.errors import NotFound
from service.exchange.media import JSON
from service.render.card.card import DEFAULT_LEVEL
from service.render.card.html import html_card
from service.render.card.markdown import markdown_card
from service.render.card.shaft_line import shaft_on_record
from service.render.card.steps_csv import steps_csv
from service.render.card.text import card
from service.render.markup import content_policy
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.use_cases.orders.held import order_of
from service.use_cases.orders.records import card_record, instructions_kept, revision_of
from service.words import Level, PaperSize, UnitSystem

blueprint = Blueprint("cards", __name__, url_prefix="/v1/work-orders", description="Instructions, as JSON and as cards")

PLAIN: Final = "text/plain"
MARKDOWN: Final = "text/markdown"
HTML: Final = "text/html"
PDF: Final = "application/pdf"
CARDS: Final = (PLAIN, MARKDOWN, HTML, PDF)
_SUFFIX: Final = {PLAIN: "txt", MARKDOWN: "md", HTML: "html", PDF: "pdf"}
_NOT_IN_NAMES: Final = re.compile(r"[^A-Za-z0-9_-]")
_HEADERS: Final[Mapping[str, dict[str, str]]] = {
    HTML: {"Content-Security-Policy": content_policy("card.css"), "Referrer-Policy": "no-referrer"},
}


_INSTRUCTIONS = {
    200: Answer(
        Instructions,
        "The instructions as JSON, or by Accept as a card: plain text, markdown, HTML, PDF",
        headers=("ETag", "Link"),
        media=CARDS,
    ),
    304: Answer(None, "The caller holds them"),
}


@blueprint.operation(
    "GET",
    "/<order_id>/instructions",
    scope="read",
    query=CardQuery,
    answers=_INSTRUCTIONS,
    refuses=("406",),
    headers=("Accept", "If-None-Match"),
)
def read_instructions(call: Call, order_id: str) -> Response:
    """Read the latest instructions of a work order"""
    return _instructions(call, order_id, None)


@blueprint.operation(
    "GET",
    "/<order_id>/instructions/<number>",
    scope="read",
    query=CardQuery,
    answers=_INSTRUCTIONS,
    refuses=("406",),
    headers=("Accept", "If-None-Match"),
)
def read_revision(call: Call, order_id: str, number: str) -> Response:
    """Read one revision of the instructions"""
    if not (number.isascii() and number.isdigit() and len(number) <= 9):
        raise NotFound("revisions are numbered 1, 2, 3 ...")
    return _instructions(call, order_id, int(number))


def _instructions(call: Call, order_id: str, number: int | None) -> Response:
    media = best_media((JSON, *CARDS))
    with call.reading() as tx:
        order = order_of(tx, order_id)
        revision = revision_of(tx, order, number)
    if media == JSON:
        return call.versioned(instructions_kept(revision), revision.number)
    tag = versions.etag(revision.number, call.units, _tagged(media, call.query))
    headers = {**VARY, "ETag": tag, "Cache-Control": "no-cache"}
    if versions.not_modified(tag):
        return Response(status=304, headers=headers)
    address = card_address(order, revision)
    body = card_body(media, order, revision, units=call.units, address=address, query=call.query)
    others = ", ".join(f'<{address}>; rel="alternate"; type="{each}"' for each in (JSON, *CARDS) if each != media)
    if media == HTML and "paper" in call.query:
        headers["Content-Security-Policy"] = content_policy("sheets.css")
    return card_answer(media, body, order, {**headers, "Link": others})


def card_address(order: WorkOrderRow, revision: RevisionRow) -> str:
    """Return where a revision can be read."""
    return f"{current_app.config['PUBLIC_URL']}/v1/work-orders/{order.id}/instructions/{revision.number}"


def _tagged(media: str, query: Mapping[str, Any]) -> str:
    level, paper = query.get("level", ""), query.get("paper", "")
    if media == PLAIN:
        return f"txt{query['width']}{query['ascii'][0]}{level}"
    return f"{_SUFFIX[media]}{'' if media == MARKDOWN else paper}{level}"


def card_body(
    media: str,
    order: WorkOrderRow,
    revision: RevisionRow,
    *,
    units: UnitSystem,
    address: str,
    query: Mapping[str, Any],
) -> str | bytes:
    """Return the card of a revision in one of ``CARDS``."""
    plan, along = card_record(order, revision), shaft_on_record(revision.inputs)
    level: Level = query.get("level") or (DEFAULT_LEVEL if _is_card(media, query) else "brief")
    if media == PLAIN:
        width, ascii_only = query["width"], query["ascii"] == "true"
        return card(plan, units=units, width=width, ascii=ascii_only, level=level, shaft=along)
    if media == MARKDOWN:
        return markdown_card(plan, units=units, address=address, level=level, shaft=along)
    if _is_card(media, query):
        return html_card(plan, units=units, shaft=along, address=address, level=level)
    if media == HTML:
        from service.render.pages.sheets import sheets_page

        return sheets_page(plan, units=units, shaft=along, address=address, level=level)
    from service.render.pdf.sheets.document import pdf_sheets

    paper: PaperSize = query.get("paper") or ("letter" if units == "inch" else "a4")
    return pdf_sheets(plan, units=units, shaft=along, address=address, paper=paper, level=level)


def _is_card(media: str, query: Mapping[str, Any]) -> bool:
    """Return whether a card is asked for, to be read from its top, and not the sheets to print."""
    return media in (PLAIN, MARKDOWN) or (media == HTML and query.get("paper") is None)


def card_answer(media: str, body: str | bytes, order: WorkOrderRow, headers: Mapping[str, str]) -> Response:
    """Return a card with the headers of its media type; saved, it is named by the order's number."""
    kept = "".join(
        char if char.isascii() and (char.isalnum() or char in "-_") else "-" for char in order.external_number
    )
    named = {"Content-Disposition": f'inline; filename="{kept[:60]}.{_SUFFIX[media]}"'}
    kind = media if media == PDF else f"{media}; charset=utf-8"
    return Response(body, content_type=kind, headers={**named, **_HEADERS.get(media, {}), **headers})


@blueprint.operation(
    "GET",
    "/<order_id>/instructions/steps.csv",
    scope="read",
    answers={
        200: Answer(None, "One row a step: number, short text (at most 40 characters), text", media=("text/csv",))
    },
)
def read_steps(call: Call, order_id: str) -> Response:
    """Read the steps of the latest instructions as CSV"""
    with call.reading() as tx:
        revision = revision_of(tx, order_of(tx, order_id))
    headers = {"Content-Disposition": 'attachment; filename="steps.csv"'}
    return Response(
        steps_csv(revision.record, units=call.units), content_type="text/csv; charset=utf-8", headers=headers
    )
