"""/card/{token}: the card of one work order on a phone; readings are typed in, judged and shown at once.

Pages for people, outside of /v1: the link is the key. A form sent twice is one reading; no deviation can be made here.
"""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Final
from urllib.parse import quote, unquote

from flask import Blueprint, Response, current_app, g, redirect, request
from marshmallow import ValidationError

from service.api.cards.forms import Form, NotTyped, forms_of, last_readings, reading_document, typed
from service.api.http import problems, watching
from service.api.http.operations import DECLARED
from service.api.orders.entries.reading_schemas import Readings
from service.api.orders.instructions import views as cards
from service.errors import NotFound, ServiceError
from service.instructions.readings.hold_points import HoldPoint
from service.render.card.filling import Filling, Result
from service.render.card.html import html_card
from service.render.card.shaft_line import shaft_on_record
from service.render.markup import content_policy, message_page
from service.store.queries import entries, work_orders
from service.store.queries.work_orders import RevisionRow, WorkOrderRow
from service.store.unit_of_work import Idempotency, Tx, Written
from service.use_cases.orders.enter import enter_reading
from service.use_cases.orders.held import held_order, hold_order, order_of
from service.use_cases.orders.links import CardLink, LinkRefused, link_of
from service.use_cases.orders.records import card_record
from service.words import UnitSystem

blueprint = Blueprint("card", __name__)
DECLARED.open_endpoints |= {"card.show", "card.enter"}

FORM_MEDIA: Final = "application/x-www-form-urlencoded"
NAME_COOKIE: Final = "taken_by"
_READINGS: Final = Readings()


@dataclass(frozen=True, slots=True)
class Shown:
    """An order as its link shows it."""

    order: WorkOrderRow
    revision: RevisionRow
    readings: Sequence[entries.ReadingRow]
    still_open: Sequence[HoldPoint]

    @property
    def forms(self) -> dict[int, list[Form]]:
        """Return the forms of an open order."""
        metric = self.revision.record["units"] == "metric"
        return forms_of(self.revision.record, metric=metric) if self.order.status == "open" else {}


@blueprint.get("/card/<token>", provide_automatic_options=False)
def show(token: str) -> Response:
    """Show the card; ``?as=pdf`` for paper."""
    try:
        link = _link(token)
        shown = _shown(link)
    except (LinkRefused, NotFound) as error:
        return _refused(error)
    if request.args.get("as") == "pdf":
        query = {"paper": "letter" if _units(link) == "inch" else "a4"}
        pdf = cards.card_body(
            cards.PDF, shown.order, shown.revision, units=_units(link), address=_address(token), query=query
        )
        return cards.card_answer(cards.PDF, pdf, shown.order, {})
    return _page(token, link, shown)


@blueprint.post("/card/<token>", provide_automatic_options=False)
def enter(token: str) -> Response:
    """Take one reading, and lead back to its step."""
    sent: dict[str, str] = {}
    try:
        link = _link(token)
        shown = _shown(link)
    except (LinkRefused, NotFound) as error:
        return _refused(error)
    if request.mimetype != FORM_MEDIA:
        return _page(token, link, shown, fault="this is filled in with its own forms only", status=415)
    try:
        sent = typed(request.form.to_dict(flat=False))
        _enter(token, link, sent)
    except NotTyped as error:
        return _page(token, link, shown, fault=str(error), sent=sent, status=422)
    except (ServiceError, ValidationError) as error:
        document = problems.document_of(error)
        said = document["errors"][0]["detail"] if document["errors"] else document["detail"]
        return _page(token, link, shown, fault=said.rstrip("."), sent=sent, status=document["status"])
    answer: Response = redirect(f"/card/{token}#step-{sent['step']}", code=303)  # type: ignore[assignment]
    secure = current_app.config["PUBLIC_URL"].startswith("https:")
    answer.set_cookie(
        NAME_COOKIE, quote(sent["taken_by"]), path=f"/card/{token}", httponly=True, samesite="Strict", secure=secure
    )
    return answer


def _link(token: str) -> CardLink:
    link = link_of(current_app.extensions["capsaddle"].keyring, token)
    g.caller, g.units = link.caller, link.caller.units
    watching.count(link.caller)  # a link is its key
    return link


