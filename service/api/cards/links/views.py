"""/v1/work-orders/{id}/card-links: a link that opens the card of one order, to fill in on a phone."""

from datetime import UTC, datetime, timedelta

from flask import Response, current_app

from service.api.cards.links.schemas import USUAL_H, CardLinkRead, CardLinkRequest
from service.api.http.operations import Answer, Blueprint, Call
from service.api.http.problems import ProblemRaised
from service.api.http.schema import WriteQuery
from service.moments import rfc3339
from service.store.identity import canonical_id
from service.store.unit_of_work import Tx, Written
from service.use_cases.orders.links import APPROVE, SCOPE, LinkRefused, make_link, token_of

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
    approves = call.body.get("approves", False)
    if approves and APPROVE not in call.caller.scopes:
        raise ProblemRaised("scope_missing", "a link on which deviations are approved needs a key that may approve")
    url = f"{current_app.config['PUBLIC_URL']}/card/{_token(call, order_id, expires_at, approves=approves)}"
    body = {"url": url, "expires_at": rfc3339(expires_at)}

    def work(tx: Tx) -> Written:
        event = make_link(tx, order_id, expires_at=expires_at, approves=approves)
        return Written(201, call.json(body), {"Location": url}, (event,), confidential=True)

    return call.write(work)


def _token(call: Call, order_id: str, expires_at: datetime, *, approves: bool) -> str:
    """Return the token of the link; of an order that there cannot be, none."""
    if call.caller.person is not None:
        raise ProblemRaised("key_needed", "a link is signed on behalf of an API key and ends with it; send one")
    if canonical_id(order_id) is None:
        return ""
    try:
        return token_of(
            current_app.extensions["capsaddle"].keyring, call.caller, order_id, expires_at, approves=approves
        )
    except LinkRefused as error:
        raise ProblemRaised("bad_key", str(error)) from None
