"""A real streaming standby answers questions about the past: behind, level again, dead, silent and back.

Who answered is read from the servers' own logs of statements.
"""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import psycopg
import pytest
import requests

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries import keys, sites
from tests.api.samples.histories import stay
from tests.outages.postgres import Postgres, needed_programs, postgres
from tests.system.servers import Server, serving

LOGGED = {"log_statement": "all", "wal_level": "replica"}


@pytest.fixture(scope="module")
def primary() -> Iterator[Postgres]:
    """A server of our own, migrated, with two sites."""
    with postgres(needed_programs("pg_basebackup"), **LOGGED) as server:
        migrate.upgrade(server.url)
        yield server


@pytest.fixture(scope="module")
def called(primary: Postgres) -> dict[str, dict[str, str]]:
    """What the callers of two sites send as headers."""
    database = Database(Settings(database_url=primary.url))
    made = {}
    for code in ("BUSY", "CALM"):
        sites.create_site(database, code, code, "inch")
        made[code] = {"Authorization": f"Bearer {keys.create_key(database, code, ('read', 'write'))}"}
    database.dispose()
    return made


def asked(server: Postgres, statement: str) -> list[Any]:
    """The row that a server itself answers."""
    with psycopg.connect(server.url.replace("+psycopg", ""), autocommit=True) as connection:
        return list(connection.execute(statement).fetchone() or ())


def until(holds: Callable[[], bool]) -> None:
    """Wait until something holds."""
    limit = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < limit, "it never held"
        time.sleep(0.02)


def level(primary: Postgres, standby: Postgres) -> None:
    """Wait until the standby has replayed all that the primary has written by now."""
    (position,) = asked(primary, "SELECT pg_current_wal_lsn()::text")
    until(lambda: asked(standby, f"SELECT pg_last_wal_replay_lsn() >= '{position}'::pg_lsn") == [True])


class Plant:
    """The service on a primary and a replica; each question about stays says what it found and who was asked."""

    def __init__(self, server: Server, called: dict[str, dict[str, str]], *servers: Postgres) -> None:
        self.url, self.called, self.servers = server.base_url, called, servers

    def import_stay(self, site: str, external_id: str, tag: str) -> None:
        """Import one stay of a machine of its own."""
        rows = {"items": [stay(external_id, asset=tag)]}
        url = f"{self.url}/v1/stays/import?create_assets=true"
        answer = requests.post(url, json=rows, headers=self.called[site], timeout=30)
        assert answer.status_code == 200, answer.text

    def stays(self, site: str) -> tuple[list[str], list[bool]]:
        """The stays that a site is told of, and of each database whether it was asked for stays."""
        before = [self._questions(each) for each in self.servers]
        answer = requests.get(f"{self.url}/v1/stays", headers=self.called[site], timeout=30)
        assert answer.status_code == 200, answer.text
        found = sorted(item["external_id"] for item in answer.json()["items"])
        return found, [self._questions(each) > n for each, n in zip(self.servers, before, strict=True)]

    @staticmethod
    def _questions(server: Postgres) -> int:
        return (server.folder / "log").read_text(errors="replace").count("FROM stays")


PRIMARY, STANDBY = [True, False], [False, True]


def test_a_standby_answers_what_it_has_and_the_primary_the_rest(
    primary: Postgres, called: dict[str, dict[str, str]]
) -> None:
    with (
        postgres(primary.programs, copied=primary, **LOGGED) as standby,
        serving(primary.url, DATABASE_READ_URL=standby.url) as server,
    ):
        assert asked(standby, "SELECT pg_is_in_recovery()") == [True]
        plant = Plant(server, called, primary, standby)
        for site in called:
            plant.import_stay(site, "S-1", "FAN-1")
        level(primary, standby)
        assert plant.stays("BUSY") == (["S-1"], STANDBY)

        asked(standby, "SELECT pg_wal_replay_pause()::text")
        until(lambda: asked(standby, "SELECT pg_get_wal_replay_pause_state()") == ["paused"])
        plant.import_stay("BUSY", "S-2", "FAN-2")
        assert asked(standby, "SELECT count(*) FROM stays") == [2], "the standby stands still"
        assert plant.stays("BUSY") == (["S-1", "S-2"], PRIMARY), "whoever has written reads it"
        assert plant.stays("CALM") == (["S-1"], STANDBY), "a site that has written nothing since is answered there"

        asked(standby, "SELECT pg_wal_replay_resume()::text")
        level(primary, standby)
        assert plant.stays("BUSY") == (["S-1", "S-2"], STANDBY)

        standby.kill()
        for _ in range(3):  # the first over a connection that is dead, the others over none
            assert plant.stays("BUSY") == (["S-1", "S-2"], PRIMARY)
        plant.import_stay("BUSY", "S-3", "FAN-3")
        standby.start()
        level(primary, standby)
        until(lambda: plant.stays("BUSY") == (["S-1", "S-2", "S-3"], STANDBY))


@contextmanager
def silent() -> Iterator[tuple[str, list[socket.socket]]]:
    """A host that takes connections and never says a word: its URL, and the connections it has taken."""
    taken: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def take() -> None:
            while True:
                try:
                    taken.append(listener.accept()[0])
                except OSError:
                    return

        threading.Thread(target=take, daemon=True).start()
        yield f"postgresql://postgres@127.0.0.1:{listener.getsockname()[1]}/postgres", taken
        listener.shutdown(socket.SHUT_RDWR)
    for each in taken:
        each.close()


def test_a_standby_that_says_nothing_is_waited_for_once(
    primary: Postgres, called: dict[str, dict[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else each question about the past would hold a thread until the time to connect is over."""
    monkeypatch.setattr("service.store.database.REPLICA_RESTS_S", 600.0)
    with silent() as (url, taken):
        database = Database(Settings(database_url=primary.url, database_read_url=url.replace(":", "+psycopg:", 1)))
        with database.reading() as connection:
            (site_id,) = connection.exec_driver_sql("SELECT id FROM sites WHERE code = 'CALM'").one()
        for _ in range(5):
            with database.read(str(site_id), past=True) as tx:
                assert tx.connection.exec_driver_sql("SELECT pg_is_in_recovery()").scalar_one() is False
        assert len(taken) == 1
        database.dispose()
