"""What is sent to /v1/subscriptions/{id}/deliveries and what is answered."""

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import PageQuery
from service.api.wire.answers import AnswerSchema, nested, word
from service.words import DELIVERY_STATES


class DeliveryRead(AnswerSchema):
    """One event for the receiver."""

    id = word()
    event = ma_fields.Integer(
        required=True, allow_none=True, metadata={"description": "Number of the event; null for a test ping"}
    )
    type = word()
    subject = word()
    status = ma_fields.String(required=True, metadata={"enum": list(DELIVERY_STATES)})
    attempts = ma_fields.Integer(required=True)
    next_attempt_at = ma_fields.DateTime(required=True, allow_none=True)
    created_at = ma_fields.DateTime(required=True)
    ended_at = ma_fields.DateTime(required=True, allow_none=True)


class AttemptRead(AnswerSchema):
    """One attempt; what the receiver wrote is not kept."""

    number = ma_fields.Integer(required=True)
    at = ma_fields.DateTime(required=True)
    status = ma_fields.Integer(required=True, allow_none=True)
    outcome = word(
        description="delivered, answered (another status), timeout, not_reached, not_resolved, not_allowed, tls ..."
    )
    duration_ms = ma_fields.Integer(required=True)


class DeliveryWithAttempts(DeliveryRead):
    """One event for the receiver, with every attempt."""

    attempt_list = nested(AttemptRead, many=True)


class DeliveryPage(AnswerSchema):
    """A page of deliveries."""

    items = nested(DeliveryRead, many=True)
    next = word(null=True)


class DeliveryQuery(PageQuery):
    """Filters of the list of deliveries."""

    status = fields.Choice(DELIVERY_STATES, metadata={"description": "dead: given up; kept for 30 days"})
