"""Somebody who owns the tables and changes them by hand: no trigger, no constraint, no key is in the way.

Each change is made in a transaction that is looked at from within and undone.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa

from service import record
from service.store import chain, engines, fence, models
from service.store.identity import new_id
from service.store.journal import FIRST_HASH, row_hash

OF_THE_SERVER = (
    "SELECT conrelid::regclass::text, conname FROM pg_constraint "
    "WHERE contype IN ('c', 'x') AND connamespace = 'public'::regnamespace"
)


@contextmanager
def as_owner(url: str) -> Iterator[sa.Connection]:
    """A connection on which nothing is refused; all is undone at its end."""
    engine = engines.single(url).execution_options(writes=True)
    on_sqlite = engine.dialect.name == "sqlite"
    with engine.connect() as connection:
        if on_sqlite:
            raw: Any = connection.connection.dbapi_connection
            for pragma in ("foreign_keys = OFF", "ignore_check_constraints = ON"):
                raw.execute(f"PRAGMA {pragma}").close()
        with connection.begin() as transaction:
            fence.let_through(connection, None)
            free_on_sqlite(connection) if on_sqlite else free_on_postgresql(connection)
            yield connection
            transaction.rollback()
    engine.dispose()


def free_on_sqlite(connection: sa.Connection) -> None:
    names = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").scalars().all()
    for name in names:
        connection.exec_driver_sql(f"DROP TRIGGER {name}")


def free_on_postgresql(connection: sa.Connection) -> None:
    connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
    for table, name in connection.exec_driver_sql(OF_THE_SERVER).all():
        connection.exec_driver_sql(f"ALTER TABLE {table} DROP CONSTRAINT {name}")


def first_row(connection: sa.Connection, table: sa.Table) -> dict[str, Any]:
    """The first row of a table, by its key."""
    row = connection.execute(sa.select(table).order_by(*table.primary_key).limit(1)).one()
    return dict(row._mapping)


def this_row(table: sa.Table, row: dict[str, Any]) -> sa.ColumnElement[bool]:
    return sa.and_(*(column == row[column.key] for column in table.primary_key))


def another(column: sa.Column[Any], value: Any) -> Any:
    """Another value of the same kind, as near to it as can be."""
    if isinstance(column.type, sa.Uuid):
        return new_id()
    if isinstance(column.type, sa.Boolean):
        return not value
    if isinstance(column.type, sa.Double):
        return (value or 0.0) + 0.001
    if isinstance(column.type, sa.Integer):
        return (value or 0) + 1000  # free, where numbers are unique
    if isinstance(column.type, models.UTCDateTime):
        return (value or datetime.fromisoformat("2026-01-01T00:00:00+00:00")) + timedelta(microseconds=1)
    return f"{value or ''} "


def change(connection: sa.Connection, table: sa.Table, column: sa.Column[Any]) -> None:
    row = first_row(connection, table)
    values = {column.key: another(column, row[column.key])}
    assert connection.execute(sa.update(table).where(this_row(table, row)).values(values)).rowcount == 1


def remove(connection: sa.Connection, table: sa.Table) -> None:
    row = first_row(connection, table)
    assert connection.execute(sa.delete(table).where(this_row(table, row))).rowcount == 1


def add(connection: sa.Connection, table: sa.Table) -> None:
    """A row like the first, with another key and whatever else must be its own."""
    row = first_row(connection, table)
    unique = {
        column
        for item in (*table.constraints, *table.indexes)
        if isinstance(item, sa.PrimaryKeyConstraint | sa.UniqueConstraint) or getattr(item, "unique", False)
        for column in item.columns
        if column.key != "site_id"
    }
    values = {name: another(table.c[name], value) if table.c[name] in unique else value for name, value in row.items()}
    if table.name == "stays":
        values["position_id"] = new_id()
    connection.execute(sa.insert(table).values(values))


def cut_tail(connection: sa.Connection, site_id: str, keep: int) -> None:
    """Take back every write after a number: rows that were made, the journal, and its head."""
    parts, entry, head = models.JournalRows, models.JournalEntry, models.SiteHead
    later = sa.select(parts.rows).where(parts.site_id == site_id, parts.seq > keep)
    for text in connection.execute(later).scalars().all():
        for name, key, _ in record.decoded(text):
            known = chain.chained()[name]
            same = [column == value for column, value in zip(known.key, chain.key_values(key), strict=True)]
            connection.execute(sa.delete(known.table).where(known.site == site_id, *same))
    for table in (parts, entry):
        connection.execute(sa.delete(table).where(table.site_id == site_id, table.seq > keep))
    last = connection.execute(sa.select(entry.hash).where(entry.site_id == site_id, entry.seq == keep)).scalar_one()
    connection.execute(sa.update(head).where(head.site_id == site_id).values(seq=keep, head_hash=last))


def forge(connection: sa.Connection, site_id: str, table: sa.Table, column: sa.Column[Any]) -> None:
    """Change a row and compute every hash after it anew, as whoever has this program and the whole database can."""
    change(connection, table, column)
    known = chain.chained()[table.name]
    true = {(table.name, key): digest for key, digest in chain.contents(connection, known, site_id)}
    parts, entry, head = models.JournalRows, models.JournalEntry, models.SiteHead
    digests: dict[int, chain.Digest] = {}
    stored = sa.select(parts.seq, parts.part, parts.rows).where(parts.site_id == site_id)
    for seq, part, text in connection.execute(stored.order_by(parts.seq, parts.part)).all():
        rows = [[name, key, true.get((name, key), digest)] for name, key, digest in record.decoded(text)]
        (forged,) = chain.parts([tuple(row) for row in rows])  # type: ignore[misc]
        same = (parts.site_id == site_id, parts.seq == seq, parts.part == part)
        connection.execute(sa.update(parts).where(*same).values(rows=forged))
        digests.setdefault(seq, chain.Digest()).add(forged)
    previous, seq = FIRST_HASH, 0
    journal = sa.select(entry.__table__).where(entry.site_id == site_id).order_by(entry.seq)
    for row in connection.execute(journal).mappings().all():
        seq = row["seq"]
        data = record.decoded(row["data"])
        if seq in digests:
            data[chain.ROWS] = digests[seq].text
        members = {**row, "data": record.encoded(data)}
        forged = row_hash(previous, members)
        new = {"data": members["data"], "prev_hash": previous, "hash": forged}
        connection.execute(sa.update(entry).where(entry.site_id == site_id, entry.seq == seq).values(new))
        previous = forged
    connection.execute(sa.update(head).where(head.site_id == site_id).values(seq=seq, head_hash=previous))


def wipe(connection: sa.Connection, site_id: str) -> None:
    """Take a whole site away."""
    for table in models.Base.metadata.tables.values():
        site = table.c.id if table.name == "sites" else table.c.site_id
        connection.execute(sa.delete(table).where(site == site_id))
