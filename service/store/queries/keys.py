"""API keys: made once and shown once; only the SHA-256 of the secret is kept.

A secret is 32 random bytes, so a plain hash of it cannot be searched. The last part of a key is a CRC-32 over the rest:
a mistyped key is refused without asking the database.
"""

import hmac
import logging
import secrets
import threading
import time
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any, Final
from uuid import UUID
from zlib import crc32

import sqlalchemy as sa
from sqlalchemy.dialects import sqlite

from service import record
from service.errors import CannotEvaluate, NotFound, ServiceError
from service.store import models
from service.store.database import Database
from service.store.identity import canonical_id, new_id
from service.store.journal import Event
from service.store.queries.sites import COMMAND_LINE, site_by_code
from service.store.unit_of_work import Tx, Written
from service.words import SCOPES

PREFIX: Final = "capsaddle"
SECRET_BYTES: Final = 32
SECRET_LENGTH: Final = 43  # digits of 32 bytes in base 62
DIGITS: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
CACHE_SIZE: Final = 10_000
NOTED_EVERY_S: Final = 3600.0
LOG: Final = logging.getLogger(__name__)
_NO_KEY: Final = sha256(b"").hexdigest()


@dataclass(frozen=True, slots=True)
class Caller:
    """Who calls: a key, its site, and what it may do; or a person with a token, by name, until it ends."""

    key_id: str
    site_id: str
    site_code: str
    units: str
    blade_set: Any
    scopes: frozenset[str]
    books_version: int = 0
    person: str | None = None
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class _Key:
    caller: Caller
    secret_sha256: str
    expires_at: datetime | None
    revoked: bool


@dataclass(frozen=True, slots=True)
class _Kept:
    """A key that was looked up: when, at which state of the database, from which row of the embedded one."""

    asked_at: float
    unchanged: int | None
    row: tuple[Any, ...] | None
    key: _Key


def create_key(
    database: Database,
    site_code: str,
    scopes: Iterable[str],
    label: str | None = None,
    expires_at: datetime | None = None,
    *,
    actor: str = COMMAND_LINE,
) -> str:
    """Return a new key of the site; it cannot be shown again.

    Raises
    ------
    CannotEvaluate
        ``unknown_scope``: a scope is not known, or none is given.
    NotFound
        No site has this code.
    """
    wanted = frozenset(scopes)
    if not wanted or not wanted <= frozenset(SCOPES):
        said = ", ".join(sorted(wanted)) or "none"
        raise CannotEvaluate(f"Scopes are {said}; allowed are {', '.join(SCOPES)}.", code="unknown_scope")
    site = site_by_code(database, site_code)
    key_id, secret = new_id(), _base62(secrets.token_bytes(SECRET_BYTES))
    listed = ",".join(scope for scope in SCOPES if scope in wanted)

    def work(tx: Tx) -> Written:
        values = {
            "site_id": tx.site_id,
            "id": key_id,
            "secret_sha256": _digest(secret),
            "scopes": listed,
            "label": label,
            "created_at": tx.now,
            "expires_at": expires_at,
        }
        tx.connection.execute(sa.insert(models.ApiKey).values(values))
        created = Event("key.created", "key", key_id, data={"scopes": sorted(wanted), "label": label})
        return Written(201, "", events=(created,))

    database.write(site_id=site.id, actor=actor, request_id=new_id(), work=work)
    body = f"{PREFIX}_{key_id.replace('-', '')}_{secret}"
    return f"{body}_{_checksum(body)}"


def revoke_key(database: Database, site_code: str, key_id: str, *, actor: str = COMMAND_LINE) -> None:
    """Revoke a key of the site; a second time changes nothing. ``key_id``: as in the key, or with hyphens.

    Raises
    ------
    NotFound
        The site has no such key.
    """
    site = site_by_code(database, site_code)
    known = canonical_id(key_id) or _hyphenated(key_id)

    def work(tx: Tx) -> Written:
        key = models.ApiKey
        mine = (key.site_id == tx.site_id, key.id == known)
        revoked = sa.update(key).where(*mine, key.revoked_at.is_(None)).values(revoked_at=tx.now)
        if tx.connection.execute(revoked).rowcount == 1:
            return Written(200, "", events=(Event("key.revoked", "key", str(known)),))
        if tx.connection.execute(sa.select(key.id).where(*mine)).one_or_none() is None:
            raise NotFound(f"The site {site_code} has no key {key_id!r}.")
        return Written(200, "")

    if known is None:
        raise NotFound(f"The site {site_code} has no key {key_id!r}.")
    database.write(site_id=site.id, actor=actor, request_id=new_id(), work=work)


