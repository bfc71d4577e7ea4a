"""/v1/work-orders/{id}/card-links: a link that opens the card of one order, to fill in on a phone."""

from datetime import UTC, datetime, timedelta

from flask import Response, current_app

from service.api.cards.links.schemas import USUAL_H, CardLinkRead, CardLinkRequest
from service.api.http import fields
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.problems import ProblemRaised
from service.api.http.schema import WriteQuery
from service.store.unit_of_work import Event, Tx, Written
from service.use_cases.orders.enter import held
from service.use_cases.orders.links import SCOPE, LinkRefused, token_of

blueprint = Blueprint("card links", __name__, url_prefix="/v1/work-orders", description="Cards to fill in on a phone")


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
