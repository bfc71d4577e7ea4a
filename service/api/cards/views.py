"""/card/{token}: the card of one work order on a phone, one step at a time; what is entered is judged at once.

Pages for people, outside of /v1: the link is the key. They work as plain pages with forms; with their script they go
on without a signal, and send what was kept once it is back.
"""

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import wraps
from hashlib import sha256
from typing import Any, Final
from urllib.parse import quote

from flask import Blueprint, Response, redirect, request
from marshmallow import ValidationError

from service.api.cards import photographs, screens
from service.api.cards.entering import Entered, enter
from service.api.cards.forms import NotTyped
from service.api.cards.page import (
    CardPage,
    card_link,
    card_page,
    nonce,
    refused,
    refused_status,
    remember_name,
    stopped,
)
from service.api.cards.sent import document_sent, entry_sent
from service.api.http import problems
from service.api.http.operations import DECLARED
from service.api.orders.instructions import views as cards
from service.errors import NotFound, ServiceError
from service.exchange import strict_json
from service.exchange.photos import MOST_BYTES
from service.render.phone import pages
from service.use_cases.orders.links import LinkRefused

blueprint = Blueprint("card", __name__)
FORM_MEDIA: Final = "application/x-www-form-urlencoded"
JSON_MEDIA: Final = "application/json"
FORM_ROOM: Final = 65_536
"""Bytes of a form around its photo."""
View = Callable[..., Response]


def opened(view: View) -> View:
    """Return the view of a page, given the card of its link; a link that leads nowhere says so."""

    @wraps(view)
    def shown(token: str, **path: Any) -> Response:
        try:
            card = card_page(token)
        except (LinkRefused, NotFound) as error:
            return refused(error)
        try:
            return view(card, **path)
        except NotFound as error:
            return card.page(screens.not_taken(card, str(error.detail)), 404)

    DECLARED.open_endpoints.add(f"card.{view.__name__}")
    return shown


def route(rule: str, *methods: str) -> Callable[[View], View]:
    """Return what registers a view below the address of a card."""

    def registered(view: View) -> View:
        blueprint.add_url_rule(
            f"/card/<token>{rule}", view.__name__, view, methods=list(methods), provide_automatic_options=False
        )
        DECLARED.open_endpoints.add(f"card.{view.__name__}")
        return view

    return registered


@blueprint.errorhandler(problems.ProblemRaised)
def stop_key(error: problems.ProblemRaised) -> Response:
    """Say on a page that the key has sent as much as it may."""
    status, title = problems.CATALOGUE[error.code]
    answer = stopped(f"{title}.", f"Nothing was stored: {error.detail}.", status)
    answer.headers.update(error.headers)
    return answer


@blueprint.get("/card/sw.js", provide_automatic_options=False)
def worker() -> Response:
    """The service worker of all cards: the same for everybody, made anew with each version."""
    headers = {"Cache-Control": "no-cache", "Content-Security-Policy": "default-src 'none'; connect-src 'self'"}
    return Response(pages.worker(), content_type="text/javascript; charset=utf-8", headers=headers)


DECLARED.open_endpoints.add("card.worker")


@route("", "GET")
@opened
def show(card: CardPage) -> Response:
    """Where the job stands, what blocks it, what comes next; ``?as=pdf`` for paper."""
    if request.args.get("as") != "pdf":
        return card.page(screens.overview_screen(card))
    query = {"paper": "letter" if card.units == "inch" else "a4"}
    order, revision = card.shown.order, card.shown.revision
    pdf = cards.card_body(cards.PDF, order, revision, units=card.units, address=card.address, query=query)
    return cards.card_answer(cards.PDF, pdf, order, {})


@route("/step/<int:number>", "GET")
@route("/step/<int:number>/<path:position>", "GET")
@opened
def step(card: CardPage, number: int, position: str | None = None) -> Response:
    """One step at one bearing, with the form of what is read there."""
    place = screens.place_of(card, number, position)
    given = request.args
    inside = screens.step_of_card(
        card,
        place,
        kind=given.get("kind"),
        replaces=given.get("replaces"),
        nonce=nonce(),
        sent={},
        ticked=given.get("done"),
    )
    return card.page(inside)