@dataclass(frozen=True, slots=True)
class KeyRow:
    """A key as it is listed; ``last_used_at`` to the hour."""

    site_code: str
    id: str
    label: str | None
    scopes: str
    created_at: datetime
    last_used_at: datetime | None
    expires_at: datetime | None
    revoked_at: datetime | None


def all_keys(database: Database, site_code: str | None = None) -> list[KeyRow]:
    """Return the keys of all sites, or of one, in the order in which they were made.

    Raises
    ------
    NotFound
        No site has this code.
    """
    key, site = models.ApiKey, models.Site
    columns = (key.id, key.label, key.scopes, key.created_at, key.last_used_at, key.expires_at, key.revoked_at)
    wanted = sa.select(site.code.label("site_code"), *columns).join_from(key, site, site.id == key.site_id)
    if site_code is not None:
        wanted = wanted.where(key.site_id == site_by_code(database, site_code).id)
    with database.reading() as connection:
        return [KeyRow(**row._mapping) for row in connection.execute(wanted.order_by(site.code, key.id))]


class Keyring:
    """Tells who calls by the key that was sent.

    On PostgreSQL a key that was looked up is reused for at most ``cache_s`` seconds, so revoking it takes effect after
    that time; on SQLite for as long as its row is the same (it is looked at whenever something was committed), so
    revoking takes effect at once.
    """

    def __init__(self, database: Database, cache_s: float = 0.0) -> None:
        self._database = database
        self._cache_s = min(cache_s, 2.0)
        self._cache: dict[str, _Kept] = {}
        self._noted: dict[str, float] = {}
        self._cache_lock = threading.Lock()

    def caller(self, token: str) -> Caller | None:
        """Return the caller, or None when the key is malformed, unknown, revoked or past its time.

        Raises
        ------
        Busy
            The database cannot answer now.
        """
        parts = _parts(token)
        if parts is None:
            return None
        key_id, digest = parts[0], _digest(parts[1])
        key = self._key(key_id, digest)
        genuine = hmac.compare_digest(digest, _NO_KEY if key is None else key.secret_sha256)
        if key is None or not genuine or not _in_force(key):
            return None
        self._note_use(key.caller)
        return key.caller

    def in_force(self, key_id: str) -> Caller | None:
        """Return the caller of a key in force, None when there is no such key.

        Raises
        ------
        Busy
            The database cannot answer now.
        """
        key = self._key(key_id)
        return None if key is None or not _in_force(key) else key.caller

    def signer(self, key_id: str) -> tuple[Caller, tuple[bytes, ...]] | None:
        """Return the caller of a key in force, and what signs on its behalf; None when there is no such key.

        The first signs, all are good. What was signed is worth nothing any more once the key is revoked or past its
        time. The secret outside the database signs, so that nobody who has only the database can.

        Raises
        ------
        Busy
            The database cannot answer now, or there is no secret.
        """
        caller = self.in_force(key_id)
        return None if caller is None else (caller, self._database.secret.signers(UUID(key_id).bytes))

    def forget(self, site_id: str) -> None:
        """Look the keys of the site up again: what comes with them has changed."""
        with self._cache_lock:
            self._cache = {id: kept for id, kept in self._cache.items() if kept.key.caller.site_id != site_id}

    def _note_use(self, caller: Caller) -> None:
        """Write down that a key is used, at most once an hour; a database that cannot now is not waited for."""
        now = time.monotonic()
        if now - self._noted.get(caller.key_id, -NOTED_EVERY_S) < NOTED_EVERY_S or not self._database.is_free:
            return
        self._noted[caller.key_id] = now

        def work(tx: Tx) -> Written:
            key = models.ApiKey
            late = sa.or_(key.last_used_at.is_(None), key.last_used_at <= tx.now - timedelta(seconds=NOTED_EVERY_S))
            mine = (key.site_id == tx.site_id, key.id == caller.key_id)
            tx.connection.execute(sa.update(key).where(*mine, late).values(last_used_at=tx.now))
            return Written(200, "")

        try:
            self._database.write(site_id=caller.site_id, actor=caller.key_id, request_id=new_id(), work=work)
        except ServiceError as error:
            LOG.warning("it was not noted that the key %s is used: %s", caller.key_id, error)

    def _key(self, key_id: str, digest: str | None = None) -> _Key | None:
        if self._cache_s <= 0:
            return _stored_key(self._database, key_id, digest)
        place = key_id if self._database.settings.on_sqlite else f"{key_id}/{digest or ''}"
        asked_at = time.monotonic()
        unchanged = self._database.unchanged_since()
        kept = self._cache.get(place)
        recent = kept is not None and asked_at - kept.asked_at < self._cache_s
        if kept is not None and recent and kept.unchanged == unchanged:
            return kept.key
        row = self._database.glanced(
            _LOOKUP_TEXT, {"key_id": _AS_STORED(key_id)}
        )  # before it is read, so that it is never newer
        if kept is not None and recent and row is not None and row == kept.row:
            key: _Key | None = kept.key
        else:
            key, kept = _stored_key(self._database, key_id, digest), None
        with self._cache_lock:
            if len(self._cache) >= CACHE_SIZE:
                self._cache.clear()
            if key is None:
                self._cache.pop(place, None)
            else:
                self._cache[place] = _Kept(asked_at if kept is None else kept.asked_at, unchanged, row, key)
        return key


