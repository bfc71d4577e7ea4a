"""The door of the desk: who is signed in, what a page is allowed to do, and what is said instead of a problem document.

A page is declared with ``page`` (signed in) or ``open_page`` (the door itself). The cookie holds the token of a
session; nothing in an address opens anything.
"""

import hmac
import logging
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from flask import Blueprint, Response, current_app, g, redirect, request
from marshmallow import ValidationError
from werkzeug.exceptions import HTTPException

from service.api.http import problems, watching
from service.api.http.operations import DECLARED
from service.api.http.problems import ProblemRaised
from service.errors import ServiceError
from service.render.desk.page import page_html, policy
from service.store.database import Database
from service.store.queries.keys import Keyring
from service.store.unit_of_work import Tx
from service.use_cases.desk.sessions import LASTS, Session, session_of
from service.words import UnitSystem

LOG: Final = logging.getLogger(__name__)
HOME: Final = "/desk"
SIGN_IN: Final = "/desk/sign-in"
FORM_MEDIA: Final = "application/x-www-form-urlencoded"
FORM_FIELD: Final = "form_token"
FORM_COOKIE: Final = "desk_form"
MOST_FORM_BYTES: Final = 4_096
blueprint = Blueprint("desk", __name__, url_prefix=HOME)


@dataclass(frozen=True, slots=True)
class Desk:
    """A request of somebody who is signed in."""

    session: Session
    units: UnitSystem

    def reading(self, *, past: bool = False) -> Any:
        """Return a read-only transaction of the session's site."""
        return services_database().read(self.session.caller.site_id, past=past)

    @property
    def site_id(self) -> str:
        """Return the site that is looked at."""
        return self.session.caller.site_id


def services_database() -> Database:
    """Return the database of the application."""
    database: Database = current_app.extensions["capsaddle"].database
    return database


def services_keyring() -> Keyring:
    """Return who knows the keys."""
    keyring: Keyring = current_app.extensions["capsaddle"].keyring
    return keyring


View = Callable[..., Response]
Work = Callable[[Tx], Any]


def open_page(rule: str, *methods: str) -> Callable[[View], View]:
    """Declare a page that everybody may see."""

    def declared(view: View) -> View:
        DECLARED.open_endpoints.add(f"desk.{view.__name__}")
        blueprint.add_url_rule(
            rule, view.__name__, view, methods=list(methods or ("GET",)), provide_automatic_options=False
        )
        return view

    return declared


def page(rule: str, *methods: str) -> Callable[[View], View]:
    """Declare a page for who is signed in; others are led to the door, and back once they are in."""

    def declared(view: View) -> View:
        def guarded(**path: str) -> Response:
            session = held_session()
            if session is None:
                return _to_the_door()
            caller = session.caller
            g.caller, g.units = caller, caller.units
            watching.count(caller)
            if request.method == "POST":
                check_form(session.form_token)
            answer = view(Desk(session, "inch" if caller.units == "inch" else "metric"), **path)
            if session.rotated:
                keep_token(answer, session.token, session)
            return answer

        guarded.__name__ = view.__name__
        open_page(rule, *methods)(guarded)
        return view

    return declared


def held_session() -> Session | None:
    """Return the session that the browser holds, None without one in force."""
    token = request.cookies.get(cookie_name())
    if token is None:
        return None
    return session_of(services_database(), services_keyring(), token, request_id=g.request_id, rotate=_may_rotate())


def _may_rotate() -> bool:
    """Return whether the answer is a page of the desk, which hands a new secret over."""
    return request.method == "GET" and request.path != SIGN_IN


def _to_the_door() -> Response:
    """Lead to the door; a form that came without a session is not repeated afterwards."""
    came_for = request.full_path.rstrip("?") if request.method == "GET" and request.path != HOME else ""
    said = "Your session is over; sign in again." if cookie_name() in request.cookies else None
    answer = sign_in_page(came_for=came_for, said=said, status=401)
    forget_token(answer)
    return answer


def sign_in_page(*, came_for: str, said: str | None = None, status: int = 200) -> Response:
    """Return the page at the door.

    Parameters
    ----------
    came_for : str
        The page of the desk to go on to.
    """
    token = new_form_token()
    answer = html(
        page_html("sign_in", "metric", here="", title="Sign in", who=None, came_for=came_for, said=said, token=token),
        status,
    )
    answer.set_cookie(FORM_COOKIE, token, path=HOME, secure=secure(), httponly=True, samesite="Strict", max_age=3600)
    return answer


