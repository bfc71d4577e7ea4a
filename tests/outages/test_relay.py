"""`capsaddle deliver` is killed in the middle of its deliveries: every event arrives, those of a subject in order."""

import json
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from contextlib import ExitStack
from http.server import BaseHTTPRequestHandler
from typing import Any

import requests

from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from tests.api.samples.machines import fan, order
from tests.receivers import Receiver, receiving
from tests.system.servers import Server, environment, serving

ORDERS = 6
PATIENCE_S = 60.0


class Relays:
    """One relay after another, each killed by the receiver at a moment that the receiver chooses."""

    def __init__(self, given: dict[str, str]) -> None:
        self.environment = given
        self.running: subprocess.Popen[bytes] | None = None

    def start(self) -> subprocess.Popen[bytes]:
        """Start a relay."""
        self.running = subprocess.Popen([sys.executable, "-m", "service.cli", "deliver"], env=self.environment)
        return self.running

    def end(self) -> None:
        """End the last one, if it is still there."""
        if self.running is not None and self.running.poll() is None:
            self.running.kill()
            self.running.wait(10)

    def killed_after(self, *said: bytes) -> Any:
        """Return an answer of the receiver: it says this while the relay stands still, which then dies."""

        def answer(handler: BaseHTTPRequestHandler) -> None:
            assert self.running is not None
            os.kill(self.running.pid, signal.SIGSTOP)  # what it is told now it cannot write down any more
            for part in said:
                handler.wfile.write(part)
            handler.wfile.flush()
            self.running.kill()
            handler.close_connection = True

        return answer


class Account:
    """A site as its administrator reads it."""

    def __init__(self, server: Server, key: str) -> None:
        self.base_url, self.headers = server.base_url, {"Authorization": f"Bearer {key}"}

    def asked(self, method: str, path: str, body: Any = None) -> Any:
        """Return what was answered."""
        answer = requests.request(method, f"{self.base_url}{path}", json=body, headers=self.headers, timeout=20)
        assert answer.ok, answer.text
        return answer.json()


def made(account: Account, receiver: Receiver) -> str:
    """Subscribe to everything that happens to orders, let it happen, and return the subscription."""
    types = [f"internal.capsaddle.work_order.{word}" for word in ("opened", "cancelled")]
    account.asked("POST", "/v1/assets", fan())
    subscription = account.asked("POST", "/v1/subscriptions", {"url": receiver.url, "types": types})["id"]
    asked = (order(f"WO-{number}", allow_second=True) for number in range(ORDERS))
    opened = [account.asked("POST", "/v1/work-orders", each)["id"] for each in asked]
    for order_id in opened:
        account.asked("POST", f"/v1/work-orders/{order_id}/cancellation", {"reason": "not needed"})
    return str(subscription)


def delivered(account: Account, subscription: str) -> list[dict[str, Any]]:
    """Return the deliveries when none is waiting any more."""
    until = time.monotonic() + PATIENCE_S
    while True:
        listed: list[dict[str, Any]] = account.asked("GET", f"/v1/subscriptions/{subscription}/deliveries")["items"]
        if len(listed) == 2 * ORDERS and all(each["status"] != "pending" for each in listed):
            return listed
        assert time.monotonic() < until, listed
        time.sleep(0.1)


def test_a_relay_that_is_killed_loses_nothing_and_another_goes_on(database_url: str) -> None:
    database = Database(Settings(database_url=database_url))
    create_site(database, "ALDER", "Alder Hollow board mill", "inch")
    key = create_key(database, "ALDER", ("read", "write", "admin"))
    database.dispose()
    whole, half = b"HTTP/1.1 204 No Content\r\nContent-Length: 0\r\n\r\n", b"HTTP/1.1 204 No"
    with ExitStack() as stack:
        receiver = stack.enter_context(receiving())
        settings = {"WEBHOOK_TARGETS": f"http://127.0.0.1:{receiver.port}", "WEBHOOK_LOOPBACK": "true"}
        server = stack.enter_context(serving(database_url, **settings))
        account = Account(server, key)
        subscription = made(account, receiver)
        relays = Relays(environment(database_url, WEBHOOK_LEASE_S="1", **settings))
        stack.callback(relays.end)
        taken = (204, {})
        receiver.answers = [
            taken, taken, relays.killed_after(), taken, taken, relays.killed_after(half), taken,
            relays.killed_after(whole),
        ]  # fmt: skip
        for _ in range(3):
            assert relays.start().wait(PATIENCE_S) == -signal.SIGKILL
        last = relays.start()
        listed = delivered(account, subscription)
        last.terminate()
        assert last.wait(20) == 0, "a relay that is asked to stop does"
        feed = [event for event in account.asked("GET", "/v1/events?limit=500")["items"] if _of_orders(event)]
        told = [
            account.asked("GET", f"/v1/subscriptions/{subscription}/deliveries/{each['id']}")["attempt_list"]
            for each in listed
        ]

    arrived = [json.loads(each.body) for each in receiver.received]
    times = Counter(each.headers["webhook-id"] for each in receiver.received)
    # none lost, none invented; what was under way when a relay died came once more, under the same id and the same
    assert len(feed) == 2 * ORDERS
    assert {event["id"]: event for event in arrived} == {event["id"]: event for event in feed}
    assert {(each.headers["webhook-id"], each.body) for each in receiver.received} == {
        (f"{event['source'].removeprefix('urn:uuid:')}-{event['id']}", _body_of(receiver, event)) for event in feed
    }
    assert sorted(times.values()) == [1] * (2 * ORDERS - 3) + [2] * 3
    # in the order of the journal: first arrivals, and within a subject the repeated ones too
    first = list(dict.fromkeys(event["id"] for event in arrived))
    assert first == sorted(first, key=int) == [event["id"] for event in feed]
    for subject in {event["subject"] for event in feed}:
        numbers = [int(event["id"]) for event in arrived if event["subject"] == subject]
        assert numbers == sorted(numbers), subject
    # each delivery is listed with the one attempt that lived to be written down
    assert [(each["status"], each["attempts"]) for each in listed] == [("delivered", 1)] * (2 * ORDERS)
    assert [[(attempt["outcome"], attempt["status"]) for attempt in each] for each in told] == [
        [("delivered", 204)]
    ] * (2 * ORDERS)


def _of_orders(event: dict[str, Any]) -> bool:
    return str(event["type"]).startswith("internal.capsaddle.work_order.")


def _body_of(receiver: Receiver, event: dict[str, Any]) -> bytes:
    return next(each.body for each in receiver.received if json.loads(each.body) == event)
