"""/v1/subscriptions: who is told of events, where, and with which secret they are signed."""

from typing import Any

from flask import Response, current_app

from service.api.events.subscriptions.schemas import (
    Replayed,
    ReplayRequest,
    RotationRequest,
    SubscriptionChange,
    SubscriptionMade,
    SubscriptionPage,
    SubscriptionRead,
    SubscriptionRequest,
)
from service.api.http import lists, versions
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.schema import PageQuery, WriteQuery
from service.exchange.cloud_events import PREFIX
from service.exchange.signing import new_secret
from service.exchange.targets import AllowList
from service.moments import rfc3339
from service.store.queries import subscriptions
from service.store.queries.subscriptions import SubscriptionRow
from service.store.unit_of_work import Tx, Written
from service.use_cases.events import subscriptions as use_case
from service.use_cases.events.subscriptions import subscription_of

blueprint = Blueprint("subscriptions", __name__, url_prefix="/v1/subscriptions", description="Events sent to receivers")

EXAMPLE: dict[str, Any] = {
    "url": "https://cmms.example/hooks/bearings",
    "types": [PREFIX + "work_order.opened", PREFIX + "instructions.revised", PREFIX + "work_order.completed"],
}


def subscription_record(row: SubscriptionRow) -> dict[str, Any]:
    """Return the wire members of a subscription, without its secret."""
    until = row.previous_until
    return {
        "id": row.id,
        "version": row.version,
        "url": row.url,
        "types": [PREFIX + name for name in row.types],
        "status": row.status,
        "status_reason": row.status_reason,
        "position": row.position,
        "previous_secret_until": None if until is None else rfc3339(until),
        "created_at": rfc3339(row.created_at),
        "updated_at": rfc3339(row.updated_at),
    }


def _refuse_target(url: str) -> None:
    """Refuse a URL that the operator's list has not; the addresses are checked at every attempt."""
    settings = current_app.extensions["capsaddle"].settings
    AllowList(settings.webhook_targets, settings.webhook_loopback).target(url)


def _headers(row: SubscriptionRow, call: Call) -> dict[str, str]:
    return {"ETag": versions.etag(row.version, call.units)}


@blueprint.operation(
    "POST",
    "",
    scope="admin",
    body=SubscriptionRequest,
    query=WriteQuery,
    answers={201: Answer(SubscriptionMade, "The subscription, with its secret", headers=("ETag", "Location"))},
    example=EXAMPLE,
)
def create_subscription(call: Call) -> Response:
    """Subscribe to events"""
    _refuse_target(call.body["url"])
    secret = new_secret()
    sealed = current_app.extensions["capsaddle"].database.secret.seal(secret)

    def work(tx: Tx) -> Written:
        row, event = use_case.create_subscription(tx, call.body, secret=sealed)
        location = f"{current_app.config['PUBLIC_URL']}/v1/subscriptions/{row.id}"
        body = call.json({**subscription_record(row), "secret": secret})
        return Written(201, body, {**_headers(row, call), "Location": location}, (event,), confidential=True)

    return call.write(work)


@blueprint.operation(
    "GET",
    "",
    scope="admin",
    query=PageQuery,
    answers={200: Answer(SubscriptionPage, "A page of subscriptions, oldest first", headers=("Link",))},
)
def list_subscriptions(call: Call) -> Response:
    """List subscriptions"""
    start, limit = lists.after(call.query, call.caller.site_id), call.query["limit"] + 1
    with call.reading() as tx:
        rows = subscriptions.page_of_subscriptions(tx, after=start, limit=limit)
    body, headers = lists.page([subscription_record(row) for row in rows], call.query, call.caller.site_id)
    return call.answer(body, headers=headers)


@blueprint.operation(
    "GET",
    "/<subscription_id>",
    scope="admin",
    answers={200: Answer(SubscriptionRead, "The subscription", headers=("ETag",)), 304: Answer(None, "Unchanged")},
    headers=("If-None-Match",),
)
def read_subscription(call: Call, subscription_id: str) -> Response:
    """Read a subscription"""
    with call.reading() as tx:
        row = subscription_of(tx, subscription_id)
    return call.versioned(subscription_record(row), row.version)


@blueprint.operation(
    "PUT",
    "/<subscription_id>",
    scope="admin",
    body=SubscriptionChange,
    query=WriteQuery,
    answers={200: Answer(SubscriptionRead, "The subscription as it is now", headers=("ETag",))},
    refuses=("412", "428"),
    headers=("If-Match",),
    example={**EXAMPLE, "status": "paused"},
)
def change_subscription(call: Call, subscription_id: str) -> Response:
    """Change a subscription, pause it, or take it up again where it stopped"""

    def work(tx: Tx) -> Written:
        before = subscription_of(tx, subscription_id)
        versions.required_version(before.version, call.units)
        _refuse_target(call.body["url"])
        row, event = use_case.change_subscription(tx, before, call.body)
        return Written(200, call.json(subscription_record(row)), _headers(row, call), (event,))

    return call.write(work)


@blueprint.operation(
    "DELETE",
    "/<subscription_id>",
    scope="admin",
    answers={204: Answer(None, "The subscription is gone, with its deliveries")},
    refuses=("412", "428"),
    headers=("If-Match",),
)
def delete_subscription(call: Call, subscription_id: str) -> Response:
    """Delete a subscription"""

    def work(tx: Tx) -> Written:
        before = subscription_of(tx, subscription_id)
        versions.required_version(before.version, call.units)
        return Written(204, "", {}, (use_case.delete_subscription(tx, before),))

    return call.write(work)


@blueprint.operation(
    "POST",
    "/<subscription_id>/secret",
    scope="admin",
    body=RotationRequest,
    query=WriteQuery,
    answers={201: Answer(SubscriptionMade, "The new secret; both sign until the old one ends", headers=("ETag",))},
    refuses=("412",),
    example={"grace": {"value": 24, "unit": "h"}},
)
def rotate_secret(call: Call, subscription_id: str) -> Response:
    """Make a new secret; the one before signs too for a while"""
    secret = new_secret()
    sealed = current_app.extensions["capsaddle"].database.secret.seal(secret)

    def work(tx: Tx) -> Written:
        grace_h = call.body.get("grace", use_case.USUAL_GRACE_H)
        row, event = use_case.rotate_secret(tx, subscription_id, secret=sealed, grace_h=grace_h)
        body = call.json({**subscription_record(row), "secret": secret})
        return Written(201, body, _headers(row, call), (event,), confidential=True)

    return call.write(work)


@blueprint.operation(
    "POST",
    "/<subscription_id>/replay",
    scope="admin",
    body=ReplayRequest,
    query=WriteQuery,
    answers={202: Answer(Replayed, "Queued, at most 1,000 events at once")},
    example={"after": 100, "until": 250},
)
def replay_events(call: Call, subscription_id: str) -> Response:
    """Send events again, under the ids they had"""
    after, until = call.body["after"], call.body["until"]
    use_case.refuse_range(after, until)

    def work(tx: Tx) -> Written:
        replay = use_case.replay_events(tx, subscription_id, after=after, until=until)
        return Written(202, call.json(replay.record()))

    return call.write(work)
