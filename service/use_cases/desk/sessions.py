"""Who is signed in to the desk: a browser holds a secret, the database its hash, and a key of the site stands behind.

A token is ``base64url(key id, secret)``: the key says which site, and a session ends with its key. It is the way of
signing in that knows what was shown (an API key); what comes after, ``begin_session``, asks for a key id alone.
"""

import hmac
import secrets
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final
from uuid import UUID

from service.store.database import Database
from service.store.identity import new_id
from service.store.queries import desk_sessions
from service.store.queries.keys import Caller, Keyring
from service.store.queries.sites import COMMAND_LINE
from service.store.unit_of_work import Tx, Written

LASTS: Final = timedelta(hours=12)
ROTATED_AFTER: Final = timedelta(hours=1)
GRACE: Final = timedelta(minutes=1)
"""How long the secret before goes on: other requests of the page were on their way when it was replaced."""
OPENING_LASTS: Final = timedelta(hours=12)
SECRET_BYTES: Final = 32
SCOPE: Final = "read"
_KEY_BYTES: Final = 16


@dataclass(frozen=True, slots=True)
class Session:
    """A browser that is signed in. ``token`` is what it must hold from now on; ``rotated`` says that it is new."""

    id: str
    caller: Caller
    expires_at: datetime
    token: str
    rotated: bool
    form_token: str
    """What every form of the session carries, so that no other page can send one in its name."""


def begin_session(database: Database, caller: Caller, *, request_id: str) -> str:
    """Return the token of a new session of a caller who proved who he is."""
    token, digest = _new_token(caller.key_id)

    def work(tx: Tx) -> Written:
        desk_sessions.insert_session(tx, key_id=caller.key_id, secret_sha256=digest, expires_at=tx.now + LASTS)
        return Written(201, "")

    _write(database, caller, request_id, work)
    return token


def session_of(database: Database, keyring: Keyring, token: str, *, request_id: str, rotate: bool) -> Session | None:
    """Return the session of a token; None when it is made up, ended, past its time, or its key is not in force.

    A secret is replaced when it is ``ROTATED_AFTER`` old. One that was replaced and comes again after ``GRACE`` was
    kept by somebody else: then the session is ended for both.

    Parameters
    ----------
    rotate : bool
        Whether a new secret can be handed over with the answer
    """
    signer = _signer(keyring, token)
    if signer is None:
        return None
    caller, form_key = signer
    digest = _digest(token)
    with database.read(caller.site_id) as tx:
        row, now = desk_sessions.session_by_secret(tx, digest), tx.now
    if row is None or row.key_id != caller.key_id or SCOPE not in caller.scopes:
        return None
    if not row.current and now - row.rotated_at > GRACE:
        end_session(database, caller, row.id, request_id=request_id)
        return None
    fresh = token
    if rotate and row.current and now - row.rotated_at > ROTATED_AFTER:
        fresh = _rotated(database, caller, row.id, token, request_id)
    form_token = hmac.digest(form_key, f"form of {row.id}".encode(), "sha256").hex()
    return Session(row.id, caller, row.expires_at, fresh, fresh != token, form_token)


def end_session(database: Database, caller: Caller, session_id: str, *, request_id: str) -> None:
    """End a session: its token opens nothing any more."""

    def work(tx: Tx) -> Written:
        desk_sessions.delete_session(tx, session_id)
        return Written(200, "")

    _write(database, caller, request_id, work)


def offer_opening(database: Database, caller: Caller) -> str:
    """Return the token of an address that opens one session, once; made on the command line alone."""
    token, digest = _new_token(caller.key_id)

    def work(tx: Tx) -> Written:
        until = tx.now + OPENING_LASTS
        desk_sessions.insert_session(tx, key_id=caller.key_id, secret_sha256=digest, expires_at=until, opens_once=True)
        return Written(201, "")

    _write(database, caller, new_id(), work, actor=COMMAND_LINE)
    return token


def open_once(database: Database, keyring: Keyring, token: str, *, request_id: str) -> str | None:
    """Use up the token of an opening and return that of the session it opens; None where it opens nothing."""
    signer = _signer(keyring, token)
    if signer is None:
        return None
    caller, _ = signer
    taken: list[str | None] = []

    def work(tx: Tx) -> Written:
        taken[:] = [desk_sessions.take_opening(tx, _digest(token))]
        return Written(200, "")

    _write(database, caller, request_id, work)
    return begin_session(database, caller, request_id=request_id) if taken[-1] == caller.key_id else None


def _rotated(database: Database, caller: Caller, session_id: str, token: str, request_id: str) -> str:
    """Return the new token of a session, or the old one where another request has just replaced it."""
    fresh, digest = _new_token(caller.key_id)
    done: list[bool] = []

    def work(tx: Tx) -> Written:
        before = _digest(token)
        done[:] = [desk_sessions.replace_secret(tx, session_id, before_sha256=before, secret_sha256=digest)]
        return Written(200, "")

    _write(database, caller, request_id, work)
    return fresh if done[-1] else token


def _write(
    database: Database, caller: Caller, request_id: str, work: Callable[[Tx], Written], actor: str | None = None
) -> None:
    """Write without an event: who looks at pages is told by the log, the journal is of what was changed."""
    database.write(site_id=caller.site_id, actor=actor or caller.key_id, request_id=request_id, work=work)


def _new_token(key_id: str) -> tuple[str, str]:
    token = urlsafe_b64encode(UUID(key_id).bytes + secrets.token_bytes(SECRET_BYTES)).decode()
    return token, _digest(token)


def _digest(token: str) -> str:
    return sha256(token.encode()).hexdigest()


def _signer(keyring: Keyring, token: str) -> tuple[Caller, bytes] | None:
    """Return the caller of the key in a token, and what signs on its behalf; None when it is no token of ours."""
    if len(token) != 64 or not token.isascii():
        return None
    try:
        data = urlsafe_b64decode(token)
    except ValueError:
        return None
    if len(data) != _KEY_BYTES + SECRET_BYTES:
        return None
    signer = keyring.signer(str(UUID(bytes=data[:_KEY_BYTES])))
    return None if signer is None else (signer[0], signer[1][0])
