"""The journal of a site: append-only, each row bound to the one before by its hash, ``seq`` in the order of commits."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final

import sqlalchemy as sa

from service import record
from service.store.models import JournalEntry, Site, SiteHead
from service.store.transaction import Tx

if TYPE_CHECKING:
    from service.store.database import Database

FIRST_HASH: Final = "0" * 64


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened to a subject. ``data`` is a record; the hashes name what was before and is after."""

    type: str
    subject_kind: str
    subject_id: str
    before_hash: str | None = None
    after_hash: str | None = None
    data: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Chain:
    """A site's journal as verified: how many rows are whole, and the first that is not with the reason."""

    site_code: str
    rows: int
    broken_seq: int | None = None
    reason: str | None = None


def append(tx: Tx, *, actor: str, request_id: str, events: tuple[Event, ...]) -> None:
    """Enter the events. The site's head is held until the commit, so that ``seq`` is the order of commits."""
    last, previous = tx.connection.execute(_ADVANCED, {"site": tx.site_id, "count": len(events)}).one()
    rows: list[dict[str, Any]] = []
    for seq, event in enumerate(events, start=last - len(events) + 1):
        row = {
            "site_id": tx.site_id,
            "seq": seq,
            "at": tx.now,
            "actor": actor,
            "request_id": request_id,
            "event_type": event.type,
            "subject_kind": event.subject_kind,
            "subject_id": event.subject_id,
            "before_hash": event.before_hash,
            "after_hash": event.after_hash,
            "data": record.encoded(event.data),
        }
        rows.append(row | {"prev_hash": previous, "hash": _row_hash(previous, row)})
        previous = rows[-1]["hash"]
    tx.connection.execute(_INSERT, rows)
    tx.connection.execute(_NAMED, {"site": tx.site_id, "hash": previous})


_OF_SITE: Final = SiteHead.site_id == sa.bindparam("site")
_ADVANCED: Final = (
    sa.update(SiteHead)
    .where(_OF_SITE)
    .values(seq=SiteHead.seq + sa.bindparam("count", type_=sa.BigInteger))
    .returning(SiteHead.seq, SiteHead.head_hash)
)
_NAMED: Final = sa.update(SiteHead).where(_OF_SITE).values(head_hash=sa.bindparam("hash"))
_INSERT: Final = sa.insert(JournalEntry)


def verify(database: "Database", site_code: str | None = None) -> list[Chain]:
    """Return each site's journal (or that of one site) as verified from its first row to its head."""
    with database.reading(snapshot=True) as connection:
        sites = sa.select(Site.id, Site.code, SiteHead.seq, SiteHead.head_hash)
        sites = sites.join_from(Site, SiteHead, SiteHead.site_id == Site.id, isouter=True).order_by(Site.code)
        if site_code is not None:
            sites = sites.where(Site.code == site_code)
        return [
            _chain(code, _entries(connection, site_id), seq, head_hash)
            for site_id, code, seq, head_hash in connection.execute(sites).all()
        ]


def _entries(connection: sa.Connection, site_id: str) -> Iterator[dict[str, Any]]:
    """Yield the rows of a site in order, without holding them all."""
    statement = sa.select(JournalEntry.__table__).where(JournalEntry.site_id == site_id).order_by(JournalEntry.seq)
    with connection.execute(statement.execution_options(yield_per=1000)) as rows:
        for row in rows.mappings():
            yield dict(row)


def _chain(code: str, rows: Iterator[dict[str, Any]], head_seq: int | None, head_hash: str | None) -> Chain:
    """Follow the chain from the first row; the first link that does not hold is the broken one."""
    seq, previous = 0, FIRST_HASH
    for row in rows:
        if row["seq"] != seq + 1:
            return Chain(code, seq, seq + 1, "the row is missing")
        if row["prev_hash"] != previous:
            return Chain(code, seq, row["seq"], "the row does not name the hash of the row before it")
        if _row_hash(previous, row) != row["hash"]:
            return Chain(code, seq, row["seq"], "the row differs from its hash")
        seq, previous = row["seq"], row["hash"]
    if head_seq is None:
        return Chain(code, seq, seq + 1, "the head of the journal is missing")
    if head_seq > seq:
        return Chain(code, seq, seq + 1, f"the row is missing: the head of the journal is at {head_seq}")
    if head_seq < seq or head_hash != previous:
        return Chain(code, seq, seq, "the head of the journal does not name the last row and its hash")
    return Chain(code, seq)


def _row_hash(previous: str, row: dict[str, Any]) -> str:
    """Return SHA-256 over the hash before and the row as canonical JSON."""
    content = {name: value for name, value in row.items() if name not in ("prev_hash", "hash")}
    content["at"] = _moment(row["at"])
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return sha256((previous + text).encode()).hexdigest()


def _moment(at: datetime) -> str:
    """Return the moment in UTC with six digits, as both engines keep it."""
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
