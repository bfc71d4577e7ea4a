"""The schema is what the models say, goes up, down and up, and loses no row on the way."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from uuid import UUID

import pytest
import sqlalchemy as sa
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from service.settings import Settings
from service.store import engines, failures, fence, migrate, models, photo_folder
from service.store.database import Database
from service.store.models.records import READING_KINDS
from service.store.queries import (
    alarms,
    attributes,
    desk_sessions,
    entries,
    keys,
    meters,
    photos,
    sites,
    stays,
    work_orders,
)
from service.store.unit_of_work import Idempotency, Tx, Written
from service.use_cases.checks.audit import Audited, audit
from tests import databases
from tests.store import plant
from tests.store.connections import connected
from tests.store.test_books import add_chart, add_housing
from tests.store.test_stays import stay
from tests.store.test_work_orders import revision

ROOT = Path(__file__).parents[2]


@pytest.fixture(params=["sqlite", "postgresql"])
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A database without a schema."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'empty.db'}"
        return
    server: databases.PostgresServer = request.getfixturevalue("postgres_server")
    url = server.empty()
    yield url
    server.drop(url)


def tables(url: str) -> set[str]:
    engine = engines.single(url)
    with engine.connect() as connection:
        return set(sa.inspect(connection).get_table_names()) - {"alembic_version"}


def populated(url: str) -> Database:
    """A database with rows that refer to each other, in every table that can have some."""
    database = Database(Settings(database_url=url))
    site_id = plant.site(database)
    machine = plant.stored(database, site_id)
    order = plant.written(database, site_id, lambda tx: plant.order(tx, machine))
    plant.written(database, site_id, lambda tx: [revision(tx, order.id, 1), revision(tx, order.id, 2, 1)])
    plant.written(database, site_id, lambda tx: plant.life_of(tx, order.id))
    other = plant.written(database, site_id, lambda tx: plant.order(tx, machine, "WO-2"))
    plant.written(database, site_id, lambda tx: work_orders.cancel_work_order(tx, other.id, "not needed"))
    plant.written(database, site_id, lambda tx: [add_chart(tx), add_housing(tx)])
    plant.written(database, site_id, lambda tx: connected(tx, order.id))
    read = {"read_at": plant.OPENED_AT, "value_h": 120.5, "restarts_at_h": None}
    plant.written(database, site_id, lambda tx: meters.insert_meter_reading(tx, asset_id=machine.id, **read))
    position_id = machine.shafts[0]["positions"][0]["id"]
    told = {"lubricant": "Grease 2", "batch": "B7", "speed_rpm": 1480.0, "temperature_degc": 65.5, "radial_load_n": 9e3}
    plant.written(
        database,
        site_id,
        lambda tx: [
            stay(tx, position_id, 0, 5, **told, attributes='{"crew_size":3}'),
            stay(tx, position_id, 5, None),
            attributes.insert_attributes(tx, {"crew_size": "number"}),
            alarms.raise_alarm(tx, ("position", position_id), "worse"),
        ],
    )
    set_aside = {"reason": "beginning_unknown", "document": {"serial": "OLD-1"}}
    beside = {"position_id": position_id, "work_order_id": order.id, **set_aside}
    plant.written(database, site_id, lambda tx: stays.set_aside_stay(tx, **beside))
    plant.written(database, site_id, lambda tx: photo(database, tx, order.id))
    key_id = canonical_id_of(keys.create_key(database, "north", ("read",)))
    held = {"key_id": key_id, "secret_sha256": "0" * 64}
    plant.written(
        database,
        site_id,
        lambda tx: desk_sessions.insert_session(tx, **held, expires_at=tx.now + timedelta(hours=12)),
    )
    named = Idempotency(key="K1", method="POST", route="/v1/assets", fingerprint="f")
    database.write(
        site_id=site_id, actor="tester", request_id="r", work=lambda _tx: Written(201, "{}"), idempotency=named
    )
    return database


def photo(database: Database, tx: Tx, order_id: str) -> photos.PhotoRow:
    """A photo, with its file where this service keeps any."""
    folder, data = database.settings.photo_folder, b"a photo"
    digest = sha256(data).hexdigest() if folder is None else photo_folder.kept(folder, tx.site_id, data)
    taken = {"taken_by": "A. Fitter", "taken_at": plant.OPENED_AT, "sent_as": None}
    shown = {"about": "damage", "position": "tail", "sha256": digest, "bytes": len(data), "width": 2, "height": 1}
    return photos.insert_photo(tx, work_order_id=order_id, **shown, **taken)


def canonical_id_of(key: str) -> str:
    """The id of a key, as it is stored."""
    return str(UUID(key.split("_")[1]))


def counts(database: Database) -> dict[str, int]:
    with database.reading() as connection:
        return {
            name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one()
            for name, table in models.Base.metadata.tables.items()
        }


Rows = dict[str, list[dict[str, str]]]


def contents(database: Database) -> Rows:
    """Every row of every table, column by column."""
    with database.reading() as connection:
        return {
            name: [{c: repr(v) for c, v in row._mapping.items()} for row in connection.execute(sa.select(table))]
            for name, table in models.Base.metadata.tables.items()
        }


def kept(rows: Rows, columns: dict[str, set[str]]) -> Rows:
    """The rows as far as the tables and columns were there all the time, in an order of their own."""
    return {
        name: sorted(
            ({c: v for c, v in row.items() if c in columns[name]} for row in rows[name]),
            key=lambda row: sorted(row.items()),
        )
        for name in columns
    }


ENDS = ("journal_rows", "site_heads")


def without_baselines(rows: Rows) -> Rows:
    """A migration that makes the chain anew enters a row in the journal, and moves its head."""
    baseline = repr("record.baseline")
    return {name: [row for row in rows[name] if row.get("event_type") != baseline] for name in rows if name not in ENDS}


def columns_of(url: str) -> dict[str, set[str]]:
    """The columns of each table as the database has them."""
    with engines.single(url).connect() as connection:
        inspector = sa.inspect(connection)
        return {name: {column["name"] for column in inspector.get_columns(name)} for name in tables(url)}


def test_there_is_one_head_and_each_revision_has_its_number() -> None:
    script = ScriptDirectory(str(migrate.folder()))
    assert script.get_heads() == [migrate.head()]
    assert all(re.fullmatch(r"\d{4}", each.revision) for each in script.walk_revisions())


def test_up_down_and_up_again(empty_url: str) -> None:
    expected = set(models.Base.metadata.tables)
    migrate.upgrade(empty_url)
    assert tables(empty_url) == expected
    migrate.downgrade(empty_url, "base")
    assert tables(empty_url) == set()
    if empty_url.startswith("postgresql"):
        with engines.single(empty_url).connect() as connection:
            ours = "SELECT proname FROM pg_proc WHERE proname IN ('refuse_change', 'refuse_overlap')"
            assert connection.exec_driver_sql(ours).all() == []
    migrate.upgrade(empty_url)
    assert tables(empty_url) == expected
    populated(empty_url).dispose()


def test_an_upgrade_from_each_revision_loses_no_row(empty_url: str) -> None:
    """Goes one revision down from the head and up again, as far as the first; only the tables it lacks are dropped."""
    migrate.upgrade(empty_url)
    database = populated(empty_url)
    before = contents(database)
    assert [name for name, rows in before.items() if not rows] == []
    revisions = [each.revision for each in ScriptDirectory(str(migrate.folder())).walk_revisions()]
    for lower in revisions[1:]:
        migrate.downgrade(empty_url, lower)
        there = {name: columns for name, columns in columns_of(empty_url).items() if name not in ENDS}
        migrate.upgrade(empty_url)
        assert kept(without_baselines(contents(database)), there) == kept(before, there)
        assert [each.faults for each in audit(database) if isinstance(each, Audited)] == [0]
    after = contents(database)
    migrate.upgrade(empty_url)  # nothing to do
    assert contents(database) == after
    database.dispose()


def test_no_reading_loses_its_kind_on_the_way_down_and_up(empty_url: str) -> None:
    """The schema before knew ten kinds: a new one is kept as a confirmation that says what it was."""
    migrate.upgrade(empty_url)
    database = populated(empty_url)
    site = sites.site_by_code(database, "north")
    with database.read(site.id) as tx:
        first_order = sa.select(models.WorkOrder.id).where(models.WorkOrder.external_number == "WO-1")
        order_id = tx.connection.execute(first_order).scalar_one()
    said = {"values": [{"value": 'C3, or "CN": who knows'}], "detail": "a, b", "next": "go on"}
    first: list[str] = []
    for entry, kind in enumerate(READING_KINDS, start=10):
        replaces = {"replaces": first[0]} if first else {}
        given = {"entry": entry, "kind": kind, "made_revision": None, "document": said, **replaces}
        row = plant.written(database, site.id, lambda tx, given=given: plant.reading(tx, order_id, **given))
        first.append(row.id)
    before = readings(database, site.id, order_id)
    migrate.downgrade(empty_url, "0005")
    with engines.single(empty_url).connect() as connection:
        fence.let_through(connection, None)
        found = connection.exec_driver_sql("SELECT kind, document FROM readings ORDER BY entry").all()
    assert {kind for kind, _ in found} <= OLD_KINDS
    assert '{"was_kind":"class_read",' in next(text for _, text in found if "class_read" in text)
    migrate.upgrade(empty_url)
    after = readings(database, site.id, order_id)
    assert [(row.kind, row.document, row.replaces) for row in after] == [
        (row.kind, row.document, None) for row in before
    ]
    with pytest.raises(Exception, match="append-only"):
        plant.written(database, site.id, lambda tx: tx.connection.execute(sa.delete(models.Reading)))
    database.dispose()


OLD_KINDS = {
    "initial_clearance", "residual_clearance", "axial_displacement", "nut_turn", "cap_bolt_torque",
    "free_setting", "bearing_spacing", "shaft_diameter", "run_in_temperature", "confirmation",
}  # fmt: skip


def readings(database: Database, site_id: str, order_id: str) -> list[entries.ReadingRow]:
    with database.read(site_id) as tx:
        return entries.readings_of(tx, order_id)


REBUILD = """
revision = "9999"
down_revision = "{head}"
import sqlalchemy as sa
from alembic import op

