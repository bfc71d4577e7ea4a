"""Whether the service may run on this database: schema, clock, tables, and open orders that rest on what changed."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final, Literal

import sqlalchemy as sa

from service import ENGINE_VERSION, record
from service.errors import ServiceError
from service.reference import tables
from service.reference.tables import DATA_VERSION
from service.store import engines
from service.store.database import Database
from service.store.models import JournalEntry, Revision, Site, WorkOrder
from service.store.queries.books import books_in_force
from service.store.queries.work_orders import stands
from service.store.transaction import Tx

CLOCK_TOLERANCE: Final = timedelta(seconds=30)


@dataclass(frozen=True, slots=True)
class Checked:
    """One thing that was looked at: ``failed`` keeps the service from being trusted, ``look`` wants somebody's eyes."""

    subject: str
    state: Literal["ok", "look", "failed"]
    said: str


def checks(database: Database) -> Iterator[Checked]:
    """Yield what was looked at, one after the other; after a database that cannot be used nothing more is asked."""
    yield _tables()
    state = database.ready()
    if not state["database"]:
        yield Checked("database", "failed", _silent(database))
        return
    if not state["ready"]:
        found = state["migration"] or "none"
        yield Checked("schema", "failed", f"is at {found}, not at {state['expected_migration']}: run capsaddle migrate")
        return
    yield Checked("schema", "ok", f"is at {state['migration']}")
    if not state["writable"]:
        yield Checked("database", "failed", "takes no changes: a write-protected file, a standby, or set to read only")
    yield _secret(database)
    yield _clock(database)
    yield from _open_orders(database)


def _silent(database: Database) -> str:
    if database.settings.on_sqlite:
        file = engines.sqlite_file(database.settings.database_url)
        if not file.exists():
            return f"there is no {file}: run capsaddle migrate to make it, or put it where it was"
    return "does not answer"


def _tables() -> Checked:
    try:
        for name in tables.names():
            tables.rows(name)
    except ServiceError as error:
        return Checked("tables", "failed", str(error))
    return Checked("tables", "ok", f"{len(tables.names())} of version {DATA_VERSION}, each with its provenance")


def _secret(database: Database) -> Checked:
    try:
        lines = len(database.secret.lines)
    except ServiceError as error:
        return Checked("secret", "failed", str(error))
    more = "" if lines == 1 else f"; {lines - 1} old lines are still good for reading"
    return Checked("secret", "ok", f"signs links and seals the secrets of webhooks{more}")


def _clock(database: Database) -> Checked:
    """Hold the clock of this machine against that of the database and against the last entry of any journal."""
    newest = sa.select(sa.func.max(JournalEntry.at))
    with database.reading() as connection:
        before = datetime.now(UTC)
        if connection.dialect.name == "postgresql":
            theirs = connection.execute(sa.select(sa.func.clock_timestamp())).scalar_one()
            if abs(theirs - before) > CLOCK_TOLERANCE:
                return Checked("clock", "failed", f"here it is {before:%FT%TZ}, at the database {theirs:%FT%TZ}")
        last = connection.execute(newest).scalar()
    if last is not None and last > before + CLOCK_TOLERANCE:
        return Checked("clock", "failed", f"here it is {before:%FT%TZ}, but the journal has entries of {last:%FT%TZ}")
    return Checked("clock", "ok", "agrees with the database")


def _open_orders(database: Database) -> Iterator[Checked]:
    """Yield each open order whose latest instructions go by a table, a rule or a book that has a newer version."""
    with database.reading() as connection:
        sites = connection.execute(sa.select(Site.id, Site.code).order_by(Site.code)).all()
    count = 0
    for site_id, code in sites:
        with database.read(site_id) as tx:
            for number, reason in _superseded(tx):
                count += 1
                yield Checked("order", "look", f"{number} of {code} goes by {reason}")
    if not count:
        yield Checked("orders", "ok", "no open order goes by a table or a book that has a newer version")


def _superseded(tx: Tx) -> Iterator[tuple[str, str]]:
    in_force = {book.id: book for book in books_in_force(tx).books}
    for row in tx.connection.execute(_LATEST, {"site": tx.site_id}):
        used = [book for book in record.decoded(row.inputs).get("books", ()) if book["used"]]
        old = [
            f"{book['kind']} {book['name']} version {book['version']}" for book in used if book["id"] not in in_force
        ]
        if row.data_version != DATA_VERSION:
            old.append(f"tables of version {row.data_version}, now {DATA_VERSION}")
        if row.engine_version != ENGINE_VERSION:
            old.append(f"rules of version {row.engine_version}, now {ENGINE_VERSION}")
        if old:
            yield f"{row.external_number} ({row.external_system})", ", ".join(old)


_OF_ORDER: Final = (Revision.site_id == WorkOrder.site_id) & (Revision.work_order_id == WorkOrder.id)
_LATEST: Final = (
    sa.select(
        WorkOrder.external_number,
        WorkOrder.external_system,
        Revision.data_version,
        Revision.engine_version,
        Revision.inputs,
    )
    .join_from(WorkOrder, Revision, _OF_ORDER & stands())
    .where(WorkOrder.site_id == sa.bindparam("site"), WorkOrder.status == "open")
    .order_by(WorkOrder.id)
)
