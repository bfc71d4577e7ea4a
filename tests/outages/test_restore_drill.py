"""The backup that docker/ ships, by its own scripts on a real PostgreSQL: copied, archived, wiped, restored, verified.

PostgreSQL, chapter "Continuous Archiving and Point-in-Time Recovery": a base backup and every segment of the log since
bring back any moment since that backup.
"""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest
import requests

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries import keys, sites
from tests import databases
from tests.api.samples.machines import order
from tests.api.samples.orders import known_fan
from tests.outages.postgres import Postgres, needed_programs
from tests.system.servers import run_command, serving

DOCKER = Path(__file__).parents[2] / "docker"
TOOLS = ("pg_basebackup", "pg_verifybackup", "pg_archivecleanup", "pg_ctl", "psql")


@dataclass
class Place:
    """Folders of the database's user, the scripts in them, and the server whose log is archived."""

    folder: Path
    programs: Path
    server: Postgres

    @property
    def bases(self) -> Path:
        return self.folder / "bases"

    @property
    def archive(self) -> Path:
        return self.folder / "archive"

    def command(self, script: str, *arguments: str, **more: str) -> tuple[list[str], dict[str, Any]]:
        """A script and what it runs with: as the database's user, its programs on PATH."""
        given = {"PATH": f"{self.programs}:{os.environ['PATH']}", "PGHOST": "127.0.0.1", "PGUSER": "capsaddle_backup"}
        own = {"env": given | {"PGPORT": str(self.server.port)} | more, "cwd": self.folder, "text": True}
        if os.getuid() == 0:
            own |= {"user": databases.UNPRIVILEGED, "group": databases.UNPRIVILEGED, "extra_groups": []}
        return ["sh", str(self.folder / script), *arguments], own

    def backed_up(self, **more: str) -> subprocess.CompletedProcess[str]:
        command, own = self.command("backup.sh", str(self.bases), str(self.archive), **more)
        return subprocess.run(command, capture_output=True, timeout=120, **own)

    def archived(self) -> None:
        """Close the segment of the log that is written now, and wait until all are in the archive."""
        with psycopg.connect(self.server.owner_url.replace("+psycopg", ""), autocommit=True) as owner:
            closed = owner.execute("SELECT pg_walfile_name(pg_switch_wal())").fetchone()
            assert closed is not None
            until = time.monotonic() + 30
            while not (self.archive / closed[0]).exists():
                assert time.monotonic() < until, "the log is not archived"
                time.sleep(0.1)

    @contextmanager
    def restored(self, **more: str) -> Iterator[str]:
        """The address of a server that the drill restored, for the role of production."""
        port, ready, done = databases.free_port(), self.folder / "ready", self.folder / "done"
        wait = f"touch {ready}; while [ ! -e {done} ]; do sleep 0.1; done"
        arguments = (str(self.bases), str(self.archive), str(self.folder / "drill"), "sh", "-c", wait)
        command, own = self.command("restore_drill.sh", *arguments, DRILL_PORT=str(port), **more)
        log = (self.folder / "drill-log").open("w+")
        process = subprocess.Popen(command, stdout=log, stderr=log, **own)
        try:
            until = time.monotonic() + 60
            while not ready.exists():
                assert process.poll() is None and time.monotonic() < until, (self.folder / "drill-log").read_text()
                time.sleep(0.1)
            yield f"postgresql+psycopg://capsaddle_app@127.0.0.1:{port}/postgres"
        finally:
            done.touch()
            assert process.wait(60) == 0
            log.close()
            assert not (self.folder / "drill").exists(), "the drill leaves nothing behind"
            ready.unlink()
            done.unlink()


@pytest.fixture
def place() -> Iterator[Place]:
    """A server that archives its log by docker/archive.sh, with the roles of docker/."""
    programs = needed_programs(*TOOLS)
    folder = Path(tempfile.mkdtemp(prefix="capsaddle-drill-"))
    for name in ("bases", "archive", "data"):
        (folder / name).mkdir()
    for script in ("archive.sh", "backup.sh", "restore_drill.sh"):
        shutil.copy(DOCKER / script, folder / script)
    for each in (folder, *folder.iterdir()):
        if os.getuid() == 0:
            os.chown(each, databases.UNPRIVILEGED, databases.UNPRIVILEGED)
    kept = f"sh {folder / 'archive.sh'} %p %f {folder / 'archive'}"
    server = Postgres(folder / "data", programs, archive_mode="on", archive_command=kept)
    try:
        with psycopg.connect(server.owner_url.replace("+psycopg", "")) as owner:
            sql = (DOCKER / "backup_role.sh").read_text().partition("<<'SQL'\n")[2].partition("\nSQL\n")[0]
            owner.execute(sql.replace(":'password'", "'plain'").encode())
        migrate.upgrade(server.owner_url)
        yield Place(folder, programs, server)
    finally:
        server.stop()
        shutil.rmtree(folder, ignore_errors=True)


