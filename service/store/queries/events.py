"""The journal of a site read as a feed: in the order of commits, from a number on, nothing left out."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import sqlalchemy as sa

from service import record
from service.store import chain
from service.store.models import JournalEntry, SiteHead
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class EventRow:
    """One row of the journal; ``seq`` counts the events of its site from 1 in the order of commits."""

    seq: int
    at: datetime
    actor: str
    request_id: str
    event_type: str
    subject_kind: str
    subject_id: str
    before_hash: str | None
    after_hash: str | None
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Events of the feed; all up to ``read_to`` have been looked at; ``head``: number of the last event there was."""

    events: tuple[EventRow, ...]
    read_to: int
    head: int


def last_seq(tx: Tx) -> int:
    """Return the number of the last event of the site, 0 before the first."""
    return tx.connection.execute(_HEAD, {"site": tx.site_id}).scalar_one_or_none() or 0


def stretch(tx: Tx, *, after: int, limit: int, event_type: str | None = None) -> Stretch:
    """Return up to ``limit`` events behind the number ``after``, oldest first.

    A writer holds the head of its site from taking a number to its commit, so whoever sees a number sees all before
    it: a reader that goes on after ``read_to`` misses nothing. The head is read first and bounds the stretch.
    """
    head = last_seq(tx)
    chosen = _ENTRIES if event_type is None else _ENTRIES.where(JournalEntry.event_type == event_type)
    bounds = {"site": tx.site_id, "after": after, "head": head}
    rows = [_row(row) for row in tx.connection.execute(chosen.limit(limit), bounds)]
    full = len(rows) == limit
    return Stretch(tuple(rows), rows[-1].seq if full else max(head, after), head)


def reading_senders(tx: Tx, work_order_id: str) -> dict[str, str]:
    """Return by which key or person each reading of an order came, by the id of the reading."""
    found = tx.connection.execute(_RECORDED, {"site": tx.site_id, "order": work_order_id})
    return {record.decoded(row.data)["reading"]: row.actor for row in found}


def _row(row: Any) -> EventRow:
    data = record.decoded(row.data)
    data.pop(chain.ROWS, None)  # of the chain, not of what happened
    return EventRow(**{**row._mapping, "data": data})


_RECORDED: Final = sa.select(JournalEntry.actor, JournalEntry.data).where(
    JournalEntry.site_id == sa.bindparam("site"),
    JournalEntry.subject_kind == "work_order",
    JournalEntry.subject_id == sa.bindparam("order"),
    JournalEntry.event_type == "reading.recorded",
)
_HEAD: Final = sa.select(SiteHead.seq).where(SiteHead.site_id == sa.bindparam("site"))
_ENTRIES: Final = (
    sa.select(
        JournalEntry.seq,
        JournalEntry.at,
        JournalEntry.actor,
        JournalEntry.request_id,
        JournalEntry.event_type,
        JournalEntry.subject_kind,
        JournalEntry.subject_id,
        JournalEntry.before_hash,
        JournalEntry.after_hash,
        JournalEntry.data,
    )
    .where(
        JournalEntry.site_id == sa.bindparam("site"),
        JournalEntry.seq > sa.bindparam("after", type_=sa.BigInteger),
        JournalEntry.seq <= sa.bindparam("head", type_=sa.BigInteger),
    )
    .order_by(JournalEntry.seq)
)
