"""Every row that a write leaves is in the chain, however it was written; and no table stays out without a reason."""

import hashlib
import json
from datetime import UTC, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from service.history.stays import Stay
from service.settings import Settings
from service.store import chain, fence, models
from service.store.database import Database
from service.store.identity import new_id
from service.store.queries import alarms, attributes, stay_import, subscriptions
from service.store.unit_of_work import Event, Idempotency, Tx, Written
from service.use_cases.checks.audit import Audited, Fault, audit
from tests.store import plant
from tests.store.test_migrations import populated

STORE = Path(chain.__file__).parent


def faults(database: Database) -> list[str]:
    return [f"{each.table} {each.what}" for each in audit(database) if isinstance(each, Fault)]


def entries(database: Database) -> list[list[Any]]:
    """What the journal names of rows, write after write."""
    wanted = sa.select(models.JournalRows.rows).order_by(models.JournalRows.seq, models.JournalRows.part)
    with database.reading() as connection:
        return [json.loads(text) for text in connection.execute(wanted).scalars()]


def past_the_door(database: Database, site_id: str, statement: Any) -> None:
    """Executed without the unit of work, by the role that the service has."""
    with database.engine.connect() as connection:
        connection = connection.execution_options(writes=True)
        with connection.begin():
            fence.let_through(connection, site_id)
            connection.execute(statement)


def test_every_table_is_in_the_chain_or_is_listed_with_a_reason(database: Database) -> None:
    """Of the tables that the migrations made, whatever the models say."""
    with database.reading() as connection:
        there = set(sa.inspect(connection).get_table_names()) - {"alembic_version"}
    assert there == set(chain.chained()) | set(chain.OUTSIDE)
    assert not set(chain.chained()) & set(chain.OUTSIDE)
    assert all(len(why) > 10 for why in (*chain.OUTSIDE.values(), *chain.OUTSIDE_COLUMNS.values()))
    columns = {(name, column.key) for name, known in chain.chained().items() for column in known.table.columns}
    assert set(chain.OUTSIDE_COLUMNS) <= columns


def test_no_statement_goes_past_what_is_listened_to() -> None:
    """SQLAlchemy's statements are noted; text and the driver are not, so each place that uses them is known here."""
    past = {
        path.relative_to(STORE).as_posix()
        for path in STORE.rglob("*.py")
        if any(
            word in path.read_text(encoding="utf-8") for word in ("exec_driver_sql", "driver_connection", "sa.text(")
        )
    }
    saying_or_asking = {"engines.py", "fence.py", "database.py", "migrate.py"}
    in_models = {"models/exchange.py", "models/stays.py"}  # conditions of indexes
    assert past - saying_or_asking - in_models == {"queries/stay_import.py"}
    assert "chain.insert_rows(" in (STORE / "queries/stay_import.py").read_text(encoding="utf-8")


def test_the_record_of_every_table_is_borne_out(database: Database) -> None:
    populated(database.settings.database_url).dispose()
    told = list(audit(database))
    assert [each for each in told if isinstance(each, Fault)] == []
    (done,) = [each for each in told if isinstance(each, Audited)]
    with database.reading() as connection:
        count = sum(
            connection.execute(sa.select(sa.func.count()).select_from(known.table)).scalar_one()
            for known in chain.chained().values()
        )
    assert done.rows == count > 20