def site_of(url: str) -> str:
    database = Database(Settings(database_url=url))
    sites.create_site(database, "MILL-A", "Mill A", "inch")
    key = keys.create_key(database, "MILL-A", ("read", "write"))
    database.dispose()
    return key


def opened(url: str, key: str, *numbers: str) -> None:
    headers = {"Authorization": f"Bearer {key}"}
    with serving(url) as server:
        for number in numbers:
            body = order(number, asset=known_fan(), allow_second=True)
            assert requests.post(f"{server.base_url}/v1/work-orders", json=body, headers=headers, timeout=30).ok


def numbers_in(url: str) -> set[str]:
    with psycopg.connect(url.replace("+psycopg", "")) as connection:
        connection.execute("SELECT set_config('capsaddle.all_sites', 'on', true)")
        return {row[0] for row in connection.execute("SELECT external_number FROM work_orders")}


def moment(place: Place) -> str:
    with psycopg.connect(place.server.owner_url.replace("+psycopg", "")) as owner:
        found = owner.execute("SELECT clock_timestamp()::text").fetchone()
        assert found is not None
        return str(found[0])


def test_what_was_written_after_the_copy_comes_back_too_and_any_moment_between(place: Place) -> None:
    key = site_of(place.server.url)
    opened(place.server.url, key, "WO-1", "WO-2")
    told = place.backed_up()
    assert told.returncode == 0, told.stderr
    opened(place.server.url, key, "WO-3")
    between = moment(place)
    opened(place.server.url, key, "WO-4")
    place.archived()
    place.server.kill()
    shutil.rmtree(place.folder / "data" / "data")  # the disk of the database is gone
    with place.restored() as url:
        assert numbers_in(url) == {"WO-1", "WO-2", "WO-3", "WO-4"}
        for command in (("audit", "verify"), ("verify", "revisions")):
            verified = run_command(url, *command)
            assert verified.returncode == 0, verified.stdout + verified.stderr
    with place.restored(DRILL_TARGET_TIME=between) as url:
        assert numbers_in(url) == {"WO-1", "WO-2", "WO-3"}


def test_a_copy_with_a_flipped_bit_is_not_restored(place: Place) -> None:
    site_of(place.server.url)
    assert place.backed_up().returncode == 0
    (copy,) = place.bases.iterdir()
    damaged = max((each for each in (copy / "base").rglob("*") if each.is_file()), key=lambda each: each.stat().st_size)
    content = bytearray(damaged.read_bytes())
    content[len(content) // 2] ^= 1
    damaged.write_bytes(content)
    command, own = place.command(
        "restore_drill.sh", str(place.bases), str(place.archive), str(place.folder / "x"), "true"
    )
    told = subprocess.run(command, capture_output=True, timeout=60, **own)
    assert told.returncode != 0 and "checksum mismatch" in told.stderr
    assert not (place.folder / "x").exists()


def test_as_many_copies_are_kept_as_asked_for_and_the_log_that_the_oldest_needs(place: Place) -> None:
    for _ in range(3):
        assert place.backed_up(BACKUP_COPIES="2").returncode == 0
        place.archived()
        time.sleep(1.1)  # copies are named by the second
    kept = sorted(each.name for each in place.bases.iterdir())
    assert len(kept) == 2
    first = (place.bases / kept[0] / "backup_label").read_text().partition("(file ")[2].partition(")")[0]
    segments = sorted(each.name for each in place.archive.iterdir() if len(each.name) == 24)
    assert segments and segments[0] == first


def test_an_archive_never_takes_another_segment_of_the_same_name(tmp_path: Path) -> None:
    one, other, archive = tmp_path / "one", tmp_path / "other", tmp_path / "archive"
    archive.mkdir()
    one.write_bytes(b"a" * 100)
    other.write_bytes(b"b" * 100)

    def kept(path: Path) -> int:
        command = ["sh", str(DOCKER / "archive.sh"), str(path), "000000010000000000000001", str(archive)]
        return subprocess.run(command, capture_output=True, timeout=20).returncode

    assert [kept(one), kept(one), kept(other)] == [0, 0, 1]
    assert [each.read_bytes() for each in archive.iterdir()] == [b"a" * 100]
