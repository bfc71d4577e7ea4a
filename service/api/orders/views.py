"""/v1/work-orders: a maintenance system opens an order, the instructions come back."""

from functools import partial

from flask import Response, current_app

from service.api.http import lists, versions
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import WriteQuery
from service.api.orders.schemas import (
    Cancellation,
    WorkOrderLine,
    WorkOrderPage,
    WorkOrderQuery,
    WorkOrderRead,
    WorkOrderRequest,
)
from service.store.queries import work_orders
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders.cancel import cancel_order
from service.use_cases.orders.held import order_of
from service.use_cases.orders.open import Opening, open_order
from service.use_cases.orders.records import order_line, order_record, revision_of

blueprint = Blueprint("work orders", __name__, url_prefix="/v1/work-orders", description="Work orders and instructions")


@blueprint.operation(
    "POST",
    "",
    scope="write",
    body=WorkOrderRequest,
    query=WriteQuery,
    answers={
        201: Answer(WorkOrderRead, "The order, with its instructions", headers=("ETag", "Location")),
        200: Answer(WorkOrderRead, "The order was opened before: the same, with its latest instructions"),
    },
    refuses=("409",),
    example={
        "external": {"system": "plant-a", "number": "WO-10231"},
        "asset": "DRY-2-FAN",
        "positions": ["tail"],
    },
)
def open_work_order(call: Call) -> Response:
    """Open a work order and get its instructions"""

    def work(tx: Tx) -> Written:
        opening = open_order(tx, call.body, units=call.caller.units, blade_set=call.caller.blade_set)
        body = partial(call.json, order_record(opening.order, opening.revision))
        return Written(201 if opening.events else 200, body, opening_headers(opening, call), opening.events)

    return call.write(work)


def opening_headers(opening: Opening, call: Call) -> dict[str, str]:
    """Return where the order is, and the version of its instructions."""
    return {
        "Location": f"{current_app.config['PUBLIC_URL']}/v1/work-orders/{opening.order.id}",
        "ETag": versions.etag(opening.order.revision, call.units),
    }


@blueprint.operation(
    "GET",
    "",
    scope="read",
    query=WorkOrderQuery,
    answers={200: Answer(WorkOrderPage, "A page of work orders, oldest first", headers=("Link",))},
)
def list_work_orders(call: Call) -> Response:
    """List work orders"""
    query = call.query
    with call.reading() as tx:
        rows = work_orders.page_of_work_orders(
            tx,
            system=query.get("system"),
            number=query.get("number"),
            asset=query.get("asset"),
            position=query.get("position"),
            status=query.get("status"),
            opened_from=query.get("from_"),
            opened_to=query.get("to"),
            after=lists.after(query, call.caller.site_id),
            limit=query["limit"] + 1,
        )
    body, headers = lists.page([order_line(row) for row in rows], query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<order_id>",
    scope="read",
    answers={200: Answer(WorkOrderRead, "The order with its latest instructions")},
)
def read_work_order(call: Call, order_id: str) -> Response:
    """Read a work order"""
    with call.reading() as tx:
        order = order_of(tx, order_id)
        revision = revision_of(tx, order)
    return call.answer(order_record(order, revision))


@blueprint.operation(
    "POST",
    "/<order_id>/cancellation",
    scope="write",
    body=Cancellation,
    answers={200: Answer(WorkOrderLine, "The order, cancelled")},
    refuses=("409",),
    example={"reason": "opened twice by mistake"},
)
def cancel_work_order(call: Call, order_id: str) -> Response:
    """Cancel an open work order"""
    reason = call.body["reason"]

    def work(tx: Tx) -> Written:
        order, event = cancel_order(tx, order_id, reason)
        return Written(200, call.json(order_line(order)), {}, (event,))

    return call.write(work)
