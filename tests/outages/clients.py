"""Clients that open orders, send readings and complete them, and keep an account of what was acknowledged."""

import random
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

import requests

from service.exchange.cloud_events import PREFIX
from tests.api.samples.machines import order
from tests.api.samples.orders import closing_readings, initial, isolated, known_fan, residual

FIRST_FITTED = datetime(2026, 1, 7, 6, 0, tzinfo=UTC)
GIVES_UP_AFTER_S = 180.0
ANSWERS_WITHIN_S = 30.0
LATER = {"stays_overlap", "removed_before_installed", "position_has_open_stay"}


@dataclass
class Account:
    """What the clients sent and what they were told; shared by all of them."""

    orders: dict[str, str] = field(default_factory=dict)
    readings: dict[str, list[str]] = field(default_factory=dict)
    completions: dict[str, str] = field(default_factory=dict)
    events: list[tuple[int, str, str]] = field(default_factory=list)
    sent_readings: Counter[str] = field(default_factory=Counter)
    tally: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def count(self, what: str) -> None:
        """Count something that happened."""
        with self.lock:
            self.tally[what] += 1


class Clock:
    """Times of completion, each later than the one before, of one machine."""

    def __init__(self) -> None:
        self._n, self._lock = 0, threading.Lock()

    def next(self) -> str:
        """Return the next time."""
        with self._lock:
            self._n += 1
            return (FIRST_FITTED + timedelta(minutes=self._n)).strftime("%Y-%m-%dT%H:%M:%SZ")


class Refused(Exception):
    """An answer 4xx."""

    def __init__(self, status: int, body: Any) -> None:
        super().__init__(f"{status} {body.get('code')}: {body.get('detail')}")
        self.status, self.code = status, body.get("code")


class Client(threading.Thread):
    """One client: each request is sent until it is answered."""

    def __init__(self, name: str, base_url: str, key: str, account: Account, stop: threading.Event) -> None:
        super().__init__(name=name, daemon=True)
        self.base_url, self.account, self.stop = base_url, account, stop
        self._key, self._session = key, requests.Session()
        self._random = random.Random(name)

    def run(self) -> None:
        """Work until told to stop; whatever else ends a client is a finding, not a traceback in a thread."""
        try:
            self.work()
        except Exception as error:
            with self.account.lock:
                self.account.faults.append(f"{self.name}: {type(error).__name__}: {error}")

    def work(self) -> None:
        """Do what this client does."""
        raise NotImplementedError

    def _send(self, method: str, path: str, body: Any = None, key: str | None = None) -> Any:
        """Send until there is an answer that is neither lost nor 503."""
        headers = {"Authorization": f"Bearer {self._key}"} | ({} if key is None else {"Idempotency-Key": key})
        until = time.monotonic() + GIVES_UP_AFTER_S
        while time.monotonic() < until:
            try:
                answer = self._session.request(
                    method, self.base_url + path, json=body, headers=headers, timeout=ANSWERS_WITHIN_S
                )
            except requests.RequestException as error:
                self.account.count(f"lost ({type(error).__name__})")
                self._session = requests.Session()
                time.sleep(self._random.uniform(0.02, 0.2))
                continue
            if answer.status_code == 503:
                self.account.count("503")
                if "Retry-After" not in answer.headers:
                    raise AssertionError("a 503 without Retry-After")
                time.sleep(self._random.uniform(0.05, 0.3))
                continue
            if answer.status_code == 409 and answer.json()["code"] == "idempotency_in_progress":
                time.sleep(0.1)
                continue
            if answer.status_code >= 400:
                self.account.count(f"{answer.status_code} {answer.json().get('code')}")
                raise Refused(answer.status_code, answer.json())
            self.account.count("answered")
            if answer.headers.get("Idempotency-Replayed"):
                self.account.count("replayed")
            return answer.json()
        raise AssertionError(f"{method} {path} was not answered within {GIVES_UP_AFTER_S:g} s")


class Mechanic(Client):
    """One order after the other on one machine; the order in hand is finished."""

    def __init__(self, name: str, tag: str, clock: Clock, *client: Any) -> None:
        super().__init__(name, *client)
        self.tag, self.clock = tag, clock

    def work(self) -> None:
        """Open an order, measure, clear its hold points, complete it, and begin again."""
        number = 0
        while not self.stop.is_set():
            number += 1
            self._one_order(f"{self.name}-{number}")

    def _one_order(self, number: str) -> None:
        keyed = self._random.random() < 0.5  # without a key the order's number makes the retry safe
        asked = order(number, asset=known_fan(tag=self.tag), positions=("tail",))
        opened = self._send("POST", "/v1/work-orders", asked, f"open-{number}" if keyed else None)
        with self.account.lock:
            self.account.orders[number] = opened["id"]
        path = f"/v1/work-orders/{opened['id']}"
        first = [isolated(), initial("tail", 0.0040, 0.0040), residual("tail", 0.0025, 0.0025)]
        still_open = self._readings(number, path, first)
        plan = self._send("GET", f"{path}/instructions")
        closing = closing_readings(still_open, plan)
        half = len(closing) // 2
        self._readings(number, path, closing[:half])
        still_open = self._readings(number, path, closing[half:])
        if still_open:
            raise AssertionError(f"hold points are open: {still_open}")
        self._complete(number, path, keyed)

    def _readings(self, number: str, path: str, readings: list[dict[str, Any]]) -> list[dict[str, Any]]:
        with self.account.lock:
            self.account.sent_readings[number] += len(readings)
            part = self.account.sent_readings[number]
        answer = self._send("POST", f"{path}/readings", {"readings": readings}, f"readings-{number}-{part}")
        with self.account.lock:
            self.account.readings.setdefault(number, []).extend(item["id"] for item in answer["items"])
        still_open: list[dict[str, Any]] = answer["hold_points_open"]
        return still_open

    def _complete(self, number: str, path: str, keyed: bool) -> None:
        for attempt in range(20):
            at = self.clock.next()
            what = {"position": "tail", "outcome": "replaced", "removed": {"end_type": "removed_preventive"}}
            body = {"completed_at": at, "completed_by": "A. Fitter", "positions": [what]}
            try:
                done = self._send("POST", f"{path}/completion", body, f"complete-{number}-{attempt}" if keyed else None)
            except Refused as refusal:
                if refusal.code in LATER:
                    continue  # the other client of this machine completed with a later time
                if refusal.code == "work_order_not_open" and not keyed:
                    done = self._send("GET", f"{path}/completion")  # done, but the answer was lost with the server
                else:
                    raise
            with self.account.lock:
                self.account.completions[number] = done["id"]
            return
        raise AssertionError("no time of completion was taken")


class Follower(Client):
    """A system that keeps up with the feed of events: each question goes on where the last answer ended."""

    def work(self) -> None:
        """Follow until told to stop, then as far as the feed goes."""
        where = "/v1/events?after=0&limit=100"
        while True:
            last_round = self.stop.is_set()
            answer = self._send("GET", where)
            where = answer["next"].removeprefix(self.base_url)
            seen = [(int(e["id"]), e["type"].removeprefix(PREFIX), e["data"]["id"]) for e in answer["items"]]
            with self.account.lock:
                self.account.events.extend(seen)
            if last_round and not seen:
                return
            time.sleep(0 if seen else 0.1)
