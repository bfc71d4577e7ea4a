"""What is sent to /v1/events and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, nested, word
from service.exchange.cloud_events import PREFIX, SPECVERSION, TYPES


class EventDataRead(AnswerSchema):
    """What happened to what; the record itself is read at ``link``."""

    kind = word(description="asset, work_order, stay ...")
    id = word()
    link = word(null=True)
    by_key = word(description="Id of the API key that did it, `person:` and the subject of a token, or the command")
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
