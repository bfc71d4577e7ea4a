"""One key does not take all threads from the others: a real server of four threads, requests that hold theirs.

A request holds a thread while its body is awaited, so one that sends its head and no body stands for any slow one.
"""

import json
import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from urllib.parse import urlsplit

import pytest
import requests

from service.serving.fair_share import FairShare
from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import fan
from tests.system.servers import Server, serving

THREADS = 4


@pytest.fixture
def keys(sqlite_url: str) -> tuple[str, str]:
    """Keys of two sites."""
    database = Database(Settings(database_url=sqlite_url))
    made = []
    for code in ("ALDER", "BIRCH"):
        create_site(database, code, code, "inch")
        made.append(create_key(database, code, ("read", "write")))
    database.dispose()
    return made[0], made[1]


@pytest.fixture
def server(sqlite_url: str) -> Iterator[Server]:
    """A server of four threads."""
    with serving(sqlite_url, options=("--threads", str(THREADS))) as running:
        yield running


class Slow:
    """A request whose body does not come."""

    def __init__(self, server: Server, key: str, tag: str) -> None:
        place = urlsplit(server.base_url)
        self.body = json.dumps(fan(tag)).encode()
        self.socket = socket.create_connection((place.hostname, place.port), 20)
        head = f"POST /v1/assets HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {key}\r\nConnection: close\r\n"
        head += f"Content-Type: application/json\r\nContent-Length: {len(self.body)}\r\n\r\n"
        self.socket.sendall(head.encode())

    def status(self, *, with_body: bool) -> int:
        """The status of the answer, after the body was sent."""
        if with_body:
            self.socket.sendall(self.body)
        return int(self.socket.recv(65_536).split(b" ")[1])


def asked(server: Server, key: str) -> requests.Response:
    headers = {"Authorization": f"Bearer {key}"}
    return requests.get(f"{server.base_url}/v1/assets", headers=headers, timeout=10)


def test_a_key_that_holds_most_threads_is_refused_the_last_one_while_others_call(
    server: Server, keys: tuple[str, str]
) -> None:
    greedy, other = keys
    with ExitStack() as stack:
        slow = []
        assert asked(server, other).status_code == 200
        for number in range(THREADS - 1):
            slow.append(Slow(server, greedy, f"FAN-{number}"))
            stack.enter_context(closing(slow[-1].socket))
        time.sleep(0.5)  # they have their threads
        for _ in range(20):
            begin = time.monotonic()
            refused = asked(server, greedy)
            assert (refused.status_code, refused.json()["code"]) == (429, "too_many_at_once")
            assert int(refused.headers["Retry-After"]) >= 1
            assert asked(server, other).status_code == 200
            assert time.monotonic() - begin < 2
        assert [each.status(with_body=True) for each in slow] == [201] * (THREADS - 1)
    assert asked(server, greedy).status_code == 200, "its threads were given back"


def test_a_key_alone_has_all_threads(server: Server, keys: tuple[str, str]) -> None:
    greedy, other = keys
    with ExitStack() as stack:
        slow = [Slow(server, greedy, f"FAN-{number}") for number in range(THREADS)]
        for each in slow:
            stack.enter_context(closing(each.socket))
        time.sleep(0.5)
        assert [each.status(with_body=True) for each in slow] == [201] * THREADS
    assert asked(server, other).status_code == 200


def test_threads_are_given_back_by_answers_of_every_kind(server: Server, keys: tuple[str, str]) -> None:
    """Streamed, refused, not found, without a body: else the key would come to its share by and by."""
    greedy, other = keys
    headers = {"Authorization": f"Bearer {greedy}"}
    for path in ("/v1/stays/export.csv", "/v1/assets?typo=1", "/v1/nothing", "/v1/assets/none", "/health/live"):
        for _ in range(THREADS):
            requests.get(server.base_url + path, headers=headers, timeout=10)
            assert asked(server, other).status_code == 200
            assert asked(server, greedy).status_code == 200


def test_shares() -> None:
    """Of eight threads a key may hold four once six are taken and another key called; alone it may hold all."""
    share = FairShare(8, 0.5)
    alone = [share.begin() for _ in range(8)]
    assert all(held.claim("A") for held in alone)
    for held in (*alone, *alone):  # twice: once counts
        held.end()
    share.begin().claim("B")
    mine, answers = [], []
    for _ in range(6):
        mine.append(share.begin())
        answers.append(mine[-1].claim("A"))
    assert answers == [True] * 5 + [False]
    mine[-1].end()
    assert share.begin().claim("B")
    whole = FairShare(2, 1.0)
    assert all(whole.begin().claim(key) for key in "BAA")
    one = FairShare(1, 0.5)
    assert one.begin().claim("A"), "a key may always hold one"
