"""Repeated requests: the answer to a write is kept under its Idempotency-Key, in the transaction of its effect."""

import json
import time
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

import sqlalchemy as sa
from sqlalchemy import exc
from sqlalchemy.dialects import postgresql, sqlite

from service.errors import Conflict, IdempotencyKeyReused
from service.store import chain, failures
from service.store.models import IdempotencyKey
from service.store.transaction import Tx

KEPT_FOR: Final = timedelta(days=7)
CLEANED_EVERY_S: Final = 3600.0
_RUNNING: Final = 0  # status of a request that has not ended; never committed
_LOCK_NOT_AVAILABLE: Final = "55P03"
_cleaned: dict[str, float] = {}


@dataclass(frozen=True, slots=True)
class Idempotency:
    """A request that names itself: same key, method and route with another fingerprint is refused."""

    key: str
    method: str
    route: str
    fingerprint: str


@dataclass(frozen=True, slots=True)
class Kept:
    """An answer that was kept."""

    status: int
    body: str
    headers: dict[str, str]


def claim(tx: Tx, actor: str, request: Idempotency) -> Kept | None:
    """Take the key for this transaction and return None, or return the answer that is kept under it.

    Raises
    ------
    Conflict
        ``idempotency_in_progress``: the same request is running in another transaction still (PostgreSQL).
    IdempotencyKeyReused
        The key came before with another request.
    """
    _clean(tx)
    if _taken(tx, actor, request):
        return None
    row = tx.connection.execute(_FIND, _named(tx, actor, request)).one()
    if row.created_at <= tx.now - KEPT_FOR:
        tx.connection.execute(_FREE, _named(tx, actor, request))
        return claim(tx, actor, request)
    if row.fingerprint != request.fingerprint:
        raise IdempotencyKeyReused(
            f"The Idempotency-Key {request.key!r} came before with another request to {request.method} "
            f"{request.route}; a key belongs to one request for 7 days."
        )
    return Kept(row.status, row.body, json.loads(row.headers))


def keep(tx: Tx, actor: str, request: Idempotency, answer: Kept) -> None:
    """Keep a successful answer; any other leaves the key free."""
    if not 200 <= answer.status < 300:
        tx.connection.execute(_FREE, _named(tx, actor, request))
        return
    values = {"new_status": answer.status, "new_body": answer.body, "new_headers": json.dumps(answer.headers)}
    tx.connection.execute(_KEEP, _named(tx, actor, request) | values)


def _taken(tx: Tx, actor: str, request: Idempotency) -> bool:
    """Return whether the key was free and is ours now; waits for a twin that is running."""
    values = {
        "site_id": tx.site_id,
        "actor": actor,
        "method": request.method,
        "route": request.route,
        "key": request.key,
        "fingerprint": request.fingerprint,
        "status": _RUNNING,
        "headers": "{}",
        "body": "",
        "created_at": tx.now,
    }
    try:
        return tx.connection.execute(_CLAIM[tx.connection.dialect.name], values).one_or_none() is not None
    except exc.OperationalError as error:
        if failures.sqlstate(error) != _LOCK_NOT_AVAILABLE:
            raise
        raise Conflict(
            f"The request with the Idempotency-Key {request.key!r} is running still; send it again after a moment.",
            code="idempotency_in_progress",
        ) from error


def _named(tx: Tx, actor: str, request: Idempotency) -> dict[str, str]:
    """Return the values of ``_NAMED``."""
    values = {"of_site": tx.site_id, "of_actor": actor, "of_method": request.method}
    return values | {"of_route": request.route, "of_key": request.key}


def _clean(tx: Tx) -> None:
    """Delete the site's answers that are too old, at most once an hour in each process."""
    if time.monotonic() - _cleaned.get(tx.site_id, -CLEANED_EVERY_S) < CLEANED_EVERY_S:
        return
    _cleaned[tx.site_id] = time.monotonic()
    too_old = IdempotencyKey.created_at <= tx.now - KEPT_FOR
    gone = tx.connection.execute(sa.delete(IdempotencyKey).where(IdempotencyKey.site_id == tx.site_id, too_old))
    chain.note_gone(tx.connection, IdempotencyKey.__tablename__, gone.rowcount, tx.now - KEPT_FOR)


def forget_old(tx: Tx, *, most: int) -> int:
    """Delete answers that are too old, ``most`` of them at once; return how many."""
    key = IdempotencyKey
    columns = (key.site_id, key.actor, key.method, key.route, key.key)
    old = sa.select(*columns).where(key.site_id == tx.site_id, key.created_at <= tx.now - KEPT_FOR).limit(most)
    count = tx.connection.execute(sa.delete(key).where(sa.tuple_(*columns).in_(old))).rowcount
    chain.note_gone(tx.connection, IdempotencyKey.__tablename__, count, tx.now - KEPT_FOR)
    return count


_NAMED: Final = tuple(
    getattr(IdempotencyKey, column) == sa.bindparam(name)
    for column, name in (
        ("site_id", "of_site"),
        ("actor", "of_actor"),
        ("method", "of_method"),
        ("route", "of_route"),
        ("key", "of_key"),
    )
)
_FIND: Final = sa.select(IdempotencyKey.__table__).where(*_NAMED)
_FREE: Final = sa.delete(IdempotencyKey).where(*_NAMED)
_KEEP: Final = (
    sa.update(IdempotencyKey)
    .where(*_NAMED)
    .values(status=sa.bindparam("new_status"), body=sa.bindparam("new_body"), headers=sa.bindparam("new_headers"))
)
_CLAIM: Final = {
    "sqlite": sqlite.insert(IdempotencyKey).on_conflict_do_nothing().returning(IdempotencyKey.key),
    "postgresql": postgresql.insert(IdempotencyKey).on_conflict_do_nothing().returning(IdempotencyKey.key),
}