@route("/step/<int:number>", "POST")
@route("/step/<int:number>/<path:position>", "POST")
@opened
def enter_reading(card: CardPage, number: int, position: str | None = None) -> Response:
    """Take one reading from a form without script, and lead to its verdict."""
    place = screens.place_of(card, number, position)

    def again(sent: Mapping[str, str], fault: str) -> str:
        return screens.step_of_card(
            card, place, kind=sent.get("kind"), replaces=sent.get("replaces"), nonce=nonce(), sent=sent, fault=fault
        )

    return _taken(card, "reading", again, lambda made: screens.after_reading(card_page(card.token), made))


@route("/reading/<reading>", "GET")
@opened
def reading(card: CardPage, reading: str) -> Response:
    """What a reading is worth, and what to do now."""
    return card.page(screens.reading_screen(card, reading))


@route("/steps", "GET")
@opened
def steps(card: CardPage) -> Response:
    """All steps with what is done."""
    return card.page(screens.steps_screen(card))


@route("/numbers", "GET")
@opened
def numbers(card: CardPage) -> Response:
    """The six numbers of each bearing."""
    return card.page(screens.numbers_screen(card))


@route("/questions", "GET")
@opened
def questions(card: CardPage) -> Response:
    """What is not known, and who knows it."""
    return card.page(screens.questions_screen(card, request.args.get("sent")))


@route("/answer/<question>", "GET", "POST")
@route("/answer/<question>/<path:position>", "GET", "POST")
@opened
def answer(card: CardPage, question: str, position: str | None = None) -> Response:
    """Answer an open question: the card is made anew with it."""
    asked = screens.question_of(card, question, position)
    if request.method == "GET":
        return card.page(screens.answer_screen(card, asked, nonce=nonce()))
    return _taken(
        card,
        "answer",
        lambda sent, fault: screens.answer_screen(card, asked, nonce=nonce(), sent=sent, fault=fault),
        lambda _: f"/questions?sent={datetime.now(UTC):%H:%M}",
    )


@route("/unsent", "GET")
@opened
def unsent(card: CardPage) -> Response:
    """What waits on this phone; the script fills it in."""
    return card.page(card.screen("unsent"))


@route("/ask/<int:number>", "GET", "POST")
@route("/ask/<int:number>/<path:position>", "GET", "POST")
@opened
def question(card: CardPage, number: int, position: str | None = None) -> Response:
    """Say that a step is not possible, or ask."""
    place = screens.place_of(card, number, position)
    if request.method == "GET":
        return card.page(screens.ask_screen(card, place, nonce=nonce(), sent_at=request.args.get("sent")))
    return _taken(
        card,
        "ask",
        lambda sent, fault: screens.ask_screen(card, place, nonce=nonce(), sent=sent, fault=fault),
        lambda _: f"/ask{place.path[5:]}?sent={datetime.now(UTC):%H:%M}",
    )


@route("/deviation/<int:number>", "GET", "POST")
@route("/deviation/<int:number>/<path:position>", "GET", "POST")
@opened
def deviation(card: CardPage, number: int, position: str | None = None) -> Response:
    """Have a second person let a step pass, where the link allows it."""
    if not card.link.approves:
        raise NotFound("deviations are not approved on this card")
    place = screens.place_of(card, number, position)
    if request.method == "GET":
        return card.page(screens.deviation_screen(card, place, nonce=nonce()))
    return _taken(
        card,
        "deviation",
        lambda sent, fault: screens.deviation_screen(card, place, nonce=nonce(), sent=sent, fault=fault),
        lambda _: place.path,
    )


@route("/as-found/<path:position>", "GET", "POST")
@opened
def as_found(card: CardPage, position: str) -> Response:
    """The form of what is found under a cap."""
    screens.position_known(card, position)
    if request.method == "GET":
        return card.page(screens.found_screen(card, position, nonce=nonce(), sent_at=request.args.get("sent")))
    return _taken(
        card,
        "as_found",
        lambda sent, fault: screens.found_screen(card, position, nonce=nonce(), sent=sent, fault=fault),
        lambda _: f"/as-found/{quote(position, safe='')}?sent={datetime.now(UTC):%H:%M}",
    )


