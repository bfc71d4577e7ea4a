"""capsaddle backup and restore: online, consistent, whole or not at all."""

import os
import random
import re
import shutil
import sqlite3
import stat
import subprocess
import sys
import threading
import time
from contextlib import closing
from pathlib import Path

import psycopg
import pytest
import requests
import sqlalchemy as sa

from service.settings import Settings
from service.store import fence, migrate, models
from service.store.database import Database
from service.use_cases.checks.backup import CannotBackUp, back_up, restore
from service.use_cases.checks.journal import verify_journals
from service.use_cases.checks.manifest import manifest_file, manifest_of
from service.use_cases.checks.sealing import seal_secrets
from tests import databases
from tests.api.samples.machines import fan, order
from tests.store.test_migrations import counts, populated
from tests.system.servers import run_command, serving


def settings_of(url: str) -> Settings:
    return Settings(database_url=url)


def rows(url: str) -> dict[str, int]:
    database = Database(settings_of(url))
    found = counts(database)
    database.dispose()
    return found


def test_a_backup_is_restored_row_by_row(sqlite_url: str, tmp_path: Path) -> None:
    database = populated(sqlite_url)
    seal_secrets(database)
    database.dispose()
    (tmp_path / "fresh.db.secret").write_text((tmp_path / "capsaddle.db.secret").read_text())
    before = rows(sqlite_url)
    assert sum(before.values()) > 10
    file = tmp_path / "plant.backup"
    made = run_command(sqlite_url, "backup", str(file))
    assert (made.returncode, "whole" in made.stdout) == (0, True), made.stderr
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    fresh = f"sqlite:///{tmp_path / 'fresh.db'}"
    again = run_command(fresh, "restore", str(file))
    assert (again.returncode, "whole" in again.stdout) == (0, True), again.stderr
    assert rows(fresh) == before
    assert run_command(fresh, "audit", "verify").returncode == 0
    assert sorted(each.name for each in tmp_path.iterdir() if "part" in each.name) == []


def test_nothing_is_overwritten_unless_it_is_said(sqlite_url: str, tmp_path: Path) -> None:
    populated(sqlite_url).dispose()
    settings, file = settings_of(sqlite_url), tmp_path / "plant.backup"
    file.write_text("something else", encoding="utf-8")
    refused = run_command(sqlite_url, "backup", str(file))
    assert (refused.returncode, "--force" in refused.stderr, "Traceback" in refused.stderr) == (1, True, False)
    assert file.read_text(encoding="utf-8") == "something else"
    back_up(settings, file, force=True)
    with pytest.raises(CannotBackUp, match="--force"):
        restore(settings, file)
    with pytest.raises(CannotBackUp, match="the database itself"):
        restore(settings, Path(sqlite_url.removeprefix("sqlite:///")), force=True)


def test_a_restore_goes_back_and_leaves_no_log_of_what_was_there(sqlite_url: str, tmp_path: Path) -> None:
    database = populated(sqlite_url)
    file = tmp_path / "plant.backup"
    back_up(settings_of(sqlite_url), file)
    with database.engine.begin() as connection:  # stays in the write-ahead log, as after a kill
        connection.execute(sa.update(models.Site).values(name="changed since"))
    kept = [database.engine.raw_connection()]
    with pytest.raises(CannotBackUp, match="in use"):
        restore(settings_of(sqlite_url), file, force=True)
    kept.pop().close()
    database.dispose()
    restore(settings_of(sqlite_url), file, force=True)
    assert not list(tmp_path.glob("*-wal"))
    with Database(settings_of(sqlite_url)).reading() as connection:
        assert connection.execute(sa.select(models.Site.name)).scalars().all() == ["North works"]


