"""/v1/work-orders/{id}/card-links: a link that opens the card of one order, to fill in on a phone."""

from datetime import UTC, datetime, timedelta
from typing import Final

from flask import Response, current_app
from marshmallow import fields as ma_fields

from service.api import fields
from service.api.answers import AnswerSchema, word
from service.api.link_tokens import SCOPE, LinkRefused, token_of
from service.api.operations import Answer, Blueprint, Call
from service.api.problems import ProblemRaised
from service.api.recording import held
from service.api.schema import StrictSchema, WriteQuery
from service.store.unit_of_work import Event, Tx, Written

blueprint = Blueprint("card links", __name__, url_prefix="/v1/work-orders", description="Cards to fill in on a phone")

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


class CardLinkRead(AnswerSchema):
    """A link to the card of a work order; whoever holds it may send readings for this order, and nothing else."""

    url = word()
    expires_at = ma_fields.DateTime(required=True)


@blueprint.operation(
    "POST",
    "/<order_id>/card-links",
    scope=SCOPE,
    body=CardLinkRequest,
    query=WriteQuery,
    answers={201: Answer(CardLinkRead, "The link; it ends with the API key that made it", headers=("Location",))},
    refuses=("409",),
    example={"valid_for": {"value": 72, "unit": "h"}},
)
def make_card_link(call: Call, order_id: str) -> Response:
    """Make a link to the card, to fill in on a phone"""
    valid_h = 0.0 if call.query.get("dry_run") == "true" else call.body.get("valid_for", USUAL_H)
    expires_at = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=valid_h)  # a dry run's opens nothing
    url = f"{current_app.config['PUBLIC_URL']}/card/{_token(call, order_id, expires_at)}"
    body = {"url": url, "expires_at": fields.rfc3339(expires_at)}

    def work(tx: Tx) -> Written:
        order = held(tx, order_id).order
        event = Event("card_link.made", "work_order", order.id, None, None, {"expires_at": body["expires_at"]})
        return Written(201, call.json(body), {"Location": url}, (event,))

    return call.written(work)


def _token(call: Call, order_id: str, expires_at: datetime) -> str:
    """Return the token of the link; of an order that there cannot be, none."""
    if not fields.is_identifier(order_id):
        return ""
    try:
        return token_of(current_app.extensions["capsaddle"].keyring, call.caller, order_id, expires_at)
    except LinkRefused as error:
        raise ProblemRaised("bad_key", str(error)) from None
