"""What is sent to /v1/work-orders/{id}/card-links and what is answered."""

from typing import Final

from marshmallow import fields as ma_fields

from service.api.http import fields
from service.api.http.schema import StrictSchema
from service.api.wire.answers import AnswerSchema, word

USUAL_H: Final = 168.0


LONGEST_H: Final = 2160.0


class CardLinkRequest(StrictSchema):
    """How long the link is good."""

    valid_for = fields.QuantityField(
        "time",
        above=0,
        most=LONGEST_H,
        metadata={"description": f"At most {LONGEST_H:g} h; {USUAL_H:g} h when left out"},
    )
    approves = fields.Flag(
        metadata={
            "description": "true: a second person may approve deviations on the phone; the key must carry `approve`"
        }
    )


class CardLinkRead(AnswerSchema):
    """A link to the card of a work order; whoever holds it may enter what is read, found and asked in this order."""

    url = word()
    expires_at = ma_fields.DateTime(required=True)
