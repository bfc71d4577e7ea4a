"""Verifying the revisions on record: their hashes, and that the same inputs still make the same instructions (I6)."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from hashlib import sha256

import sqlalchemy as sa

from service import ENGINE_VERSION
from service import record as records
from service.instructions.plan.inputs import job_of_inputs
from service.instructions.plan.plan import plan
from service.reference.tables import DATA_VERSION
from service.store.database import Database
from service.store.models import Revision, Site, WorkOrder
from service.store.queries.books import books_of
from service.store.transaction import Tx


@dataclass(frozen=True, slots=True)
class Verified:
    """A site's revisions as verified: how many were computed again, the first that differs.

    ``elsewhere``: how many were held against their hash alone, by what made them, ``made by engine 1``: another engine
    or other tables may rightly make other instructions of the same inputs.
    """

    site_code: str
    computed: int
    elsewhere: Mapping[str, int] = field(default_factory=dict)
    different: str | None = None
    reason: str | None = None


def verify_revisions(database: Database, site_code: str | None = None) -> list[Verified]:
    """Return what became of the revisions of each site, or of one."""
    with database.reading(snapshot=True) as connection:
        sites = sa.select(Site.id, Site.code).order_by(Site.code)
        if site_code is not None:
            sites = sites.where(Site.code == site_code)
        return [
            _verified(Tx(connection, site_id, datetime.now(UTC)), code)
            for site_id, code in connection.execute(sites).all()
        ]


def _verified(tx: Tx, site_code: str) -> Verified:
    """Follow the revisions of a site from the first; the first that differs is named."""
    computed = 0
    elsewhere: Counter[str] = Counter()
    for row in _revisions(tx):
        made = _made_elsewhere(row.engine_version, row.data_version)
        reason = _difference(tx, row, again=not made)
        if reason is not None:
            name = f"revision {row.number} of {row.external_number} ({row.external_system})"
            return Verified(site_code, computed, dict(elsewhere), name, reason)
        if made:
            elsewhere[made] += 1
        else:
            computed += 1
    return Verified(site_code, computed, dict(elsewhere))


def _made_elsewhere(engine_version: str, data_version: str) -> str:
    """Return what other engine or tables made a revision, in words; empty where this engine and these tables did."""
    of_engine = f" by engine {engine_version}" if engine_version != ENGINE_VERSION else ""
    of_tables = f" with tables {data_version}" if data_version != DATA_VERSION else ""
    return f"made{of_engine}{of_tables}" if of_engine or of_tables else ""


def _difference(tx: Tx, row: sa.Row[*tuple[object, ...]], *, again: bool) -> str | None:
    """Return how a revision differs from its hash or from what its inputs make; None when it does not."""
    if sha256(row.record.encode()).hexdigest() != row.sha256:
        return "the record differs from its hash"
    if not again:
        return None
    try:
        inputs = records.decoded(row.inputs)
        made = plan(job_of_inputs(inputs, books=books_of(tx, inputs.get("books", ()))))
    except Exception as error:  # whatever keeps the inputs from being read is a difference, not a fault of the command
        return f"its inputs make no instructions any more: {error}"
    return None if records.sha256(made) == row.sha256 else "its inputs make other instructions"


def _revisions(tx: Tx) -> Iterator[sa.Row[*tuple[object, ...]]]:
    """Yield the revisions of a site in the order in which they were made, without holding them all."""
    of_order = (WorkOrder.site_id == Revision.site_id) & (WorkOrder.id == Revision.work_order_id)
    statement = (
        sa.select(Revision.__table__, WorkOrder.external_number, WorkOrder.external_system)
        .join_from(Revision, WorkOrder, of_order)
        .where(Revision.site_id == tx.site_id)
        .order_by(Revision.id)
    )
    last = ""
    while True:
        page = statement.where(Revision.id > last) if last else statement
        rows = tx.connection.execute(page.limit(200)).all()
        yield from rows
        if len(rows) < 200:
            return
        last = rows[-1].id
