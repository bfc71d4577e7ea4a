"""The journal is whole, in order, and cannot be changed without being found out."""

import json
from collections.abc import Callable
from hashlib import sha256

import pytest
import sqlalchemy as sa

from service import units
from service.store import models
from service.store.database import Database
from service.store.unit_of_work import Event, Tx, Written
from service.use_cases.checks import journal as checked
from tests.store import plant
from tests.store.test_unit_of_work import together

REFUSED = {
    "update": sa.update(models.JournalEntry).values(actor="someone else"),
    "delete": sa.delete(models.JournalEntry),
}
TRIGGERS = {
    "sqlite": ("tr_journal_update", "tr_journal_delete", "tr_journal_replace"),
    "postgresql": ("tr_journal_change", "tr_journal_truncate"),
}


def entered(database: Database, site_id: str, number: int, events: int = 1) -> None:
    """Writes that leave ``events`` journal rows each."""
    happened = tuple(
        Event("asset.changed", "asset", f"a-{place}", "b" * 64, "c" * 64, {"gap": units.clearance(63500)})
        for place in range(events)
    )
    for _ in range(number):
        plant.written(database, site_id, lambda tx: None, *happened)


def test_a_write_leaves_its_events_in_order_with_who_when_and_why(database: Database) -> None:
    site_id = plant.site(database)
    entered(database, site_id, 2, events=2)
    with database.reading() as connection:
        rows = connection.execute(sa.select(models.JournalEntry.__table__).order_by("seq")).all()
    assert [row.seq for row in rows] == [1, 2, 3, 4, 5]
    assert [row.subject_id for row in rows] == [site_id, "a-0", "a-1", "a-0", "a-1"]
    last = rows[-1]
    assert (last.actor, last.request_id, last.event_type) == ("tester", "test", "asset.changed")
    assert json.loads(last.data) == {"gap": {"quantity": "clearance", "nm": 63500}}
    assert checked.verify_journals(database) == [checked.Chain("north", 5)]


def test_the_hash_is_sha256_over_the_hash_before_and_the_row(database: Database) -> None:
    """Recomputed here from the row as the database holds it, by hashlib and json alone."""
    site_id = plant.site(database)
    entered(database, site_id, 1)
    with database.reading() as connection:
        row = connection.execute(sa.select(models.JournalEntry.__table__).order_by(sa.desc("seq")).limit(1)).one()
    members = {name: value for name, value in row._mapping.items() if name not in ("prev_hash", "hash")}
    members["at"] = f"{row.at:%Y-%m-%dT%H:%M:%S}.{row.at.microsecond:06d}Z"
    text = json.dumps(members, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert row.hash == sha256((row.prev_hash + text).encode()).hexdigest()


def test_each_site_has_a_chain_of_its_own(database: Database) -> None:
    north, south = plant.site(database, "north"), plant.site(database, "south")
    entered(database, north, 3)
    entered(database, south, 1)
    assert checked.verify_journals(database) == [checked.Chain("north", 4), checked.Chain("south", 2)]
    assert checked.verify_journals(database, "south") == [checked.Chain("south", 2)]


def test_concurrent_writers_leave_no_gap(database: Database) -> None:
    site_id = plant.site(database)
    together(*[lambda: entered(database, site_id, 5)] * 8)
    assert checked.verify_journals(database) == [checked.Chain("north", 41)]


@pytest.mark.parametrize("verb", REFUSED)
def test_a_row_can_be_neither_changed_nor_deleted(database: Database, verb: str) -> None:
    site_id = plant.site(database)
    with pytest.raises(sa.exc.IntegrityError, match="append-only"):
        plant.written(database, site_id, lambda tx: tx.connection.execute(REFUSED[verb]))
    assert checked.verify_journals(database) == [checked.Chain("north", 1)]


AROUND_ROW_TRIGGERS = {
    "sqlite": "INSERT OR REPLACE INTO journal SELECT * FROM journal",  # deletes without firing a DELETE trigger
    "postgresql": "TRUNCATE journal",
}


def test_a_row_cannot_be_replaced_or_truncated_away(database: Database) -> None:
    site_id = plant.site(database)
    statement = AROUND_ROW_TRIGGERS[database.engine.dialect.name]
    with pytest.raises(sa.exc.IntegrityError, match="append-only"):
        plant.written(database, site_id, lambda tx: tx.connection.exec_driver_sql(statement))
    assert checked.verify_journals(database) == [checked.Chain("north", 1)]


def tampered(column: str, value: object) -> Callable[[sa.Connection], None]:
    def change(connection: sa.Connection) -> None:
        third = models.JournalEntry.seq == 3
        connection.execute(sa.update(models.JournalEntry).where(third).values({column: value}))

    return change


def removed(seq: int) -> Callable[[sa.Connection], None]:
    return lambda connection: connection.execute(sa.delete(models.JournalEntry).where(models.JournalEntry.seq == seq))


def head_moved(connection: sa.Connection) -> None:
    connection.execute(sa.update(models.SiteHead).values(seq=4, head_hash="0" * 64))


def tail_cut_with_its_head(connection: sa.Connection) -> None:
    removed(5)(connection)
    connection.execute(sa.update(models.SiteHead).values(seq=4))


@pytest.mark.parametrize(
    ("change", "seq"),
    [
        *((tampered(column, "x"), 3) for column in ("actor", "request_id", "event_type", "subject_kind", "data")),
        *((tampered(column, "x"), 3) for column in ("subject_id", "before_hash", "after_hash", "prev_hash", "hash")),
        (tampered("before_hash", None), 3),
        (tampered("at", plant.OPENED_AT), 3),
        (removed(1), 1),
        (removed(3), 3),
        (removed(5), 5),
        (head_moved, 5),
        (tail_cut_with_its_head, 4),
    ],
)
def test_verify_names_the_first_row_that_was_tampered_with(
    database: Database, change: Callable[[sa.Connection], None], seq: int
) -> None:
    site_id = plant.site(database)
    entered(database, site_id, 4)

    def around_the_triggers(tx: Tx) -> Written:
        on_sqlite = tx.connection.dialect.name == "sqlite"
        for trigger in TRIGGERS[tx.connection.dialect.name]:
            tx.connection.exec_driver_sql(f"DROP TRIGGER {trigger}" + ("" if on_sqlite else " ON journal"))
        change(tx.connection)
        return Written(200, "")

    database.write(site_id=site_id, actor="intruder", request_id="-", work=around_the_triggers)
    (chain,) = checked.verify_journals(database)
    assert chain.broken_seq == seq
    assert chain.reason
