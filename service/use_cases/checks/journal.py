"""Verifying the journals: each row bound to the one before by its hash, from the first row to the head."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from service.store.database import Database
from service.store.journal import FIRST_HASH, row_hash
from service.store.models import JournalEntry, Site, SiteHead


@dataclass(frozen=True, slots=True)
class Chain:
    """A site's journal as verified: how many rows are whole, and the first that is not with the reason."""

    site_code: str
    rows: int
    broken_seq: int | None = None
    reason: str | None = None


def verify_journals(database: Database, site_code: str | None = None) -> list[Chain]:
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
        if row_hash(previous, row) != row["hash"]:
            return Chain(code, seq, row["seq"], "the row differs from its hash")
        seq, previous = row["seq"], row["hash"]
    if head_seq is None:
        return Chain(code, seq, seq + 1, "the head of the journal is missing")
    if head_seq > seq:
        return Chain(code, seq, seq + 1, f"the row is missing: the head of the journal is at {head_seq}")
    if head_seq < seq or head_hash != previous:
        return Chain(code, seq, seq, "the head of the journal does not name the last row and its hash")
    return Chain(code, seq)
