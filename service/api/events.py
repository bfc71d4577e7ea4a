"""/v1/events: what happened, in the order of commits, for those who keep a copy of it up to date."""

import threading
import time
from typing import Any, Final
from urllib.parse import urlencode

from flask import Response, current_app
from marshmallow import fields as ma_fields

from service.api import auth, fields
from service.api.answers import AnswerSchema, nested, word
from service.api.cloud_events import PREFIX, SPECVERSION, TYPES, cloud_event
from service.api.operations import Answer, Blueprint, Call
from service.api.problems import ProblemRaised
from service.api.schema import StrictSchema
from service.store import events
from service.store.events import Stretch

blueprint = Blueprint("events", __name__, url_prefix="/v1/events", description="Change feed, CloudEvents 1.0")

MOST_WAITING: Final = 2
"""Requests of one process that may wait for news at once; beyond them the answer comes at once, as it is."""
LOOKS_EVERY_S: Final = 0.25
_waiting = threading.BoundedSemaphore(MOST_WAITING)


class EventDataRead(AnswerSchema):
    """What happened to what; the record itself is read at ``link``."""

    kind = word(description="asset, work_order, stay ...")
    id = word()
    link = word(null=True)
    by_key = word(description="Id of the API key, or the command, that did it")
    request_id = word()
    sha256_before = word(null=True)
    sha256_after = word(null=True)
    changed = ma_fields.Dict(required=True, metadata={"description": "The facts of this type of event"})


class EventRead(AnswerSchema):
    """An event, CloudEvents 1.0."""

    specversion = ma_fields.String(required=True, metadata={"enum": [SPECVERSION]})
    id = word(description="Number of the event within its site; with `source` unique for ever")
    source = word(description="The site, as a URN")
    type = word(description="; ".join(f"{PREFIX}{name}: {meaning}" for name, meaning in TYPES.items()))
    subject = word(description="kind/id of what it happened to")
    time = ma_fields.DateTime(required=True)
    datacontenttype = word()
    sequence = word(description="The number again, sorting as text")
    data = nested(EventDataRead)


class EventPage(AnswerSchema):
    """A stretch of the feed."""

    items = nested(EventRead, many=True)
    next = word(description="Where to go on; never null, the feed has no last page")


class EventQuery(StrictSchema):
    """Where to go on, and what of it is wanted."""

    after = fields.Whole(
        0, 2**63 - 1, in_query=True, load_default=0, metadata={"description": "Number of the last event that was read"}
    )
    limit = fields.Whole(1, 500, in_query=True, load_default=50, metadata={"description": "Most events of an answer"})
    type = fields.Choice(tuple(PREFIX + name for name in TYPES), metadata={"description": "Only events of this type"})
    wait = fields.Whole(
        0, 30, in_query=True, load_default=0, metadata={"description": "Seconds to wait for news when there is none"}
    )


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
    """Return the next stretch; where there is none yet, look again until the time to wait is over."""
    until = time.monotonic() + call.query["wait"]
    found = _stretch(call, event_type)
    if found.events or not call.query["wait"] or not _waiting.acquire(blocking=False):
        return found
    try:
        while not found.events and (left_s := until - time.monotonic()) > 0:
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