def upgrade():
    with op.batch_alter_table("assets", recreate="{recreate}") as batch:
        batch.add_column(sa.Column("note", sa.Text(), nullable=True))
    {extra}

def downgrade():
    with op.batch_alter_table("assets", recreate="{recreate}") as batch:
        batch.drop_column("note")
"""


def with_rebuild(folder: Path, extra: str = "pass", recreate: str = "always") -> Path:
    """The migrations with one more that rebuilds a table others refer to, as a later one may have to."""
    copy = folder / "migrations"
    (copy / "versions").mkdir(parents=True)
    (copy / "env.py").write_text((migrate.folder() / "env.py").read_text())
    for file in (migrate.folder() / "versions").glob("*.py"):
        (copy / "versions" / file.name).write_text(file.read_text())
    text = REBUILD.format(head=migrate.head(), extra=extra, recreate=recreate)
    (copy / "versions" / "9999_rebuild.py").write_text(text)
    return copy


def test_rebuilding_a_table_that_others_refer_to_loses_no_row(
    database_url: str, owner_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With foreign keys on, SQLite would refuse this or, with CASCADE, delete every row that refers to an asset."""
    database = populated(database_url)
    before, rows = counts(database), contents(database)
    on_sqlite = database.settings.on_sqlite
    copy = with_rebuild(tmp_path, recreate="always" if on_sqlite else "auto")
    monkeypatch.setattr(migrate, "folder", lambda: copy)
    for _ in range(2):
        migrate.upgrade(owner_url)
        assert counts(database) == before
        with database.reading() as connection:
            assert "note" in {column["name"] for column in sa.inspect(connection).get_columns("assets")}
        migrate.downgrade(owner_url, "-1")
        assert contents(database) == rows
    with pytest.raises(Exception, match="contradicts what is on record"):  # the keys hold again afterwards
        site = sites.site_by_code(database, "north")
        plant.written(database, site.id, lambda tx: tx.connection.execute(sa.delete(models.Asset)))
    database.dispose()