def secure() -> bool:
    """Return whether browsers reach the service by TLS, so that the cookie goes by nothing else."""
    return request.is_secure or current_app.config["PUBLIC_URL"].startswith("https:")


def cookie_name() -> str:
    """Return the name of the cookie; by TLS with the prefix that lets no other host or path set it (RFC 6265bis)."""
    return "__Host-desk" if secure() else "desk"


def keep_token(answer: Response, token: str, session: Session | None = None) -> None:
    """Let the browser keep the token of its session, out of reach of scripts and of other sites."""
    lasts_s = LASTS.total_seconds()
    if session is not None:
        lasts_s = max((session.expires_at - datetime.now(UTC)).total_seconds(), 0)
    answer.set_cookie(cookie_name(), token, max_age=int(lasts_s), **_cookie())


def forget_token(answer: Response) -> None:
    """Let the browser forget the token."""
    if cookie_name() in request.cookies:
        answer.delete_cookie(cookie_name(), **_cookie())


def _cookie() -> dict[str, Any]:
    return {"path": "/" if secure() else HOME, "secure": secure(), "httponly": True, "samesite": "Lax"}


def new_form_token() -> str:
    """Return a token for the form of somebody who has no session."""
    return secrets.token_urlsafe(24)


def form_fields() -> dict[str, str]:
    """Return what a form of ours says, each field once.

    Raises
    ------
    ProblemRaised
        It is no form, or too long.
    """
    if request.mimetype != FORM_MEDIA:
        raise ProblemRaised("unsupported_media_type", "this is filled in with its own form only")
    request.max_form_memory_size = request.max_content_length = MOST_FORM_BYTES
    return {name: values[0] for name, values in request.form.lists() if len(values) == 1}


def check_form(token: str) -> None:
    """See that a form was sent from a page of ours.

    Raises
    ------
    ProblemRaised
        403: another site sent it, or the page is older than the session.
    """
    from_elsewhere = request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none")
    given = form_fields().get(FORM_FIELD, "")
    if from_elsewhere or not token or not hmac.compare_digest(given.encode(), token.encode()):
        raise ProblemRaised("scope_missing", "this form was not sent from a page of yours; load the page again")


def html(body: str, status: int = 200) -> Response:
    """Return a page: nothing but its own style may load, no script runs, nobody frames it, nobody keeps it."""
    headers = {
        "Content-Security-Policy": policy(),
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cache-Control": "no-store",
        "X-Robots-Tag": "noindex",
        "Vary": "Cookie",
    }
    return Response(body, status=status, content_type="text/html; charset=utf-8", headers=headers)


def shown(desk: Desk, template: str, *, here: str, title: str, status: int = 200, **context: Any) -> Response:
    """Return a page of somebody who is signed in; ``here``: the part of the desk that it belongs to."""
    caller = desk.session.caller
    who = {"site": caller.site_code, "until": desk.session.expires_at, "form_token": desk.session.form_token}
    return html(page_html(template, desk.units, here=here, title=title, who=who, **context), status)


def to(address: str) -> Response:
    """Lead to a page of the desk, with GET."""
    answer: Response = redirect(address, code=303)  # type: ignore[assignment]
    return answer


def _said(title: str, said: str, status: int) -> Response:
    return html(page_html("message", "metric", here="", title=title, said=said, who=None), status)


@blueprint.errorhandler(ProblemRaised)
def _problem(error: ProblemRaised) -> Response:
    status, title = problems.CATALOGUE.get(error.code, (400, "That cannot be shown"))
    answer = _said(title, error.detail, status)
    if "Retry-After" in error.headers:
        answer.headers["Retry-After"] = error.headers["Retry-After"]
    return answer


@blueprint.errorhandler(ServiceError)
@blueprint.errorhandler(ValidationError)
def _refused(error: ServiceError | ValidationError) -> Response:
    document = problems.document_of(error)
    return _said(document["title"], document["detail"], document["status"])


@blueprint.errorhandler(Exception)
def _unexpected(error: Exception) -> Response:
    if isinstance(error, HTTPException):
        return _said("That cannot be shown", error.name, error.code or 500)
    LOG.exception("unexpected error", extra={"request_id": g.get("request_id", "")})
    said = f"The fault is on our side. Quote the request id {g.get('request_id', '')} when you report it."
    return _said("Something went wrong", said, 500)


@open_page("/<path:rest>")
def nowhere(rest: str) -> Response:
    """Say that the desk has no such page."""
    return _said("Nothing is here", "The desk has no such page.", 404)
