"""/desk/sign-in and sign-out: a key of the site is pasted once; the browser then holds a session, never the key.

How somebody proves who he is stands in ``WAYS``: each makes a caller of what was sent. The pages ask a session alone.
"""

import hmac
from collections.abc import Callable, Mapping
from typing import Final

from flask import Response, g, request

from service.api.desk.door import (
    FORM_COOKIE,
    FORM_FIELD,
    HOME,
    SIGN_IN,
    Desk,
    forget_token,
    form_fields,
    held_session,
    keep_token,
    open_page,
    page,
    secure,
    services_database,
    services_keyring,
    sign_in_page,
    to,
)
from service.api.http import watching
from service.store.queries.keys import Caller
from service.use_cases.desk.sessions import SCOPE, begin_session, end_session, open_once

MOST_KEY: Final = 200
LOOPBACK: Final = ("127.0.0.1", "::1")
FORWARDED: Final = ("X-Forwarded-For", "Forwarded", "X-Real-IP")


def by_api_key(fields: Mapping[str, str]) -> Caller | None:
    """Return the caller of a key that was pasted; None when it opens nothing."""
    return services_keyring().caller(fields.get("key", "").strip()[:MOST_KEY])


WAYS: Final[dict[str, Callable[[Mapping[str, str]], Caller | None]]] = {"key": by_api_key}
"""Ways of signing in by the field of the form that belongs to each."""


@open_page("/sign-in")
def sign_in() -> Response:
    """Show the form; who is signed in already is led on."""
    return sign_in_page(came_for="") if held_session() is None else to(HOME)


@open_page("/sign-in", "POST")
def enter_key() -> Response:
    """Begin a session, always a new one, and lead to the page that was asked for."""
    fields = form_fields()
    came_for = _page_of_ours(fields.get("came_for", ""))
    kept = request.cookies.get(FORM_COOKIE, "")
    from_elsewhere = request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none")
    if from_elsewhere or not kept or not hmac.compare_digest(fields.get(FORM_FIELD, "").encode(), kept.encode()):
        return sign_in_page(came_for=came_for, said="The form was too old; paste the key once more.", status=403)
    way = next((way for name, way in WAYS.items() if fields.get(name)), None)
    caller = None if way is None else way(fields)
    if caller is None:
        said = "That is no key that opens this desk: unknown, mistyped, expired or revoked."
        return sign_in_page(came_for=came_for, said=said, status=401)
    g.caller = caller
    watching.count(caller)
    if SCOPE not in caller.scopes:
        said = f"The key may not read: it carries {', '.join(sorted(caller.scopes))}, the desk needs {SCOPE}."
        return sign_in_page(came_for=came_for, said=said, status=403)
    token = begin_session(services_database(), caller, request_id=g.request_id)
    return _signed_in(token, came_for or HOME)


@page("/sign-out", "POST")
def sign_out(desk: Desk) -> Response:
    """End the session, here and wherever its token was copied to."""
    end_session(services_database(), desk.session.caller, desk.session.id, request_id=g.request_id)
    answer = to(SIGN_IN)
    forget_token(answer)
    return answer


@open_page("/once/<token>")
def once(token: str) -> Response:
    """Open the desk by an address that the command line made: once, and from this machine alone."""
    near = request.remote_addr in LOOPBACK and not any(name in request.headers for name in FORWARDED)
    opened = open_once(services_database(), services_keyring(), token, request_id=g.request_id) if near else None
    if opened is None:
        said = "This address opened the desk once, or it is not of this machine. Paste a key instead."
        return sign_in_page(came_for="", said=said, status=410)
    return _signed_in(opened, HOME)


def _signed_in(token: str, came_for: str) -> Response:
    answer = to(came_for)
    keep_token(answer, token)
    answer.delete_cookie(FORM_COOKIE, path=HOME, secure=secure(), httponly=True, samesite="Strict")
    return answer


def _page_of_ours(address: str) -> str:
    """Return an address within the desk, "" for any other: what was sent must not lead elsewhere."""
    ours = address == HOME or address.startswith((f"{HOME}/", f"{HOME}?"))
    plain = address.isascii() and address.isprintable() and "\\" not in address and len(address) <= 2_000
    return address if ours and plain and not address.startswith(f"{HOME}/sign-") else ""
