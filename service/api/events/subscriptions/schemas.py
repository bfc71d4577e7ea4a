"""What is sent to /v1/subscriptions and what is answered."""

from marshmallow import fields as ma_fields
from marshmallow import validate

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, nested, word, words
from service.exchange.cloud_events import PREFIX, TYPES
from service.exchange.targets import LONGEST_URL
from service.words import SUBSCRIPTION_STATES

NAMES = tuple(PREFIX + name for name in TYPES)


_TYPES_SAID = "Types of events; all when left out or empty"


class SubscriptionRequest(StrictSchema):
    """Where events go, and which."""

    url = fields.Text(LONGEST_URL, required=True, metadata={"description": "https, in the list of the operator"})
    types = fields.Array(
        fields.Choice(NAMES), load_default=[], validate=validate.Length(max=60), metadata={"description": _TYPES_SAID}
    )
    after = fields.Whole(0, 2**62, metadata={"description": "Events after this one; those from now on when left out"})


class SubscriptionChange(StrictSchema):
    """What is said anew of a subscription."""

    url = fields.Text(LONGEST_URL, required=True)
    types = fields.Array(fields.Choice(NAMES), load_default=[], validate=validate.Length(max=60))
    status = fields.Choice(("active", "paused"), load_default="active")


class RotationRequest(StrictSchema):
    """How long the secret before stays good beside the new one."""

    grace = fields.QuantityField("time", least=0, most=168, metadata={"description": "24 h when left out"})


class ReplayRequest(StrictSchema):
    """Which events to send again: those after one, up to another."""

    after = fields.Whole(0, 2**62, required=True)
    until = fields.Whole(0, 2**62, required=True)


class SubscriptionRead(AnswerSchema):
    """A subscription; its secret is shown when it is made and never again."""

    id = word()
    version = ma_fields.Integer(required=True)
    url = word()
    types = words()
    status = ma_fields.String(required=True, metadata={"enum": list(SUBSCRIPTION_STATES)})
    status_reason = word(null=True)
    position = ma_fields.Integer(required=True, metadata={"description": "Events up to this one were handed over"})
    previous_secret_until = ma_fields.DateTime(required=True, allow_none=True)
    created_at = ma_fields.DateTime(required=True)
    updated_at = ma_fields.DateTime(required=True)


class SubscriptionMade(SubscriptionRead):
    """A subscription with its secret, shown this once."""

    secret = word(description="whsec_ and the key in base64 (Standard Webhooks)")


class SubscriptionPage(AnswerSchema):
    """A page of subscriptions."""

    items = nested(SubscriptionRead, many=True)
    next = word(null=True)


class Replayed(AnswerSchema):
    """How much of a replay was queued."""

    queued = ma_fields.Integer(required=True)
    read_to = ma_fields.Integer(required=True, metadata={"description": "Go on with this as `after` until complete"})
    complete = ma_fields.Boolean(required=True)
