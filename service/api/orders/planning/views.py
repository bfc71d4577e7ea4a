"""/v1/work-orders/{id}/parts.csv and /v1/job-packs: what must be at hand, for one order or for several together."""

from collections.abc import Callable, Mapping
from typing import Any, Final

from flask import Response

from service.api.http.media import VARY, best_media
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import UnitsQuery
from service.api.orders.instructions.views import PDF, card_address
from service.api.orders.planning.schemas import PackQuery, PackRead, PackRequest
from service.errors import NotFound
from service.exchange.media import JSON
from service.record import Record
from service.render.card.shaft_line import shaft_on_record
from service.render.planning.pack_text import pack_text
from service.render.planning.parts_csv import parts_csv
from service.store.unit_of_work import Tx
from service.use_cases.orders.held import order_of
from service.use_cases.orders.pack import orders_in_turn, pack_of
from service.use_cases.orders.records import card_record, revision_of
from service.words import PaperSize, UnitSystem

blueprint = Blueprint("planning", __name__, url_prefix="/v1", description="Parts of an order, and job packs")

CSV: Final = "text/csv"
PLAIN: Final = "text/plain"


def _pack_parts(pack: Mapping[str, Any], units: UnitSystem) -> str:
    return parts_csv(pack["parts"], units=units)


def _pack_text(pack: Mapping[str, Any], units: UnitSystem) -> str:
    return pack_text(pack, units=units)


RENDERERS: Final[Mapping[str, tuple[Callable[[Mapping[str, Any], UnitSystem], str], str]]] = {
    CSV: (_pack_parts, "job-pack-parts.csv"),
    PLAIN: (_pack_text, "job-pack.txt"),
}
"""What a pack is written as besides JSON and PDF, by media type, with the name it is saved by."""


@blueprint.operation(
    "GET",
    "/work-orders/<order_id>/parts.csv",
    scope="read",
    query=UnitsQuery,
    answers={200: Answer(None, "One row a part of the latest instructions, as for a store", media=(CSV,))},
)
def read_parts(call: Call, order_id: str) -> Response:
    """Read the parts of an order as CSV"""
    with call.reading() as tx:
        plan = revision_of(tx, order_of(tx, order_id)).record
    if "planning" not in plan:
        raise NotFound(f"the instructions were made by engine {plan['engine_version']}, which planned no parts")
    return _saved(parts_csv(plan["planning"]["parts"], units=call.units), CSV, "parts.csv", {})


@blueprint.operation(
    "POST",
    "/job-packs",
    scope="read",
    body=PackRequest,
    query=PackQuery,
    answers={
        200: Answer(
            PackRead,
            "The orders planned together: as JSON, or by Accept the parts as CSV, all of it as plain text, or as a PDF "
            "with the sheets of each order, in the order of work",
            media=(*RENDERERS, PDF),
        )
    },
    refuses=("406", "409"),
    headers=("Accept",),
    example={"orders": ["0198f1f0-0000-7000-8000-000000000001", "0198f1f0-0000-7000-8000-000000000002"]},
)
def make_job_pack(call: Call) -> Response:
    """Plan several open orders together; nothing is stored"""
    media = best_media((JSON, *RENDERERS, PDF))
    with call.reading() as tx:
        pack = pack_of(tx, call.body["orders"])
        if media == PDF:
            return _printed(tx, call, pack)
    if media == JSON:
        return call.answer(pack, headers=VARY)
    renderer, name = RENDERERS[media]
    return _saved(renderer(pack, call.units), media, name, VARY)


def _printed(tx: Tx, call: Call, pack: Record) -> Response:
    """Answer the pack on paper."""
    from service.render.pdf.sheets.pack import Card, pdf_pack

    cards = [
        Card(card_record(order, revision), shaft_on_record(revision.inputs), card_address(order, revision))
        for order, revision in orders_in_turn(tx, pack)
    ]
    paper: PaperSize = call.query.get("paper") or ("letter" if call.units == "inch" else "a4")
    body = pdf_pack(pack, cards, units=call.units, paper=paper, level=call.query.get("level", "brief"))
    return Response(body, content_type=PDF, headers={"Content-Disposition": 'inline; filename="job-pack.pdf"', **VARY})


def _saved(body: str, media: str, name: str, headers: Mapping[str, str]) -> Response:
    named = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, content_type=f"{media}; charset=utf-8", headers={**named, **headers})