@pytest.mark.parametrize("damage", ["not a database", "cut", "a byte", "the journal", "another schema", "orphans"])
def test_a_backup_that_is_not_whole_is_refused(sqlite_url: str, tmp_path: Path, damage: str) -> None:
    populated(sqlite_url).dispose()
    file = tmp_path / "plant.backup"
    back_up(settings_of(sqlite_url), file)
    data = file.read_bytes()
    if damage == "not a database":
        file.write_bytes(b"not a database" * 1000)
    elif damage == "cut":
        file.write_bytes(data[: len(data) // 2])
    elif damage == "a byte":
        middle = data.index(b"North works")
        file.write_bytes(data[: middle - 40] + bytes(40) + data[middle:])
    else:
        statements = {
            "the journal": ("UPDATE journal SET actor = 'nobody' WHERE seq = 1",),
            "another schema": ("UPDATE alembic_version SET version_num = '0000'",),
            "orphans": ("DELETE FROM work_order_positions", "DELETE FROM positions"),
        }[damage]
        with closing(sqlite3.connect(file)) as connection:
            for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
                connection.execute(f"DROP TRIGGER {name}")
            assert all(connection.execute(statement).rowcount for statement in statements)
            connection.commit()
    fresh = tmp_path / "fresh.db"
    with pytest.raises(CannotBackUp, match="manifest"):
        restore(settings_of(f"sqlite:///{fresh}"), file)
    signed_anew(file)  # by whoever damaged it: what the manifest cannot tell is told by what follows
    with pytest.raises(CannotBackUp):
        restore(settings_of(f"sqlite:///{fresh}"), file)
    assert not fresh.exists()
    before = rows(sqlite_url)
    with pytest.raises(CannotBackUp):
        restore(settings_of(sqlite_url), file, force=True)
    assert rows(sqlite_url) == before, "the database is as it was"


def signed_anew(file: Path) -> None:
    manifest_file(file).write_text(manifest_of(file, schema=migrate.head()).text)


@pytest.mark.parametrize("damage", ["a reading", "a revision"])
def test_a_changed_record_is_refused_whatever_the_manifest_says(sqlite_url: str, tmp_path: Path, damage: str) -> None:
    populated(sqlite_url).dispose()
    file = tmp_path / "plant.backup"
    back_up(settings_of(sqlite_url), file)
    statement = {
        "a reading": "UPDATE readings SET taken_by = 'nobody'",
        "a revision": "UPDATE revisions SET inputs = '{}' WHERE number = 1",
    }[damage]
    with closing(sqlite3.connect(file)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(statement)
        connection.commit()
    signed_anew(file)
    with pytest.raises(CannotBackUp, match="not what its journal says"):
        restore(settings_of(f"sqlite:///{tmp_path / 'fresh.db'}"), file)


def test_no_bit_of_a_backup_may_flip(sqlite_url: str, tmp_path: Path) -> None:
    """Thirty bits spread over the file, most of which no check of SQLite's own would miss; and five truncations."""
    populated(sqlite_url).dispose()
    file, folder = tmp_path / "plant.backup", tmp_path / "restored"
    folder.mkdir()
    back_up(settings_of(sqlite_url), file)
    whole = file.read_bytes()
    draw = random.Random(35)
    damaged = []
    for _ in range(30):
        at = draw.randrange(len(whole))
        damaged.append(whole[:at] + bytes([whole[at] ^ 1 << draw.randrange(8)]) + whole[at + 1 :])
    damaged += [whole[: len(whole) * part // 6] for part in range(1, 5)] + [whole[:-1]]
    assert len(damaged) == 35
    for data in damaged:
        file.write_bytes(data)
        with pytest.raises(CannotBackUp):
            restore(settings_of(f"sqlite:///{folder / 'fresh.db'}"), file)
        assert list(folder.iterdir()) == []
    file.write_bytes(whole)
    restore(settings_of(f"sqlite:///{folder / 'fresh.db'}"), file)
    assert (folder / "fresh.db").exists()


def test_a_damaged_or_missing_manifest_is_refused(sqlite_url: str, tmp_path: Path) -> None:
    populated(sqlite_url).dispose()
    file, fresh = tmp_path / "plant.backup", tmp_path / "fresh.db"
    back_up(settings_of(sqlite_url), file)
    manifest = manifest_file(file)
    assert stat.S_IMODE(manifest.stat().st_mode) == 0o600
    whole = manifest.read_bytes()
    flipped = [whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :] for at in range(0, len(whole), 7)]
    for data in (*flipped, whole[:40], b"", None):
        manifest.unlink() if data is None else manifest.write_bytes(data)
        with pytest.raises(CannotBackUp, match="manifest"):
            restore(settings_of(f"sqlite:///{fresh}"), file)
        assert not fresh.exists()


def test_what_cannot_be_is_told(sqlite_url: str, tmp_path: Path) -> None:
    on_postgresql = settings_of("postgresql+psycopg://nobody@localhost/nothing")
    for command in (back_up, restore):
        with pytest.raises(CannotBackUp, match="pg_dump"):
            command(on_postgresql, tmp_path / "file")
    with pytest.raises(CannotBackUp, match="nothing can be written"):
        back_up(settings_of(sqlite_url), tmp_path / "nowhere" / "file")
    with pytest.raises(CannotBackUp, match="there is no backup"):
        restore(settings_of(sqlite_url), tmp_path / "nothing", force=True)
    with pytest.raises(CannotBackUp, match="there is no database"):
        back_up(settings_of(f"sqlite:///{tmp_path / 'nothing.db'}"), tmp_path / "file")


def client_programs(server: databases.PostgresServer) -> tuple[str, str]:
    """pg_dump and pg_restore that are not older than the server; older ones refuse it."""
    with psycopg.connect(server.url.render_as_string(hide_password=False)) as connection:
        wanted = connection.info.server_version // 10000
    folders = [*os.environ["PATH"].split(os.pathsep), *map(str, Path(sys.prefix).glob("lib/*/*/*/pginstall*/bin"))]
    for folder in folders:
        found = [shutil.which(name, path=folder) for name in ("pg_dump", "pg_restore")]
        if found[0] is not None and found[1] is not None:
            said = subprocess.run([found[0], "--version"], capture_output=True, text=True, check=True).stdout
            if int(re.findall(r"\d+", said)[0]) >= wanted:
                return found[0], found[1]
    pytest.skip(f"no pg_dump of version {wanted} or later")


def test_the_way_of_postgresql_own_tools_keeps_every_row(
    postgres_server: databases.PostgresServer, postgres_url: str, tmp_path: Path
) -> None:
    """The commands of service/render/docs/pages/backup.md, by the superuser: the dump keeps the rights of the role."""
    dump, restore = client_programs(postgres_server)
    populated(postgres_url).dispose()
    before, file = rows(postgres_url), tmp_path / "plant.dump"
    plain = postgres_server.as_owner(postgres_url).replace("postgresql+psycopg", "postgresql")
    subprocess.run([dump, "--format=custom", f"--file={file}", plain], check=True)
    fresh = postgres_server.empty()
    into = f"--dbname={fresh.replace('postgresql+psycopg', 'postgresql')}"
    subprocess.run([restore, "--exit-on-error", "--single-transaction", into, str(file)], check=True)
    served = postgres_server.as_role(fresh)
    assert rows(served) == before
    database = Database(settings_of(served))
    assert [(chain.rows > 0, chain.broken_seq) for chain in verify_journals(database)] == [(True, None)]
    with pytest.raises(sa.exc.DatabaseError, match="append-only"), database.engine.begin() as connection:
        fence.let_through(connection, None)
        connection.execute(sa.update(models.JournalEntry).values(actor="nobody"))
    database.dispose()
    postgres_server.drop(fresh)


def test_a_backup_of_a_running_service_is_one_moment(sqlite_url: str, tmp_path: Path) -> None:
    """Orders are opened while backups are made; each has whole orders only, and all that were acknowledged."""
    run_command(sqlite_url, "sites", "create", "MILL-A", "--name", "Mill A", "--units", "inch")
    key = run_command(sqlite_url, "keys", "create", "--site", "MILL-A", "--scopes", "read,write").stdout.split()[-1]
    acknowledged: list[str] = []
    stop = threading.Event()
    with serving(sqlite_url) as server:
        session = requests.Session()
        session.headers["Authorization"] = f"Bearer {key}"
        session.post(f"{server.base_url}/v1/assets", json=fan(), timeout=20).raise_for_status()

        def open_orders() -> None:
            while not stop.is_set():
                asked = order(f"WO-{len(acknowledged)}", allow_second=True)
                answer = session.post(f"{server.base_url}/v1/work-orders", json=asked, timeout=20)
                if answer.status_code != 503:  # not acknowledged: the same order is sent again
                    acknowledged.append(answer.json()["id"])

        writer = threading.Thread(target=open_orders)
        writer.start()
        try:
            for number in range(3):
                while len(acknowledged) < 4 * (number + 1):
                    assert writer.is_alive(), "an order was not acknowledged"
                    time.sleep(0.02)
                before = list(acknowledged)
                file = tmp_path / f"{number}.backup"
                back_up(settings_of(sqlite_url), file)
                copy = Database(settings_of(f"sqlite:///{file}"))
                with copy.reading() as connection:
                    orders = set(connection.execute(sa.select(models.WorkOrder.id)).scalars())
                    issued = set(connection.execute(sa.select(models.Revision.work_order_id)).scalars())
                assert set(before) <= orders == issued
                assert all(chain.broken_seq is None for chain in verify_journals(copy))
                copy.dispose()
        finally:
            stop.set()
            writer.join()
