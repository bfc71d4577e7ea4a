"""Queries of the sessions of the desk. Only hashes of secrets are stored and looked for."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

import sqlalchemy as sa

from service.store import models
from service.store.identity import new_id
from service.store.transaction import Tx

FORGOTTEN_AT_ONCE: Final = 1_000
_OWN: Final = models.DeskSession


@dataclass(frozen=True, slots=True)
class SessionRow:
    """A session as stored; ``current``: whether the hash it was found by is the one in force, not the one before."""

    id: str
    key_id: str
    rotated_at: datetime
    expires_at: datetime
    current: bool


def insert_session(
    tx: Tx, *, key_id: str, secret_sha256: str, expires_at: datetime, opens_once: bool = False
) -> SessionRow:
    """Return a new session, or an address that opens one once."""
    row = SessionRow(new_id(), key_id, tx.now, expires_at, current=True)
    values = {
        "site_id": tx.site_id,
        "id": row.id,
        "key_id": key_id,
        "secret_sha256": secret_sha256,
        "opens_once": opens_once,
        "created_at": tx.now,
        "rotated_at": tx.now,
        "expires_at": expires_at,
    }
    tx.connection.execute(sa.insert(_OWN).values(values))
    return row


def session_by_secret(tx: Tx, secret_sha256: str) -> SessionRow | None:
    """Return the session that has, or had before it was rotated, a secret with this hash; None past its time."""
    columns = (_OWN.id, _OWN.key_id, _OWN.rotated_at, _OWN.expires_at, _OWN.secret_sha256)
    known = sa.or_(_OWN.secret_sha256 == secret_sha256, _OWN.previous_sha256 == secret_sha256)
    mine = (_OWN.site_id == tx.site_id, _OWN.opens_once.is_(False), _OWN.expires_at > tx.now)
    row = tx.connection.execute(sa.select(*columns).where(*mine, known)).one_or_none()
    if row is None:
        return None
    return SessionRow(row.id, row.key_id, row.rotated_at, row.expires_at, row.secret_sha256 == secret_sha256)


def replace_secret(tx: Tx, session_id: str, *, before_sha256: str, secret_sha256: str) -> bool:
    """Give a session another secret, and return whether it had the one that is said; two at once: one of them does."""
    mine = (_OWN.site_id == tx.site_id, _OWN.id == session_id, _OWN.secret_sha256 == before_sha256)
    values = {"secret_sha256": secret_sha256, "previous_sha256": before_sha256, "rotated_at": tx.now}
    return tx.connection.execute(sa.update(_OWN).where(*mine).values(values)).rowcount == 1


def delete_session(tx: Tx, session_id: str) -> None:
    """End a session."""
    tx.connection.execute(sa.delete(_OWN).where(_OWN.site_id == tx.site_id, _OWN.id == session_id))


def take_opening(tx: Tx, secret_sha256: str) -> str | None:
    """Use up an address that opens once, and return the key it was made for; None where there is none in time."""
    mine = (_OWN.site_id == tx.site_id, _OWN.opens_once.is_(True), _OWN.secret_sha256 == secret_sha256)
    taken = sa.delete(_OWN).where(*mine, _OWN.expires_at > tx.now).returning(_OWN.key_id)
    key_id: str | None = tx.connection.execute(taken).scalar_one_or_none()
    return key_id


def forget_old(tx: Tx, *, most: int = FORGOTTEN_AT_ONCE) -> int:
    """Delete sessions past their time, ``most`` of them at once; return how many."""
    old = sa.select(_OWN.id).where(_OWN.site_id == tx.site_id, _OWN.expires_at <= tx.now).limit(most)
    ids = tx.connection.execute(old).scalars().all()
    return tx.connection.execute(sa.delete(_OWN).where(_OWN.site_id == tx.site_id, _OWN.id.in_(ids))).rowcount
