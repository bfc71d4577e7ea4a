"""/v1/events: what happened, in the order of commits, for those who keep a copy of it up to date."""

import threading
import time
from typing import Any, Final
from urllib.parse import urlencode

from flask import Response, current_app

from service.api.events.schemas import EventPage, EventQuery
from service.api.http import auth
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.problems import ProblemRaised
from service.exchange.cloud_events import PREFIX, cloud_event
from service.store.queries import events
from service.store.queries.events import Stretch

blueprint = Blueprint("events", __name__, url_prefix="/v1/events", description="Change feed, CloudEvents 1.0")

MOST_WAITING: Final = 2
"""Requests of one process that may wait for news at once; beyond them the answer comes at once, as it is."""
LOOKS_EVERY_S: Final = 0.25
_waiting = threading.BoundedSemaphore(MOST_WAITING)


EXAMPLE: dict[str, Any] = {
    "items": [
        {
            "specversion": "1.0",
            "id": "118",
            "source": "urn:uuid:0198f0de-7a70-7000-8000-7d1f00000000",
            "type": "internal.capsaddle.work_order.completed",
            "subject": "work_order/0198f0df-1c00-7000-8000-7d1f00000001",
            "time": "2026-01-07T15:31:02.000000Z",
            "datacontenttype": "application/json",
            "sequence": "0000000000000000118",
            "data": {
                "kind": "work_order",
                "id": "0198f0df-1c00-7000-8000-7d1f00000001",
                "link": "/v1/work-orders/0198f0df-1c00-7000-8000-7d1f00000001",
                "by_key": "k7Hq2vXw",
                "request_id": "4c1a0c0b8f1d4c4f8b1e",
                "sha256_before": None,
                "sha256_after": None,
                "changed": {"outcomes": {"tail": "replaced"}},
            },
        }
    ],
    "next": "/v1/events?after=118",
}


@blueprint.operation(
    "GET",
    "",
    scope="read",
    query=EventQuery,
    answers={200: Answer(EventPage, "Events in the order in which they were committed", example=EXAMPLE)},
)
def list_events(call: Call) -> Response:
    """Read what happened after an event

    Nothing is left out and nothing stands twice: go on with `next` and keep the last one. The numbers of a site have
    no gap. An event may be read again; `source` and `id` tell it.
    """
    wanted = call.query.get("type")
    found = _awaited(call, None if wanted is None else wanted.removeprefix(PREFIX))
    public_url = current_app.config["PUBLIC_URL"]
    items = [cloud_event(row, call.caller.site_id, public_url=public_url) for row in found.events]
    kept = {name: call.query[name] for name in ("limit", "type") if name in call.query}
    after = urlencode({"after": found.read_to, **kept})
    return call.answer({"items": items, "next": f"{public_url}/v1/events?{after}"})


def _awaited(call: Call, event_type: str | None) -> Stretch:
    """Return the next stretch; where there is none yet, look again until the time is over or the server stops."""
    until = time.monotonic() + call.query["wait"]
    found = _stretch(call, event_type)
    if found.events or not call.query["wait"] or not _waiting.acquire(blocking=False):
        return found
    try:
        shared = current_app.extensions["capsaddle"].shared
        while not found.events and (left_s := until - time.monotonic()) > 0 and not shared.stopping:
            time.sleep(min(LOOKS_EVERY_S, left_s))
            auth.still_in_force(call.caller)
            found = _stretch(call, event_type)
        return found
    finally:
        _waiting.release()


def _stretch(call: Call, event_type: str | None) -> Stretch:
    after = call.query["after"]
    with call.reading() as tx:
        found = events.stretch(tx, after=after, limit=call.query["limit"], event_type=event_type)
    if after > found.head:
        said = (
            "the feed does not reach this number; if the database was restored from a backup, read the feed again from "
            "the last event that you know to be in it"
        )
        fault = {"parameter": "after", "code": "bad_cursor", "detail": said}
        raise ProblemRaised("bad_cursor", f"after: {said}", faults=[fault])
    return found
