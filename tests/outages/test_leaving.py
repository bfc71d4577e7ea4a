"""A server that is told to stop while clients work: every request that it read is answered, none is done twice.

RFC 9112, 9.6: a server that will close says so with the last answer, and does not close over what it has not read. What
was done is told by the journal: every write carries the id of its request.
"""

import http.client
import json
import os
import signal
import threading
import time
from collections import Counter
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.settings import Settings
from service.store.database import Database
from service.store.models import JournalEntry
from service.store.queries import keys, sites
from tests.api.samples.machines import fan
from tests.system.servers import Server, serving
from tests.system.test_deployment import proxied

CLIENTS = 6
LOAD_S = 1.0
GOES_WITHIN_S = 25.0  # 20 s for what is under way, and what a loaded machine takes


@dataclass
class Told:
    """What one client was told of its requests, by their ids."""

    answered: dict[str, int] = field(default_factory=dict)
    closing: list[tuple[float, bool]] = field(default_factory=list)
    lost: dict[str, str] = field(default_factory=dict)
    refused: int = 0


class Caller(threading.Thread):
    """One client that keeps its connection as long as it may, and registers one machine after the other."""

    def __init__(self, name: str, port: int, key: str, stop: threading.Event) -> None:
        super().__init__(name=name, daemon=True)
        self.port, self.key, self.stop, self.told = port, key, stop, Told()

    def run(self) -> None:
        """Send until told to stop, or until nobody takes a connection any more."""
        connection, number = None, 0
        while not self.stop.is_set() and self.told.refused < 3:
            number += 1
            if connection is None:
                connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
                try:
                    connection.connect()
                except OSError:
                    self.told.refused += 1
                    connection = None
                    time.sleep(0.05)
                    continue
            connection = self._sent(connection, f"{self.name}-{number}")
        if connection is not None:
            connection.close()

    def _sent(self, connection: http.client.HTTPConnection, request_id: str) -> http.client.HTTPConnection | None:
        headers = {"Authorization": f"Bearer {self.key}", "Content-Type": "application/json"}
        begun = time.monotonic()
        try:
            body = json.dumps(fan(request_id))
            connection.request("POST", "/v1/assets", body, headers | {"X-Request-ID": request_id})
            answer = connection.getresponse()
            answer.read()
        except (OSError, http.client.HTTPException) as error:
            self.told.lost[request_id] = type(error).__name__
            connection.close()
            return None
        self.told.answered[request_id] = answer.status
        if answer.status == 503:  # the proxy has nobody to ask any more
            self.told.refused += 1
            time.sleep(0.05)
        closes = answer.getheader("Connection", "").lower() == "close"
        self.told.closing.append((begun, closes))
        if closes:
            connection.close()
            return None
        return connection


def prepared(url: str) -> str:
    database = Database(Settings(database_url=url))
    sites.create_site(database, "MILL-A", "Mill A", "inch")
    key = keys.create_key(database, "MILL-A", ("read", "write"))
    database.dispose()
    return key


def done(url: str) -> Counter[str]:
    """How often each request was carried out."""
    database = Database(Settings(database_url=url))
    with database.reading() as connection:
        registered = sa.select(JournalEntry.request_id).where(JournalEntry.event_type == "asset.registered")
        found = Counter(connection.execute(registered).scalars())
    database.dispose()
    return found


def not_ready_since(port: int, until_s: float) -> float | None:
    """The time at which the server first said that it stops, None when it took no more connections before that."""
    while time.monotonic() < until_s:
        probe = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
        try:
            probe.request("GET", "/health/ready")
            if probe.getresponse().status == 503:
                return time.monotonic()
        except (OSError, http.client.HTTPException):
            return None
        finally:
            probe.close()
    return None


def left(server: Server, port: int, key: str) -> tuple[list[Told], float | None]:
    """Let clients work, tell the server to stop in the middle of it, and wait until it is gone."""
    stop = threading.Event()
    callers = [Caller(f"c{number}", port, key, stop) for number in range(CLIENTS)]
    for each in callers:
        each.start()
    time.sleep(LOAD_S)
    own_port = int(server.base_url.rpartition(":")[2])
    server.process.send_signal(signal.SIGTERM)
    since = not_ready_since(own_port, time.monotonic() + 5)
    assert server.process.wait(GOES_WITHIN_S) == 0
    stop.set()
    for each in callers:
        each.join(30)
        assert not each.is_alive()
    return [each.told for each in callers], since


@pytest.mark.parametrize("drain_s", ["0", "1"])
@pytest.mark.parametrize("way", ["through the proxy", "without it"])
def test_a_server_under_load_leaves_without_a_reset(way: str, drain_s: str, database_url: str, tmp_path: Path) -> None:
    key = prepared(database_url)
    with ExitStack() as stack:
        server = stack.enter_context(serving(database_url, workers=2, options=("--threads", "4", "--drain", drain_s)))
        own_port = int(server.base_url.rpartition(":")[2])
        port = own_port if way == "without it" else stack.enter_context(proxied(server, tmp_path))
        told, since = left(server, port, key)
    carried_out = done(database_url)
    answered = {request_id: status for each in told for request_id, status in each.answered.items()}
    lost = {request_id: how for each in told for request_id, how in each.lost.items()}
    assert sum(status == 201 for status in answered.values()) > 20, "there was no load"
    assert set(answered.values()) <= {201, 503}, Counter(answered.values())
    assert [request_id for request_id, times in carried_out.items() if times != 1] == []
    assert {request_id for request_id, status in answered.items() if status == 201} == set(carried_out)
    assert set(lost) & set(carried_out) == set(), "what was read is answered"
    if way == "through the proxy":
        assert lost == {}, "the proxy answers whatever becomes of the service"
        return
    assert len(lost) <= 1, "six clients are lost where listeners are left open; one may connect as they close"
    if since is not None:
        assert all(closes for each in told for begun, closes in each.closing if begun > since)
    if os.environ.get("CAPSADDLE_TEST_FIGURES"):
        print(f"{way}, drain {drain_s} s: {Counter(answered.values())}, lost {Counter(lost.values())}")
