"""One receiver that is slow each time keeps no other waiting: a real relay, real receivers, two sites."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from http.server import BaseHTTPRequestHandler

import pytest

from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from service.webhooks.turns import Turns
from tests.api.samples.machines import fan
from tests.outages.test_relay import Account
from tests.receivers import Receiver, receiving
from tests.system.servers import environment, serving

SLOW_S = 4.0
WITHIN_S = 5.0


def slowly(handler: BaseHTTPRequestHandler) -> None:
    time.sleep(SLOW_S)
    handler.send_response(204)
    handler.send_header("Content-Length", "0")
    handler.end_headers()


@pytest.fixture
def slow() -> Iterator[Receiver]:
    """A receiver that takes four seconds each time."""
    with receiving() as receiver:
        receiver.answers = [slowly] * 1000
        yield receiver


@pytest.mark.parametrize("slow_subscriptions", [1, 12])
def test_an_event_of_another_site_arrives_while_receivers_are_slow(
    sqlite_url: str, slow: Receiver, slow_subscriptions: int
) -> None:
    """Of one site a single subscription with fifteen events, or more slow subscriptions than the relay has threads."""
    database = Database(Settings(database_url=sqlite_url))
    keys = []
    for code in ("ALDER", "BIRCH"):
        create_site(database, code, code, "inch")
        keys.append(create_key(database, code, ("read", "write", "admin")))
    database.dispose()
    with ExitStack() as stack:
        quick = stack.enter_context(receiving())
        targets = ", ".join(f"http://127.0.0.1:{each.port}" for each in (slow, quick))
        settings = {"WEBHOOK_TARGETS": targets, "WEBHOOK_LOOPBACK": "true"}
        server = stack.enter_context(serving(sqlite_url, **settings))
        alder, birch = (Account(server, key) for key in keys)
        types = ["internal.capsaddle.asset.registered"]
        for _ in range(slow_subscriptions):
            alder.asked("POST", "/v1/subscriptions", {"url": slow.url, "types": types})
        birch.asked("POST", "/v1/subscriptions", {"url": quick.url, "types": types})
        for number in range(15):
            alder.asked("POST", "/v1/assets", fan(f"FAN-{number}"))
        command = [sys.executable, "-m", "service.cli", "deliver"]
        relay = subprocess.Popen(command, env=environment(sqlite_url, **settings))
        stack.callback(relay.wait, 30)
        stack.callback(relay.terminate)
        until(lambda: len(slow.received) >= min(slow_subscriptions, 4), 30)
        for number in range(2):  # twice: its turn comes again
            birch.asked("POST", "/v1/assets", fan(f"PUMP-{number}"))
            begun = time.monotonic()
            until(lambda number=number: len(quick.received) == number + 1, WITHIN_S)  # type: ignore[misc]
            print(f"{slow_subscriptions} slow: arrived after {time.monotonic() - begun:.1f} s")
        assert len(slow.received) < 15 * slow_subscriptions, "the slow ones are still busy: the check can fail"


def until(holds: Callable[[], bool], within_s: float) -> None:
    limit = time.monotonic() + within_s
    while not holds():
        assert time.monotonic() < limit, f"not within {within_s} s"
        time.sleep(0.02)


def test_sites_take_turns_and_none_takes_more_than_half_while_it_runs() -> None:
    turns = Turns(4)
    for number in range(5):
        turns.wait("A", f"a{number}")
    turns.wait("B", "b0")
    assert [turns.begin() for _ in range(4)] == [("A", "a0"), ("B", "b0"), ("A", "a1"), None]
    turns.wait("A", "a0")  # is served: it does not wait twice
    turns.end("a0", more=True)
    assert turns.begin() == ("A", "a2")
    turns.end("a1", more=False)
    turns.wait("C", "c0")
    assert turns.begin() == ("C", "c0"), "the site that has had no turn goes first"
    turns.end("a2", more=False)
    assert [turns.begin() for _ in range(3)] == [("A", "a3"), ("A", "a4"), None]
    for each in ("a3", "a4", "b0", "c0"):
        turns.end(each, more=False)
    assert [turns.begin() for _ in range(2)] == [("A", "a0"), None], "behind all others of its site"
    turns.end("a0", more=False)
    assert turns.idle