@blueprint.errorhandler(problems.ProblemRaised)
def _stopped(error: problems.ProblemRaised) -> Response:
    """Say on a page that the key has sent as much as it may."""
    status, title = problems.CATALOGUE[error.code]
    answer = _html(message_page(f"{title}.", f"Nothing was stored: {error.detail}."), status)
    answer.headers.update(error.headers)
    return answer


def _shown(link: CardLink) -> Shown:
    with current_app.extensions["capsaddle"].database.read(link.caller.site_id) as tx:
        order = order_of(tx, link.order_id)
        at = held_order(tx, order)
        counting = {each.id for each in at.counting}
        readings = [row for row in entries.readings_of(tx, order.id) if row.id in counting]
    return Shown(order, at.revision, readings, at.hold_points())


def _revision(tx: Tx, order: WorkOrderRow, number: int) -> RevisionRow:
    found = work_orders.revision(tx, order.id, number)
    if found is None:
        raise NotTyped("the card has no such revision; load it again")
    return found


def _enter(token: str, link: CardLink, sent: Mapping[str, str]) -> None:
    """Store the reading that was typed; the same form with the same content again stores nothing."""
    content = "\n".join(f"{name}={sent[name]}" for name in sorted(sent))
    fingerprint = sha256(f"{token}\n{content}".encode()).hexdigest()
    once = Idempotency(key=f"card {fingerprint}", method="POST", route="/card/<token>", fingerprint=fingerprint)

    def work(tx: Tx) -> Written:
        at = hold_order(tx, link.order_id)
        number = sent.get("revision", "")
        issued = _revision(tx, at.order, int(number) if number.isascii() and number.isdigit() else 0)
        document = reading_document(sent, issued.record, revision=issued.number)
        given = _READINGS.load({"readings": [document]})["readings"][0]
        _, row, events = enter_reading(tx, at, given)
        return Written(201, row.id, {}, events)

    current_app.extensions["capsaddle"].database.write(
        site_id=link.caller.site_id,
        actor=link.caller.key_id,
        request_id=g.request_id,
        work=work,
        idempotency=once if sent.get("nonce") else None,
    )


def _page(
    token: str,
    link: CardLink,
    shown: Shown,
    *,
    fault: str | None = None,
    sent: Mapping[str, str] | None = None,
    status: int = 200,
) -> Response:
    filling = Filling(
        forms=shown.forms,
        results={
            number: [Result.of(row) for row in rows]
            for number, rows in last_readings(shown.revision.record, shown.readings).items()
        },
        still_open=[(point.number, point.title, point.position) for point in shown.still_open],
        by=(sent or {}).get("taken_by") or unquote(request.cookies.get(NAME_COOKIE, ""))[:80],
        revision=shown.revision.number,
        nonce=secrets.token_urlsafe(12),
        until=link.expires_at,
        status=shown.order.status,
        fault=fault,
        sent=dict(sent or {}),
        paper=f"/card/{token}?as=pdf",
    )
    body = html_card(
        card_record(shown.order, shown.revision),
        units=_units(link),
        shaft=shaft_on_record(shown.revision.inputs),
        address=_address(token),
        filling=filling,
    )
    return _html(body, status)


def _address(token: str) -> str:
    return f"{current_app.config['PUBLIC_URL']}/card/{token}"


def _units(link: CardLink) -> UnitSystem:
    return "inch" if link.caller.units == "inch" else "metric"


def _refused(error: Exception) -> Response:
    """Say that a link leads nowhere; whose order it was is not said."""
    expired = isinstance(error, LinkRefused) and error.expired
    said = "This link is past its time." if expired else "This link leads nowhere."
    return _html(message_page(said, "Ask for a new one where the work order was opened."), 410 if expired else 404)


def _html(body: str, status: int) -> Response:
    headers = {
        "Content-Security-Policy": content_policy("card.css", forms=True),
        "Referrer-Policy": "no-referrer",
        "Cache-Control": "no-store",
        "X-Robots-Tag": "noindex",
    }
    return Response(body, status=status, content_type="text/html; charset=utf-8", headers=headers)