def test_a_migration_that_would_leave_rows_without_parents_is_undone(
    sqlite_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    database = populated(sqlite_url)
    before = counts(database)
    copy = with_rebuild(tmp_path, extra='op.execute("DELETE FROM assets")')
    monkeypatch.setattr(migrate, "folder", lambda: copy)
    with pytest.raises(
        RuntimeError, match="without what they refer to, in: meter_readings, positions, shafts, work_orders"
    ):
        migrate.upgrade(sqlite_url)
    assert counts(database) == before
    assert migrate.current(database.engine) != "9999"
    database.dispose()


def test_the_models_say_what_the_migrations_made(database: Database) -> None:
    with database.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        found = compare_metadata(context, models.Base.metadata)
        assert found == [], "the models are ahead: write migrations/versions/00NN, up and down"


def test_the_checks_have_the_names_that_the_models_give(database: Database) -> None:
    """Alembic does not compare CHECK constraints, so they are compared here."""
    expected = {
        table.name: {str(item.name) for item in table.constraints if isinstance(item, sa.CheckConstraint)}
        for table in models.Base.metadata.tables.values()
    }
    with database.reading() as connection:
        inspector = sa.inspect(connection)
        found = {table: {str(item["name"]) for item in inspector.get_check_constraints(table)} for table in expected}
    assert found == expected
    assert sum(len(names) for names in found.values()) > 20


def test_every_column_of_an_order_holds_a_value_while_migrations_go_up_and_down(sqlite_url: str) -> None:
    """A column that is empty in every row would lose its values in a migration, and no test would see it."""
    database = populated(sqlite_url)
    rows = contents(database)["work_orders"]
    empty = [name for name in rows[0] if all(row[name] == "None" for row in rows)]
    assert empty == [], "no order of tests/store/plant.py has a value there"


def test_every_table_and_index_begins_with_the_site() -> None:
    """The one exception is said in its model: a key is what tells the site."""
    for table in models.Base.metadata.tables.values():
        if table.name == "sites":
            continue
        unique = [item for item in table.constraints if not isinstance(item, sa.CheckConstraint)]
        for item in (*unique, *table.indexes):
            if item.name != "ix_api_keys_id":
                assert next(iter(item.columns)).name == "site_id", item.name


def test_every_foreign_key_forbids_deleting_what_it_refers_to() -> None:
    keys = [key for table in models.Base.metadata.tables.values() for key in table.foreign_key_constraints]
    assert {key.ondelete for key in keys} == {"RESTRICT"}


def test_a_unique_constraint_that_is_hit_can_be_told_by_name() -> None:
    """SQLite tells columns only; two unique constraints over the same columns could not be told apart."""
    names = [
        str(item.name)
        for table in models.Base.metadata.tables.values()
        for item in (*table.constraints, *table.indexes)
        if isinstance(item, sa.PrimaryKeyConstraint | sa.UniqueConstraint) or getattr(item, "unique", False)
    ]
    assert sorted(failures._unique_names().values()) == sorted(names)
    known = {*names, "ex_stays_no_overlap"} | {
        str(item.name) for table in models.Base.metadata.tables.values() for item in table.constraints
    }
    assert set(failures.MEANINGS) <= known


def test_alembics_own_command_line_works_from_the_repository(empty_url: str) -> None:
    environment = {"PATH": os.environ["PATH"], "CAPSADDLE_DATABASE_URL": empty_url}
    for arguments in (["upgrade", "head"], ["check"]):
        done = subprocess.run(
            [sys.executable, "-m", "alembic", *arguments], cwd=ROOT, env=environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
    assert "No new upgrade operations detected" in done.stdout + done.stderr


def test_ready_means_the_schema_of_this_code(empty_url: str) -> None:
    database = Database(Settings(database_url=empty_url))
    assert database.ready() == {
        "ready": False,
        "database": not database.settings.on_sqlite,  # a file that is not there is not made by asking
        "writable": not database.settings.on_sqlite,
        "migration": None,
        "expected_migration": migrate.head(),
    }
    assert not database.settings.on_sqlite or not engines.sqlite_file(empty_url).exists()
    migrate.upgrade(empty_url)
    assert database.ready()["ready"] is database.ready()["writable"] is True
    database.dispose()


def test_two_processes_that_migrate_take_turns(empty_url: str) -> None:
    script = "import sys; from service.store import migrate; migrate.upgrade(sys.argv[1])"
    command_line = [sys.executable, "-c", script, empty_url]
    running = [subprocess.Popen(command_line, cwd=ROOT, stderr=subprocess.PIPE) for _ in range(3)]
    for process in running:
        _, said = process.communicate(timeout=60)
        assert process.returncode == 0, said.decode()[-2000:]
    assert tables(empty_url) == set(models.Base.metadata.tables)


def test_the_sql_can_be_printed_for_an_operator(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("CAPSADDLE_DATABASE_URL", "postgresql://user@localhost/name")
    command.upgrade(migrate._config(None), "head", sql=True)
    printed = capsys.readouterr().out
    assert "CREATE TABLE journal" in printed
    assert "append-only" in printed
