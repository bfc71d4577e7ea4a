"""Tokens of persons: JSON Web Tokens of one issuer, checked against its published keys.

The library checks signature and claims (RFC 7519, RFC 7515); here stands what is taken of them: three algorithms with
public keys, one issuer, one audience, an end, and the claims that name site, scopes and person (RFC 8725).
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

import jwt

from service.characters import TooManyMarks, composed
from service.exchange.issuer_keys import ALGORITHMS, IssuerKeys
from service.settings import TokenIssuer
from service.words import SCOPES

TYPES: Final = ("jwt", "at+jwt", "application/jwt", "application/at+jwt")
"""Of tokens that say of what type they are: one made for something else is none of ours (RFC 8725, 3.11; RFC 9068)."""
PREFIX: Final = "capsaddle:"
LONGEST_NAME: Final = 80
LONGEST_SUBJECT: Final = 200
_FORM: Final = re.compile(r"[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+\.[A-Za-z0-9_-]*").fullmatch
_REQUIRED: Final = ("exp", "iss", "aud", "sub")
_SAID: Final[tuple[tuple[type[Exception], str], ...]] = (
    (jwt.ExpiredSignatureError, "it is past its time"),
    (jwt.ImmatureSignatureError, "its time has not come yet: look at the clocks of issuer and service"),
    (jwt.InvalidAudienceError, "it was made for another audience"),
    (jwt.InvalidIssuerError, "it is of another issuer"),
    (jwt.InvalidSignatureError, "its signature does not fit"),
    (jwt.InvalidKeyError, "the key of the issuer is too short"),
)


class TokenRefused(Exception):
    """The token does not hold; the sentence says why."""


@dataclass(frozen=True, slots=True)
class Person:
    """Who a token says calls: until when, of which site, and what the issuer lets this person do."""

    subject: str
    name: str
    site_code: str
    scopes: frozenset[str]
    until: datetime


def is_token(text: str) -> bool:
    """Return whether a text has the form of a JSON Web Token: three parts between points, as no API key has."""
    return _FORM(text) is not None


class Tokens:
    """Reads the tokens of one issuer."""

    def __init__(self, issuer: TokenIssuer) -> None:
        self._issuer = issuer
        self._keys = IssuerKeys(issuer.keys)

    def person(self, token: str) -> Person:
        """Return who a token is of.

        Raises
        ------
        TokenRefused
            It does not hold.
        IssuerAway
            The keys of the issuer cannot be had now, and none are at hand.
        """
        try:
            header = jwt.get_unverified_header(token)
        except (jwt.PyJWTError, ValueError, RecursionError):
            raise TokenRefused("it cannot be read") from None
        claims = self._checked(token, header)
        return self._read(claims)

    def _checked(self, token: str, header: Mapping[str, Any]) -> Mapping[str, Any]:
        algorithm, kind = header.get("alg"), header.get("typ", "JWT")
        if algorithm not in ALGORITHMS:
            raise TokenRefused(f"it is signed with {str(algorithm)[:20]!a}; taken are {', '.join(ALGORITHMS)}")
        if not isinstance(kind, str) or kind.lower() not in TYPES:
            raise TokenRefused(f"it is of the type {str(kind)[:40]!a}, which is none of a token of access")
        key = self._keys.key(header.get("kid"), algorithm)
        if key is None:
            raise TokenRefused("the issuer publishes no such key")
        options: Any = {"require": list(_REQUIRED), "enforce_minimum_key_length": True}
        try:
            return jwt.decode(
                token,
                key,
                algorithms=[algorithm],
                audience=self._issuer.audience,
                issuer=self._issuer.name,
                leeway=self._issuer.leeway_s,
                options=options,
            )
        except jwt.MissingRequiredClaimError as error:
            raise TokenRefused(f"it lacks the claim {error.claim}") from None
        except jwt.PyJWTError as error:
            said = next((said for kind, said in _SAID if isinstance(error, kind)), "it cannot be read")
            raise TokenRefused(said) from None
        except (ValueError, TypeError, OverflowError, RecursionError):  # times beyond all calendars, keys that are none
            raise TokenRefused("it cannot be read") from None

    def _read(self, claims: Mapping[str, Any]) -> Person:
        issuer = self._issuer
        try:
            until = datetime.fromtimestamp(int(claims["exp"]), UTC)
        except (ValueError, TypeError, OverflowError, OSError):
            raise TokenRefused("its end is no time") from None
        granted = _words(_at(claims, issuer.scopes_claim))
        return Person(
            subject=_text(claims, "sub", LONGEST_SUBJECT),
            name=_text(claims, issuer.name_claim, LONGEST_NAME),
            site_code=_text(claims, issuer.site_claim, 64),
            scopes=_scopes(granted, issuer.roles),
            until=until,
        )


def _at(claims: Mapping[str, Any], name: str) -> Any:
    """Return a claim by its name, else by a path with points (``realm.roles``); None when there is none."""
    if name in claims:
        return claims[name]
    found: Any = claims
    for part in name.split("."):
        found = found.get(part) if isinstance(found, Mapping) else None
    return found


def _text(claims: Mapping[str, Any], name: str, longest: int) -> str:
    """Return a claim that is a text of one line with something to read in it; a list with one text is that text."""
    value = _at(claims, name)
    if isinstance(value, list) and len(value) == 1:
        value = value[0]
    try:
        text = composed(value).strip() if isinstance(value, str) else ""
    except TooManyMarks:
        text = ""
    if not 1 <= len(text) <= longest or not text.isprintable() or not any(mark.isalnum() for mark in text):
        raise TokenRefused(f"its claim {name} is not one text of 1 to {longest} characters")
    return text


def _words(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        return value.split()
    return [each for each in value if isinstance(each, str)] if isinstance(value, list) else []


def _scopes(granted: Iterable[str], roles: Mapping[str, frozenset[str]]) -> frozenset[str]:
    """Return the scopes: what the roles of the settings stand for, else the words that are scopes themselves."""
    if roles:
        return frozenset(scope for role in granted for scope in roles.get(role, ()))
    return frozenset(word.removeprefix(PREFIX) for word in granted) & frozenset(SCOPES)
