"""Who calls, and whether the key carries the scope that the operation declares.

Scopes imply nothing: a key does exactly what its scopes name. A route that declares no scope is denied.
"""

from typing import Final

from flask import current_app, g, request

from service.api.http import watching
from service.api.http.problems import ProblemRaised
from service.store.queries.keys import Caller, Keyring

_CHALLENGE: Final = {"WWW-Authenticate": 'Bearer realm="capsaddle"'}


def caller_with(scope: str) -> Caller:
    """Return the caller when the key is valid and carries the scope.

    Raises
    ------
    ProblemRaised
        401 without a valid key, 403 without the scope.
    """
    caller = _caller()
    g.caller, g.units = caller, caller.units
    watching.count(caller)
    if scope not in caller.scopes:
        held = ", ".join(sorted(caller.scopes)) or "none"
        raise ProblemRaised("scope_missing", f"this needs the scope {scope}; the key carries {held}")
    return caller


def _caller() -> Caller:
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    token = token.strip()
    if not token or scheme.lower() != "bearer":
        raise ProblemRaised("no_key", "send Authorization: Bearer with an API key of your site", headers=_CHALLENGE)
    keyring: Keyring = current_app.extensions["capsaddle"].keyring
    caller = keyring.caller(token)
    if caller is None:
        raise _bad_key()
    return caller


def still_in_force(caller: Caller) -> None:
    """See that the key of a request that takes its time was not revoked meanwhile.

    Raises
    ------
    ProblemRaised
        401
    """
    keyring: Keyring = current_app.extensions["capsaddle"].keyring
    if keyring.in_force(caller.key_id) is None:
        raise _bad_key()


def _bad_key() -> ProblemRaised:
    refused = {"WWW-Authenticate": _CHALLENGE["WWW-Authenticate"] + ', error="invalid_token"'}
    return ProblemRaised("bad_key", "the key is unknown, expired or revoked", headers=refused)