def _in_force(key: _Key) -> bool:
    return not key.revoked and (key.expires_at is None or key.expires_at > datetime.now(UTC))


_LOOKUP: Final = sa.select(
    models.ApiKey.site_id,
    models.ApiKey.secret_sha256,
    models.ApiKey.scopes,
    models.ApiKey.expires_at,
    models.ApiKey.revoked_at,
    models.Site.code,
    models.Site.units,
    models.Site.blade_set,
    models.Site.books_version,
).join_from(models.ApiKey, models.Site, models.Site.id == models.ApiKey.site_id)
_LOOKUP_BY_ID: Final = _LOOKUP.where(models.ApiKey.id == sa.bindparam("key_id"))
_EMBEDDED: Final = sqlite.dialect(paramstyle="named")
_LOOKUP_TEXT: Final = str(_LOOKUP_BY_ID.compile(dialect=_EMBEDDED))
_AS_STORED: Final = models.ApiKey.__table__.c.id.type.dialect_impl(_EMBEDDED).bind_processor(_EMBEDDED) or str


_FOUND: Final = sa.func.find_key(
    sa.cast(sa.bindparam("key_id"), sa.Uuid(as_uuid=False)), sa.bindparam("digest", type_=sa.Text())
).table_valued(*(sa.column(each.key, each.type) for each in _LOOKUP.selected_columns if each.key is not None))
_FIND: Final = sa.select(_FOUND)
"""PostgreSQL: one key by its id and the hash of its secret, or by its id alone without the hash; no other row"""


def _stored_key(database: Database, key_id: str, digest: str | None) -> _Key | None:
    """Return a key by its id and, on PostgreSQL, the hash of its secret; without one nothing opens by it."""
    with database.reading(before_site=True) as connection:
        if database.settings.on_sqlite:
            row = connection.execute(_LOOKUP_BY_ID, {"key_id": key_id}).one_or_none()
        else:
            row = connection.execute(_FIND, {"key_id": key_id, "digest": digest}).one_or_none()
    if row is None:
        return None
    blade_set = record.decoded(row.blade_set)
    scopes = frozenset(row.scopes.split(","))
    caller = Caller(key_id, row.site_id, row.code, row.units, blade_set, scopes, row.books_version)
    return _Key(caller, row.secret_sha256 or _NO_KEY, row.expires_at, row.revoked_at is not None)


def damaged(token: str) -> str:
    """Return why a token cannot be a key of ours, empty when it has the shape and the checksum of one."""
    whole = len(PREFIX) + 32 + SECRET_LENGTH + 8 + 3
    if not token.startswith(f"{PREFIX}_"):
        return f"a key of this service begins with {PREFIX}_"
    if len(token) != whole:
        return f"a key has {whole} characters, this has {len(token)}: it was cut, or something was added"
    return "" if _parts(token) is not None else "its checksum does not fit: a character was changed on the way"


def _parts(token: str) -> tuple[str, str] | None:
    """Return identifier and secret of a well-formed key, else None."""
    if not token.isascii():
        return None
    body, _, checksum = token.rpartition("_")
    parts = body.split("_")
    if len(parts) != 3 or parts[0] != PREFIX or len(parts[1]) != 32 or len(parts[2]) != SECRET_LENGTH:
        return None
    if checksum != _checksum(body):
        return None
    key_id = _hyphenated(parts[1])
    return None if key_id is None else (key_id, parts[2])


def _hyphenated(digits: str) -> str | None:
    """Return the identifier that stands in a key without hyphens, None when it is none."""
    return canonical_id(f"{digits[:8]}-{digits[8:12]}-{digits[12:16]}-{digits[16:20]}-{digits[20:]}")


def _digest(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()


def _checksum(body: str) -> str:
    return f"{crc32(body.encode()):08x}"


def _base62(data: bytes) -> str:
    """Return the bytes as a number to base 62, in ``SECRET_LENGTH`` digits."""
    number, digits = int.from_bytes(data), []
    for _ in range(SECRET_LENGTH):
        number, digit = divmod(number, 62)
        digits.append(DIGITS[digit])
    return "".join(reversed(digits))
