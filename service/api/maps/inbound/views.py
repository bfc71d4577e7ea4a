"""/v1/inbound/{map}: a message of another system opens a work order, and gets its answer in its own shape."""

from typing import Any

from flask import Response

from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.api.maps.inbound.schemas import MappedAnswer
from service.api.maps.schemas import LOAD_ORDER, MOST_BYTES, Message
from service.api.maps.views import EXAMPLE
from service.api.orders.views import opening_headers
from service.store.unit_of_work import Tx, Written
from service.use_cases.maps.map_message import built_in_request, map_named, reply_of, request_of
from service.use_cases.maps.open_by_message import open_by_message
from service.use_cases.orders.records import order_record

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
        read = built_in_request(tx, known, call.body, LOAD_ORDER)
    given = request_of(known, call.body, LOAD_ORDER) if read is None else read

    def work(tx: Tx) -> Written:
        site = {"units": call.caller.units, "blade_set": call.caller.blade_set}
        opening = open_by_message(tx, known, given, call.data, **site)
        reply: dict[str, Any] | None = reply_of(known.document, opening, call.units)
        if reply is None:
            reply = order_record(tx, opening.order, opening.revision, fresh=bool(opening.events))
        body = call.json(reply)
        return Written(201 if opening.events else 200, body, opening_headers(opening, call), opening.events)

    return call.write(work)
