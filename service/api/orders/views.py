"""/v1/work-orders: a maintenance system opens an order, the instructions come back."""

from datetime import datetime
from functools import partial
from typing import Any

from flask import Response, current_app

from service.api.http import fields, lists, versions
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
from service.errors import NotFound
from service.record import Kept
from service.store.queries import work_orders
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.unit_of_work import Event, Tx, Written
from service.use_cases.orders.open import Opening, opened

blueprint = Blueprint("work orders", __name__, url_prefix="/v1/work-orders", description="Work orders and instructions")


def order_line(row: WorkOrderRow) -> dict[str, Any]:
    """Return the wire members of a work order without its instructions."""
    return {
        "id": row.id,
        "external": {"system": row.external_system, "number": row.external_number},
        "asset": row.asset_tag,
        "asset_id": row.asset_id,
        "positions": [position["name"] for position in row.positions],
        "kind": row.kind,
        "status": row.status,
        "opened_at": fields.rfc3339(row.opened_at),
        "closed_at": _time(row.closed_at),
        "cancel_reason": row.cancel_reason,
        "revision": row.revision,
    }


def instructions_record(row: RevisionRow) -> dict[str, Any]:
    """Return the wire members of a revision of the instructions."""
    return _beside(row) | row.record


def _beside(row: RevisionRow) -> dict[str, Any]:
    return {
        "id": row.id,
        "revision": row.number,
        "supersedes": row.supersedes,
        "created_at": fields.rfc3339(row.created_at),
        "sha256": row.sha256,
    }


def instructions_kept(row: RevisionRow) -> Kept:
    """Return the same members for an answer: the record as it is stored."""
    return Kept(_beside(row), row.text)


def order_record(row: WorkOrderRow, revision: RevisionRow) -> dict[str, Any]:
    """Return the wire members of a work order with its instructions."""
    return {**order_line(row), "instructions": instructions_kept(revision)}


def _time(time: datetime | None) -> str | None:
    return None if time is None else fields.rfc3339(time)


def order_of(tx: Tx, order_id: str) -> WorkOrderRow:
    """Return the order, or raise NotFound."""
    row = work_orders.work_order_by_id(tx, order_id) if fields.is_identifier(order_id) else None
    if row is None:
        raise NotFound("no work order of this site has this id")
    return row


def revision_of(tx: Tx, order: WorkOrderRow, number: int | None = None) -> RevisionRow:
    """Return one revision of the order's instructions, the latest without a number, or raise NotFound."""
    row = work_orders.revision(tx, order.id, number)
    if row is None:
        raise NotFound(f"the work order has no revision {number}; the latest is {order.revision}")
    return row


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
        opening = opened(tx, call.body, units=call.caller.units, blade_set=call.caller.blade_set)
        body = partial(call.json, order_record(opening.order, opening.revision))
        return Written(201 if opening.events else 200, body, opening_headers(opening, call), opening.events)

    return call.written(work)


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
        order = work_orders.cancel_work_order(tx, order_of(tx, order_id).id, reason)
        event = Event("work_order.cancelled", "work_order", order.id, None, None, {"reason": reason})
        return Written(200, call.json(order_line(order)), {}, (event,))

    return call.written(work)
