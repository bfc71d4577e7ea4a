"""The journal of a site: append-only, each row bound to the one before by its hash, ``seq`` in the order of commits."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Any, Final

import sqlalchemy as sa

from service import record
from service.moments import rfc3339
from service.store import chain
from service.store.models import JournalEntry, JournalRows, SiteHead
from service.store.transaction import Tx

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


def append(tx: Tx, *, actor: str, request_id: str, events: tuple[Event, ...], left: Iterable[chain.Entry] = ()) -> None:
    """Enter the events. The site's head is held until the commit, so that ``seq`` is the order of commits.

    ``left``: the rows that the write leaves; the last event names their digest.
    """
    last, previous = tx.connection.execute(_ADVANCED, {"site": tx.site_id, "count": len(events)}).one()
    digest = _stored_digest(tx, last, left)
    if digest is not None:
        events = (*events[:-1], replace(events[-1], data={**events[-1].data, chain.ROWS: digest}))
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
        rows.append(row | {"prev_hash": previous, "hash": row_hash(previous, row)})
        previous = rows[-1]["hash"]
    tx.connection.execute(_INSERT, rows)
    tx.connection.execute(_NAMED, {"site": tx.site_id, "hash": previous})


def _stored_digest(tx: Tx, seq: int, left: Iterable[chain.Entry]) -> str | None:
    """Store which rows a write leaves, part by part, and return their digest; None when it leaves none."""
    digest, count = chain.Digest(), 0
    for count, text in enumerate(chain.parts(left), start=1):
        digest.add(text)
        tx.connection.execute(_INSERT_ROWS, {"site_id": tx.site_id, "seq": seq, "part": count, "rows": text})
    return digest.text if count else None


_OF_SITE: Final = SiteHead.site_id == sa.bindparam("site")
_ADVANCED: Final = (
    sa.update(SiteHead)
    .where(_OF_SITE)
    .values(seq=SiteHead.seq + sa.bindparam("count", type_=sa.BigInteger))
    .returning(SiteHead.seq, SiteHead.head_hash)
)
_NAMED: Final = sa.update(SiteHead).where(_OF_SITE).values(head_hash=sa.bindparam("hash"))
_INSERT: Final = sa.insert(JournalEntry)
_INSERT_ROWS: Final = sa.insert(JournalRows)


def row_hash(previous: str, row: dict[str, Any]) -> str:
    """Return SHA-256 over the hash before and the row as canonical JSON."""
    content = {name: value for name, value in row.items() if name not in ("prev_hash", "hash")}
    content["at"] = rfc3339(row["at"])  # as both engines keep it
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return sha256((previous + text).encode()).hexdigest()
