"""Databases that take no changes or are gone: questions are answered where they can be, and 503 says why not.

What makes PostgreSQL refuse with 25006 (standby, default_transaction_read_only): its documentation, 27.4.1 and 20.11.1.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import requests

from service import errors
from service.settings import Settings
from service.store import engines, migrate
from service.store.database import Database
from service.store.queries import keys, sites
from service.store.unit_of_work import Tx, Written
from tests import databases
from tests.api.samples.machines import fan
from tests.outages.postgres import needed_programs, postgres
from tests.system.servers import environment, free_port, serving

CALCULATION = ("/v1/clearance-targets", {"bearing": {"designation": "22216 K/C3"}})


def key_of(url: str) -> str:
    """A key of a new site."""
    database = Database(Settings(database_url=url))
    sites.create_site(database, "MILL-A", "Mill A", "inch")
    made = keys.create_key(database, "MILL-A", ("read", "write"))
    database.dispose()
    return made


class Caller:
    """Who asks a server, with the key of a site."""

    def __init__(self, base_url: str, key: str) -> None:
        self.base_url, self.session = base_url, requests.Session()
        self.session.headers["Authorization"] = f"Bearer {key}"

    def get(self, path: str) -> requests.Response:
        return self.session.get(self.base_url + path, timeout=20)

    def post(self, path: str, body: Any) -> requests.Response:
        return self.session.post(self.base_url + path, json=body, timeout=20)

    def is_told_that_nothing_is_written(self) -> None:
        """Questions and calculations are answered; a change is refused, and that it will be is said beforehand."""
        assert [each["tag"] for each in self.get("/v1/assets").json()["items"]] == ["FAN-1"]
        assert self.post(*CALCULATION).status_code == 200
        refused = self.post("/v1/assets", fan("FAN-2"))
        assert (refused.status_code, refused.json()["code"]) == (503, "read_only")
        assert "Retry-After" not in refused.headers, "it is somebody's doing, not a matter of time"
        ready = self.get("/health/ready")
        assert (ready.status_code, ready.json()) == (200, {"status": "read_only", "database": True})


@contextmanager
def started(url: str, *before: str) -> Iterator[str]:
    """A server on the database, begun by a command that takes something from it; its address."""
    port = free_port()
    command = [*before, sys.executable, "-m", "service.cli", "serve", "--bind", f"127.0.0.1:{port}"]
    process = subprocess.Popen(command, env=environment(url), start_new_session=True)
    try:
        limit = time.monotonic() + 30
        while True:
            assert process.poll() is None and time.monotonic() < limit, "the server did not start"
            try:
                if requests.get(f"http://127.0.0.1:{port}/health/live", timeout=2).ok:
                    break
            except requests.RequestException:
                time.sleep(0.1)
        yield f"http://127.0.0.1:{port}"
    finally:
        os.killpg(process.pid, 9)
        process.wait(10)


@pytest.fixture
def known(sqlite_files: databases.SqliteFiles) -> Iterator[tuple[str, str]]:
    """A database in a folder that any user may enter, with a machine; and a key."""
    folder = Path(tempfile.mkdtemp(prefix="capsaddle-read-only-"))
    folder.chmod(0o777)
    url = sqlite_files.clone(folder)
    key = key_of(url)
    with serving(url) as server:
        Caller(server.base_url, key).post("/v1/assets", fan("FAN-1")).raise_for_status()
        server.stop()
    engine = engines.single(url)
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    engine.dispose()
    yield url, key
    shutil.rmtree(folder)


def test_a_write_protected_file_is_read(known: tuple[str, str]) -> None:
    url, key = known
    file = engines.sqlite_file(url)
    file.chmod(0o444)
    bound = ["setpriv", "--bounding-set", "-dac_override,-dac_read_search"] if os.getuid() == 0 else []
    if bound and (shutil.which(bound[0]) is None or subprocess.run([*bound, "true"]).returncode):
        pytest.skip("root may write any file here, and cannot be kept from it (setpriv)")
    with started(url, *bound) as base_url:
        Caller(base_url, key).is_told_that_nothing_is_written()


def test_a_file_on_a_read_only_mount_is_read(known: tuple[str, str]) -> None:
    url, key = known
    folder = engines.sqlite_file(url).parent
    assert {each.name for each in folder.iterdir()} <= {"capsaddle.db", "capsaddle.db.secret"}
    (folder / "capsaddle.db.secret").unlink(missing_ok=True)  # as on a mount that was never written: none can be made
    mounted = f"mount --bind {folder} {folder} && mount -o remount,bind,ro {folder}"
    if subprocess.run(["unshare", "-rm", "sh", "-c", mounted], capture_output=True).returncode:
        pytest.skip("nothing may be mounted here (unshare -rm)")
    with started(url, "unshare", "-rm", "sh", "-c", f'{mounted} && exec "$@"', "sh") as base_url:
        Caller(base_url, key).is_told_that_nothing_is_written()


def test_a_file_that_is_gone_is_told_and_no_other_is_made(known: tuple[str, str]) -> None:
    """Deleted under a running server: what it wrote then would be lost. Put back, it goes on."""
    url, key = known
    file = engines.sqlite_file(url)
    aside = file.with_name("aside.db")
    with serving(url) as server:
        caller = Caller(server.base_url, key)
        assert caller.get("/v1/assets").status_code == 200
        shutil.copyfile(file, aside)
        for each in file.parent.glob("capsaddle.db*"):
            each.unlink()
        for _ in range(3):
            for answer in (caller.get("/v1/assets"), caller.post("/v1/assets", fan("FAN-2"))):
                assert (answer.status_code, answer.json()["code"]) == (503, "database_missing")
                assert "Retry-After" not in answer.headers
        assert caller.get("/health/ready").status_code == 503
        assert caller.get("/health/live").status_code == 200
        assert not file.exists()
        aside.rename(file)
        assert caller.post("/v1/assets", fan("FAN-2")).status_code == 201
        assert len(caller.get("/v1/assets").json()["items"]) == 2


def test_a_session_that_is_set_to_read_only_is_told(
    postgres_server: databases.PostgresServer, postgres_url: str
) -> None:
    key = key_of(postgres_url)
    with serving(postgres_url) as server:
        Caller(server.base_url, key).post("/v1/assets", fan("FAN-1")).raise_for_status()
    name = postgres_url.rpartition("/")[2]
    with engines.single(postgres_server.as_owner(postgres_url)).begin() as owner:
        owner.exec_driver_sql(f"ALTER DATABASE {name} SET default_transaction_read_only = on")
    with serving(postgres_url) as server:
        Caller(server.base_url, key).is_told_that_nothing_is_written()


def test_a_standby_is_read_and_takes_changes_once_it_is_promoted() -> None:
    with postgres(needed_programs("pg_basebackup"), wal_level="replica") as primary:
        migrate.upgrade(primary.owner_url)
        key = key_of(primary.url)
        with serving(primary.url) as server:
            Caller(server.base_url, key).post("/v1/assets", fan("FAN-1")).raise_for_status()
        with (
            postgres(primary.programs, copied=primary, wal_level="replica") as standby,
            serving(standby.url) as server,
        ):
            caller = Caller(server.base_url, key)
            caller.is_told_that_nothing_is_written()
            with engines.single(standby.owner_url).connect() as owner:
                owner.exec_driver_sql("SELECT pg_promote()")
            assert caller.post("/v1/assets", fan("FAN-2")).status_code == 201
            assert caller.get("/health/ready").json()["status"] == "ready"


def test_a_full_disk_of_postgresql_is_told(postgres_url: str) -> None:
    """The server's own error, 53100 disk_full (its documentation, appendix A), raised by hand."""
    database = Database(Settings(database_url=postgres_url))
    site = sites.create_site(database, "MILL-A", "Mill A", "inch")

    def work(tx: Tx) -> Written:
        tx.connection.exec_driver_sql("DO $$ BEGIN RAISE EXCEPTION USING ERRCODE = '53100'; END $$")
        return Written(200, "")

    with pytest.raises(errors.DiskFull):
        database.write(site_id=site.id, actor="tester", request_id="test", work=work)
    database.dispose()
