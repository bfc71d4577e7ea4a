"""PostgreSQL goes away and comes back; the disk of SQLite fills up. An error that says when to come again, no more."""

import os
import resource
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
import requests

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries import keys, sites
from service.use_cases.checks.journal import verify_journals
from tests.api.samples.machines import fan, order
from tests.outages.accounts import faults
from tests.outages.clients import Account, Clock, Follower, Mechanic
from tests.outages.postgres import Postgres, needed_programs, postgres
from tests.system.servers import environment, free_port, serving


@pytest.fixture(scope="module")
def own_postgres() -> Iterator[Postgres]:
    """A server that is ours to stop."""
    with postgres(needed_programs()) as server:
        migrate.upgrade(server.owner_url)
        yield server


def key_of(url: str, site: str) -> str:
    database = Database(Settings(database_url=url))
    sites.create_site(database, site, "Mill A", "inch")
    made = keys.create_key(database, site, ("read", "write"))
    database.dispose()
    return made


def test_postgresql_goes_away_and_comes_back(own_postgres: Postgres) -> None:
    """Stopped, then killed: 503 with Retry-After within seconds, liveness stays, work goes on, nothing is lost."""
    key = key_of(own_postgres.url, "MILL-A")
    headers = {"Authorization": f"Bearer {key}"}
    account, stop, no_more = Account(), threading.Event(), threading.Event()
    with serving(own_postgres.url) as server:
        clocks = [Clock(), Clock()]
        at_work = [
            Mechanic(f"WO-{n}", f"FAN-{n}", clocks[n], server.base_url, key, account, stop) for n in range(len(clocks))
        ]
        follower = Follower("follower", server.base_url, key, account, no_more)
        for each in (*at_work, follower):
            each.start()
        for take_away in (own_postgres.stop, own_postgres.kill):
            before = len(account.completions)
            deadline = time.monotonic() + 60
            while len(account.completions) < before + 2:
                assert time.monotonic() < deadline, account.faults
                time.sleep(0.05)
            take_away()
            for path in ("/v1/work-orders", "/v1/events"):
                begun = time.monotonic()
                away = requests.get(server.base_url + path, headers=headers, timeout=30)
                assert (away.status_code, away.json()["code"]) == (503, "busy")
                assert int(away.headers["Retry-After"]) > 0
                assert time.monotonic() - begun < 10
            assert requests.get(f"{server.base_url}/health/live", timeout=10).status_code == 200
            assert requests.get(f"{server.base_url}/health/ready", timeout=10).status_code == 503
            own_postgres.start()
            back = requests.get(f"{server.base_url}/v1/work-orders", headers=headers, timeout=30)
            assert back.status_code == 200
        stop.set()
        for each in at_work:
            each.join(60)
        no_more.set()
        follower.join(60)
        assert not any(each.is_alive() for each in (*at_work, follower))
    assert account.tally["503"] > 0
    assert faults(own_postgres.url, account) == []


WRITER = """
import resource, sys
limit = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
import signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # as the shell's `ulimit -f`: writing beyond fails, the process lives
from service.cli import main
sys.argv = ["capsaddle", "serve", "--bind", sys.argv[2]]
main()
"""


def test_sqlite_on_a_full_disk_refuses_and_breaks_nothing(sqlite_url: str) -> None:
    """No file may grow beyond a limit, so that writing fails as on a full disk, in the middle of transactions."""
    key = key_of(sqlite_url, "MILL-A")
    file = Path(sqlite_url.removeprefix("sqlite:///"))
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    limit, port = file.stat().st_size + 400_000, free_port()
    command = [sys.executable, "-c", WRITER, str(limit), f"127.0.0.1:{port}"]
    process = subprocess.Popen(command, env=environment(sqlite_url), start_new_session=True)
    url, session = f"http://127.0.0.1:{port}", requests.Session()
    session.headers["Authorization"] = f"Bearer {key}"
    acknowledged: dict[str, str] = {}
    refused: list[requests.Response] = []
    try:
        wait_until_ready(url)
        assert session.post(f"{url}/v1/assets", json=fan(), timeout=20).status_code == 201
        for number in range(200):
            answer = session.post(f"{url}/v1/work-orders", json=order(f"WO-{number}", allow_second=True), timeout=20)
            if answer.status_code == 201:
                acknowledged[f"WO-{number}"] = answer.json()["id"]
            else:
                refused.append(answer)
            if len(refused) >= 3:
                break
        assert len(acknowledged) > 3 and len(refused) == 3
        for each in refused:
            assert each.status_code == 503
            assert each.json()["code"] in ("disk_full", "storage_failed")  # EFBIG is told as a failed write
            assert int(each.headers["Retry-After"]) > 0
        listed = session.get(f"{url}/v1/work-orders?limit=500", timeout=20)
        assert {i["external"]["number"]: i["id"] for i in listed.json()["items"]} == acknowledged
    finally:
        os.killpg(process.pid, 9)
        process.wait(10)
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    with serving(sqlite_url) as server:  # the disk has room again
        for number in range(len(acknowledged) + 3):
            asked = order(f"WO-{number}", allow_second=True)
            answer = session.post(f"{server.base_url}/v1/work-orders", json=asked, timeout=20)
            assert answer.status_code == (200 if f"WO-{number}" in acknowledged else 201)
    database = Database(Settings(database_url=sqlite_url))
    assert [chain.broken_seq for chain in verify_journals(database)] == [None]
    database.dispose()
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != limit, "the limit was the server's alone"


def wait_until_ready(url: str) -> None:
    deadline = time.monotonic() + 30
    while True:
        try:
            if requests.get(f"{url}/health/ready", timeout=2).ok:
                return
        except requests.RequestException:
            pass
        assert time.monotonic() < deadline, "the server did not become ready"
        time.sleep(0.05)