def test_a_hash_is_over_content_as_anybody_can_compute_it(database: Database) -> None:
    """By hashlib and json alone, from what the database gives back."""
    site_id = plant.site(database)
    with database.reading() as connection:
        row = connection.execute(sa.select(models.Site.__table__)).one()._mapping
    members = {name: value for name, value in row.items() if value is not None and name != "books_version"}
    members["created_at"] = f"{row['created_at'].astimezone(UTC):%Y-%m-%dT%H:%M:%S.%fZ}"
    text = json.dumps(["sites", members], sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    (first,) = entries(database)
    assert first == [["sites", site_id, hashlib.sha256(text.encode()).hexdigest()]]


def test_what_was_only_inserted_hashes_as_what_is_read_back(database: Database) -> None:
    """A row known by its parameters and the same row looked at: a baseline reads every row."""
    database_ = populated(database.settings.database_url)
    named = {(table, key): digest for some in entries(database_) for table, key, digest in some}
    with database_.reading() as connection:
        site_id = connection.execute(sa.select(models.Site.id)).scalar_one()
        read = {(table, key): digest for table, key, digest in chain.baseline(connection, site_id)}
    assert named == read
    database_.dispose()


ODD: dict[str, Any] = {
    "an upper-case id": {"id": "0190A1B2-0000-7000-8000-00000000ABCD"},
    "a whole number of hours": {"value_h": 5},
    "minus zero": {"value_h": -0.0},
    "a moment of another zone": {"read_at": plant.OPENED_AT.astimezone(tz=None) + timedelta(microseconds=1)},
}


@pytest.mark.parametrize("odd", ODD)
def test_odd_but_allowed_values_hash_alike_before_and_after(database: Database, odd: str) -> None:
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    given = {"site_id": site_id, "id": new_id(), "asset_id": machine.id, "read_at": plant.OPENED_AT, "value_h": 1.5}
    values = given | {"created_at": plant.OPENED_AT} | ODD[odd]
    plant.written(database, site_id, lambda tx: tx.connection.execute(sa.insert(models.MeterReading).values(values)))
    assert faults(database) == []


WORDS = ("a", "A", "a/b", "a-b", "a%2Fb", "a b", "ä", "z", "Z9", "_")


def test_rows_whose_keys_are_words_are_told_apart_and_found(database: Database) -> None:
    """Engines sort words each in its own way, and a word may hold what stands between the parts of a key."""
    site_id = plant.site(database)

    def work(tx: Tx) -> None:
        attributes.insert_attributes(tx, dict.fromkeys(WORDS, "text"))
        for kind in ("position", "group"):
            for word in WORDS:
                alarms.raise_alarm(tx, (kind, word), "worse")

    plant.written(database, site_id, work)
    assert faults(database) == []
    plant.written(database, site_id, lambda tx: alarms.end_alarms(tx, [("group", "a/b")]))
    plant.written(database, site_id, lambda tx: alarms.raise_alarm(tx, ("group", "a-b"), "much worse"))
    assert faults(database) == []
    alarm = models.Alarm
    change = sa.update(alarm).where(alarm.subject == "a%2Fb", alarm.kind == "group").values(verdict="none")
    past_the_door(database, site_id, change)
    named = [(each.table, each.key) for each in audit(database) if isinstance(each, Fault)]
    assert named == [("alarms", "group/a%252Fb")]


def test_what_one_write_does_twice_is_named_as_it_is_left(database: Database) -> None:
    site_id = plant.site(database)

    def work(tx: Tx) -> None:
        asset = {"site_id": site_id, "id": new_id(), "tag": "T", "name": "n", "version": 1, "document": "{}"}
        for each in (asset, asset | {"id": new_id(), "tag": "U"}):
            times = {"created_at": tx.now, "updated_at": tx.now}
            tx.connection.execute(sa.insert(models.Asset).values(each | times))
        tx.connection.execute(sa.update(models.Asset).where(models.Asset.tag == "T").values(name="changed"))
        tx.connection.execute(sa.delete(models.Asset).where(models.Asset.tag == "U"))

    plant.written(database, site_id, work)
    assert faults(database) == []
    assert [digest is None for _, _, digest in entries(database)[-1]] == [False, True]


def test_what_is_rolled_back_to_a_savepoint_is_not_named(database: Database) -> None:
    site_id = plant.site(database)

    def work(tx: Tx) -> None:
        savepoint = tx.connection.begin_nested()
        tx.connection.execute(sa.update(models.Site).values(name="tried"))
        savepoint.rollback()

    before = entries(database)
    plant.written(database, site_id, work)
    assert entries(database) == before
    assert faults(database) == []


def test_a_dry_run_and_counters_name_nothing(database: Database) -> None:
    site_id = plant.site(database)
    before = entries(database)

    def changed(tx: Tx) -> Written:
        tx.connection.execute(sa.update(models.Site).where(models.Site.id == site_id).values(name="x"))
        return Written(200, "", events=(Event("site.settings_changed", "site", site_id),))

    database.write(site_id=site_id, actor="t", request_id="r", work=changed, dry_run=True)
    counted = sa.update(models.Site).values(books_version=models.Site.books_version + 1)
    plant.written(database, site_id, lambda tx: tx.connection.execute(counted))
    assert entries(database) == before
    assert faults(database) == []


def test_a_write_that_tells_no_event_is_in_the_journal_all_the_same(database: Database) -> None:
    site_id = plant.site(database)
    plant.stored(database, site_id)
    with database.reading() as connection:
        types = connection.execute(sa.select(models.JournalEntry.event_type).order_by("seq")).scalars().all()
    assert types == ["site.created", "record.changed"]


def test_delivering_moves_a_subscription_outside_the_chain(database: Database) -> None:
    site_id = plant.site(database)
    given = {"url": "https://cmms.example/x", "types": (), "secret": "s", "position": 0}
    row = plant.written(database, site_id, lambda tx: subscriptions.insert_subscription(tx, **given))
    before = entries(database)
    for step in (
        lambda tx: subscriptions.lease(tx, row.id, "owner", 60),
        lambda tx: subscriptions.move(tx, row.id, position=1),
        lambda tx: subscriptions.release(tx, row.id, "owner"),
    ):
        plant.written(database, site_id, step)
    assert entries(database) == before
    plant.written(database, site_id, lambda tx: subscriptions.change_subscription(tx, row, status="paused"))
    assert len(entries(database)) == len(before) + 1
    assert faults(database) == []


def test_stays_that_come_by_thousands_are_named_each(database: Database) -> None:
    """Past SQLAlchemy, as a history is imported; in parts that no memory need hold at once."""
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    position = machine.shafts[0]["positions"][0]
    many = [
        Stay(
            asset="FAN-1",
            position=position["name"],
            designation="22216 K",
            end_type="removed_preventive",
            inspected=False,
            installed_at=plant.OPENED_AT + timedelta(hours=2 * n),
            removed_at=plant.OPENED_AT + timedelta(hours=2 * n + 1),
        )
        for n in range(2_300)
    ]
    places = {many[0].place: position["id"]}
    plant.written(database, site_id, lambda tx: stay_import.insert_stays(tx, many, places))
    assert [len(some) for some in entries(database)[-3:]] == [1_000, 1_000, 300]
    assert faults(database) == []


def test_an_insertion_that_cannot_be_followed_is_refused(database: Database) -> None:
    site_id = plant.site(database)
    statement = sa.insert(models.Shaft).from_select(["site_id"], sa.select(models.Site.id).where(sa.false()))
    with pytest.raises(AssertionError, match="cannot follow"):
        plant.written(database, site_id, lambda tx: tx.connection.execute(statement))


def test_a_write_reaches_no_row_of_another_site(sqlite_url: str) -> None:
    """On PostgreSQL the fence hides them; here the chain refuses what it could only enter in the wrong journal."""
    database = Database(Settings(database_url=sqlite_url))
    north, south = plant.site(database), plant.site(database, "south")
    plant.stored(database, south)
    with pytest.raises(AssertionError, match="reaches a row of assets of site"):
        plant.written(database, north, lambda tx: tx.connection.execute(sa.update(models.Asset).values(name="x")))


def test_rows_that_appear_between_the_look_and_the_change_run_the_work_again(postgres_url: str) -> None:
    """READ COMMITTED: a row that another transaction commits in between is changed, though it was not looked at."""
    database = Database(Settings(database_url=postgres_url))
    site_id = plant.site(database)
    runs: list[int] = []

    def work(tx: Tx) -> None:
        runs.append(1)
        touched = chain.touched_on(tx.connection)
        assert touched is not None
        look = touched.before

        def looked(*given: Any) -> None:
            look(*given)
            if len(runs) == 1:
                plant.stored(database, site_id)

        touched.before = looked  # type: ignore[method-assign]
        tx.connection.execute(sa.update(models.Asset).where(models.Asset.site_id == site_id).values(name="all"))

    plant.written(database, site_id, work)
    assert len(runs) == 2
    assert faults(database) == []
    database.dispose()


def test_what_is_past_its_time_leaves_a_row_that_says_what_went(database: Database) -> None:
    from service.use_cases.checks.retention import tidy

    site_id = plant.site(database)
    named = Idempotency(key="K1", method="POST", route="/v1/assets", fingerprint="f")
    database.write(site_id=site_id, actor="t", request_id="r", work=lambda _: Written(201, "{}"), idempotency=named)
    old = sa.update(models.IdempotencyKey).values(created_at=plant.OPENED_AT - timedelta(days=400))
    plant.written(database, site_id, lambda tx: tx.connection.execute(old))
    assert tidy(database).answers == 1
    with database.reading() as connection:
        last = sa.select(models.JournalEntry.event_type, models.JournalEntry.data).order_by(sa.desc("seq")).limit(1)
        event_type, data = connection.execute(last).one()
    assert event_type == "record.tidied"
    assert [(each["what"], each["count"]) for each in json.loads(data)["gone"]] == [("idempotency_keys", 1)]


def test_rows_named_by_the_journal_cannot_be_changed(database: Database) -> None:
    site_id = plant.site(database)
    for statement in (sa.update(models.JournalRows).values(rows="[]"), sa.delete(models.JournalRows)):
        with pytest.raises(sa.exc.IntegrityError, match="append-only"):
            plant.written(database, site_id, lambda tx, statement=statement: tx.connection.execute(statement))
