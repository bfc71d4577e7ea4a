"""/v1/inbound/{map}: a message of another system opens a work order, and gets its answer in its own shape."""

from dataclasses import replace
from hashlib import sha256
from typing import Any

from flask import Response

from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.api.maps.inbound.schemas import MappedAnswer
from service.api.maps.schemas import MOST_BYTES, Message
from service.api.maps.views import EXAMPLE
from service.api.orders.views import opening_headers, order_record
from service.store.queries import field_maps
from service.store.unit_of_work import Event, Tx, Written
from service.use_cases.maps.map_message import KnownMap, map_named, reply_of, request_of
from service.use_cases.orders.open import Opening, opened

blueprint = Blueprint("inbound", __name__, url_prefix="/v1/inbound", description="Messages of other systems")


@blueprint.operation(
    "POST",
    "/<map_name>",
    scope="write",
    body=Message,
    query=WriteQuery,
    answers={
        201: Answer(MappedAnswer, "The order is opened; the answer as the map shapes it", headers=("ETag", "Location")),
        200: Answer(MappedAnswer, "The order was opened before: the same, with its latest instructions"),
    },
    refuses=("409",),
    example=EXAMPLE["samples"][0]["message"],
    most_bytes=MOST_BYTES,
)
def take_in(call: Call, map_name: str) -> Response:
    """Open a work order from a message of another system"""
    with call.reading() as tx:
        known = map_named(tx, map_name)
    given = request_of(known, call.body)

    def work(tx: Tx) -> Written:
        opening = opened(tx, given, units=call.caller.units, blade_set=call.caller.blade_set)
        reply: dict[str, Any] | None = reply_of(known.document, opening, call.units)
        body = call.json(order_record(opening.order, opening.revision) if reply is None else reply)
        events = _kept(tx, opening, known, call.data) if opening.events else ()
        return Written(201 if events else 200, body, opening_headers(opening, call), events)

    return call.written(work)


def _kept(tx: Tx, opening: Opening, known: KnownMap, data: bytes) -> tuple[Event, ...]:
    """Keep the message that the order was made of, and name it in the order's event."""
    named, digest = f"{known.name}/{known.version}", sha256(data).hexdigest()
    field_maps.insert_message(
        tx,
        work_order_id=opening.order.id,
        field_map_id=known.id,
        field_map=named,
        sha256=digest,
        body=data.decode("utf-8"),
    )
    *before, event = opening.events
    return (*before, replace(event, data={**event.data, "field_map": named, "message_sha256": digest}))