def _taken(
    card: CardPage, what: str, again: Callable[[Mapping[str, str], str], str], leads_to: Callable[[str], str]
) -> Response:
    """Store what a form without script sent; what is not taken stands in its form still."""
    if request.mimetype != FORM_MEDIA:
        return card.page(again({}, "this is filled in with its own forms only"), 415)
    fields: dict[str, list[str]] = request.form.to_dict(flat=False)
    sent = {name: "\n".join(values).strip() for name, values in fields.items()}
    lines = screens.lines_of(card, sent.get("position", "")) if what == "as_found" else ()
    try:
        made = enter(card.link, Entered(what, fields, None, datetime.now(UTC)), lines)
    except (NotTyped, ServiceError, ValidationError) as error:
        status, said, _ = _fault(error)
        return card_page(card.token).page(again(sent, said.rstrip(".")), status)
    answer: Response = redirect(f"{card.base}{leads_to(made)}", code=303)  # type: ignore[assignment]
    remember_name(answer, card.base, sent.get("taken_by", ""))
    return answer


def _fault(error: Exception) -> tuple[int, str, str]:
    """Return status, words and code of what was refused."""
    if isinstance(error, NotTyped):
        return 422, str(error), "invalid"
    assert isinstance(error, (ServiceError, ValidationError))
    document = problems.document_of(error)
    said = document["errors"][0]["detail"] if document["errors"] else document["detail"]
    return int(document["status"]), said, document["code"]


@route("/photos", "POST")
def add_card_photo(token: str) -> Response:
    """Keep a photo: bytes from the script of the page, or a form without script."""
    request.max_content_length = MOST_BYTES + FORM_ROOM
    try:
        return photographs.posted(card_link(token), token)
    except (LinkRefused, NotFound) as error:
        return _json({"code": "not_found"}, refused_status(error))
    except (NotTyped, ServiceError, ValidationError) as error:
        status, said, code = _fault(error)
        if request.mimetype == photographs.MULTIPART:
            card = card_page(token)
            return card.page(screens.not_taken(card, f"Not taken: {said}"), status)
        return _json({"code": code, "detail": said}, status)


@route("/photos/<photo>", "GET")
@opened
def card_photo(card: CardPage, photo: str) -> Response:
    """A photo of this order."""
    return photographs.shown(card.link, photo)


@route("/state", "GET")
def state(token: str) -> Response:
    """At which revision the order stands: asked by a phone before anything is entered."""
    try:
        card = card_page(token)
    except (LinkRefused, NotFound) as error:
        return _json({"code": "not_found"}, refused_status(error))
    return _json({"revision": card.shown.revision.number, "status": card.shown.order.status}, 200)


@route("/pages", "GET")
def kept_pages(token: str) -> Response:
    """Every screen of the card in one answer, for a phone to keep; 304 while nothing has changed."""
    try:
        card = card_page(token)
    except (LinkRefused, NotFound) as error:
        return _json({"code": "not_found"}, refused_status(error))
    tag = f'"{_tag(card)}"'
    headers = {"ETag": tag, "Cache-Control": "no-store"}
    if request.headers.get("If-None-Match", "").removeprefix("W/") == tag:  # weak once a proxy has compressed it
        return Response(status=304, headers=headers)
    made = f"{datetime.now(UTC):%Y-%m-%dT%H:%M}Z"
    kept = pages.kept(card.shell(), screens.all_screens(card), revision=card.shown.revision.number, made=made)
    return _json(kept, 200, headers)


def _tag(card: CardPage) -> str:
    """Return what is another one as soon as a kept screen would be."""
    shown = card.shown
    state = (pages.version(), card.token, shown.revision.id, shown.order.status, len(shown.readings), len(shown.found))
    deviations = [each.id for each in shown.entries if each.kind == "deviation"]
    return sha256(repr((state, deviations)).encode()).hexdigest()[:32]


@route("/entries", "POST")
def entries(token: str) -> Response:
    """Take what the script of the page sends: one entry, stored once by its UUID."""
    try:
        link = card_link(token)
        given = entry_sent(document_sent(request))
        page = card_page(token)
        position = (given.fields.get("position") or [""])[0]
        lines = screens.lines_of(page, position) if given.what == "as_found" else ()
        made = enter(link, given, lines)
        page = card_page(token)
    except (LinkRefused, NotFound) as error:
        return _json({"code": "not_found"}, refused_status(error))
    except (NotTyped, ServiceError, ValidationError) as error:
        status, said, code = _fault(error)
        return _json({"code": code, "detail": said}, status)
    return _json(screens.answer_of(page, given.what, made, given.fields), 201)


def _json(body: Any, status: int, headers: Mapping[str, str] | None = None) -> Response:
    """Answer JSON to the page's script."""
    return Response(strict_json.written(body), status=status, content_type=JSON_MEDIA, headers=dict(headers or {}))
