"""Who calls, and whether the key or the token carries the scope that the operation declares.

Scopes imply nothing: a key does exactly what its scopes name. A route that declares no scope is denied.
"""

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from flask import current_app, g, request

from service.api.http import watching
from service.api.http.problems import ProblemRaised
from service.store.queries.keys import PREFIX as OF_A_KEY
from service.store.queries.keys import Caller, Keyring, damaged

if TYPE_CHECKING:
    from service.exchange.tokens import Tokens

_CHALLENGE: Final = {"WWW-Authenticate": 'Bearer realm="capsaddle"'}


def caller_with(scope: str) -> Caller:
    """Return the caller when the key or the token is valid and carries the scope.

    Raises
    ------
    ProblemRaised
        401 without a valid key or token, 403 without the scope.
    """
    caller = _caller()
    g.caller, g.units = caller, caller.units
    watching.count(caller)
    if scope not in caller.scopes:
        held = ", ".join(sorted(caller.scopes)) or "none"
        what = "key" if caller.person is None else "token"
        raise ProblemRaised("scope_missing", f"this needs the scope {scope}; the {what} carries {held}")
    return caller


def _caller() -> Caller:
    scheme, _, token = request.headers.get("Authorization", "").partition(" ")
    token = token.strip()
    if not token or scheme.lower() != "bearer":
        raise ProblemRaised("no_key", "send Authorization: Bearer with an API key of your site", headers=_CHALLENGE)
    tokens: Tokens | None = current_app.extensions["capsaddle"].tokens
    if tokens is not None and not token.startswith(f"{OF_A_KEY}_"):
        return _person(tokens, token)
    keyring: Keyring = current_app.extensions["capsaddle"].keyring
    caller = keyring.caller(token)
    if caller is None:
        raise _bad_key(damaged(token))
    return caller


def _person(tokens: "Tokens", token: str) -> Caller:
    """Return the person that a token of the issuer is of."""
    from service.exchange.tokens import TokenRefused, is_token

    if not is_token(token):
        raise _bad_key()
    try:
        person = tokens.person(token)
    except TokenRefused as error:
        raise _bad_token(str(error)) from None
    caller: Caller | None = current_app.extensions["capsaddle"].token_sites.caller(
        person.site_code, subject=person.subject, name=person.name, scopes=person.scopes, until=person.until
    )
    if caller is None:
        raise _bad_token("it names no site of this service")
    return caller


def still_in_force(caller: Caller) -> None:
    """See that the key of a request that takes its time was not revoked meanwhile, nor the token ended.

    Raises
    ------
    ProblemRaised
        401
    """
    if caller.until is not None:
        if caller.until <= datetime.now(UTC):
            raise _bad_token("it is past its time")
        return
    keyring: Keyring = current_app.extensions["capsaddle"].keyring
    if keyring.in_force(caller.key_id) is None:
        raise _bad_key()


def _bad_key(why: str = "") -> ProblemRaised:
    refused = {"WWW-Authenticate": _CHALLENGE["WWW-Authenticate"] + ', error="invalid_token"'}
    said = f"the key is damaged: {why}" if why else "the key is unknown, expired or revoked; ask for one of your site"
    return ProblemRaised("bad_key", said, headers=refused)


def _bad_token(said: str) -> ProblemRaised:
    """Return the refusal with its reason, also where a client of OAuth looks for it (RFC 6750, 3)."""
    plain = said.replace("\\", "/").replace('"', "'")
    challenge = f'{_CHALLENGE["WWW-Authenticate"]}, error="invalid_token", error_description="{plain}"'
    return ProblemRaised("bad_token", f"the token does not hold: {said}", headers={"WWW-Authenticate": challenge})
