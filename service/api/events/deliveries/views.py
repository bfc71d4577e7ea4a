"""/v1/subscriptions/{id}/deliveries: what was sent, every attempt, and sending again."""

from typing import Any

from flask import Response

from service.api.events.deliveries.schemas import (
    DeliveryPage,
    DeliveryQuery,
    DeliveryRead,
    DeliveryWithAttempts,
)
from service.api.events.subscriptions.views import blueprint
from service.api.http import lists
from service.api.http.operations import Answer, Call
from service.api.http.schema import WriteQuery
from service.exchange.cloud_events import PREFIX
from service.moments import rfc3339
from service.store.queries import deliveries
from service.store.queries.deliveries import AttemptRow, DeliveryRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.events import subscriptions as use_case
from service.use_cases.events.subscriptions import delivery_of, queue_ping, subscription_of

__all__ = ["blueprint"]


def delivery_record(row: DeliveryRow) -> dict[str, Any]:
    """Return the wire members of a delivery."""
    return {
        "id": row.id,
        "event": row.seq,
        "type": PREFIX + row.event_type,
        "subject": row.subject,
        "status": row.status,
        "attempts": row.attempts,
        "next_attempt_at": rfc3339(row.next_attempt_at) if row.status == "pending" else None,
        "created_at": rfc3339(row.created_at),
        "ended_at": None if row.ended_at is None else rfc3339(row.ended_at),
    }


def _attempt(row: AttemptRow) -> dict[str, Any]:
    told = {"number": row.number, "at": rfc3339(row.at), "status": row.status}
    return {**told, "outcome": row.outcome, "duration_ms": row.duration_ms}


@blueprint.operation(
    "POST",
    "/<subscription_id>/ping",
    scope="admin",
    query=WriteQuery,
    answers={202: Answer(DeliveryRead, "A test event is queued; read the delivery to see what came of it")},
)
def ping_subscription(call: Call, subscription_id: str) -> Response:
    """Send a test event"""

    def work(tx: Tx) -> Written:
        made = queue_ping(tx, subscription_id)
        return Written(202, call.json(delivery_record(made)))

    return call.write(work)


@blueprint.operation(
    "GET",
    "/<subscription_id>/deliveries",
    scope="admin",
    query=DeliveryQuery,
    answers={200: Answer(DeliveryPage, "A page of deliveries, oldest first", headers=("Link",))},
)
def list_deliveries(call: Call, subscription_id: str) -> Response:
    """List what was and is to be delivered"""
    start, limit = lists.after(call.query, call.caller.site_id), call.query["limit"] + 1
    with call.reading() as tx:
        row = subscription_of(tx, subscription_id)
        found = deliveries.page_of_deliveries(tx, row.id, status=call.query.get("status"), after=start, limit=limit)
    body, headers = lists.page([delivery_record(each) for each in found], call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<subscription_id>/deliveries/<delivery_id>",
    scope="admin",
    answers={200: Answer(DeliveryWithAttempts, "The delivery, with every attempt")},
)
def read_delivery(call: Call, subscription_id: str, delivery_id: str) -> Response:
    """Read a delivery with its attempts"""
    with call.reading() as tx:
        row = delivery_of(tx, subscription_id, delivery_id)
        attempts = deliveries.attempts_of(tx, row.id)
    return call.answer({**delivery_record(row), "attempt_list": [_attempt(each) for each in attempts]})


@blueprint.operation(
    "POST",
    "/<subscription_id>/deliveries/<delivery_id>/redelivery",
    scope="admin",
    query=WriteQuery,
    answers={202: Answer(DeliveryRead, "The event is queued again, under the id it had")},
)
def redeliver(call: Call, subscription_id: str, delivery_id: str) -> Response:
    """Deliver an event again; one that is waiting still stays as it is"""

    def work(tx: Tx) -> Written:
        row = use_case.redeliver(tx, subscription_id, delivery_id)
        return Written(202, call.json(delivery_record(row)))

    return call.write(work)
