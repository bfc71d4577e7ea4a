"""From a work order in another system to the closed order there, with real processes, one of them killed on the way."""

import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import requests

from service.settings import Settings
from service.store.database import Database
from service.store.queries.keys import create_key
from service.store.queries.sites import create_site
from service.use_cases.checks import journal as checked
from tests.api.samples.orders import completion, known_fan, ready_to_complete
from tests.system.servers import Server, environment, free_port

HERE = Path(__file__).parents[1]
NORTH_MILL = json.loads((HERE / "data" / "field_maps" / "north_mill.json").read_text(encoding="utf-8"))
NORTH_MILL["inbound"]["targets"]["allow_second"] = "`true`"  # two orders on one machine at once, as this test wants
for _sample in NORTH_MILL["samples"]:
    _sample["request"]["allow_second"] = True
TYPES = [f"internal.capsaddle.{name}" for name in ("work_order.opened", "instructions.revised", "work_order.completed")]
PATIENCE_S = 40.0


@contextmanager
def process(*command: str, env: dict[str, str] | None = None) -> Iterator[subprocess.Popen[bytes]]:
    started = subprocess.Popen([sys.executable, *command], env=env)
    try:
        yield started
    finally:
        started.terminate()
        started.wait(20)


def reached(url: str) -> None:
    until = time.monotonic() + 20
    while True:
        try:
            requests.get(url, timeout=2)
            return
        except requests.ConnectionError:
            assert time.monotonic() < until, f"nobody answers at {url}"
            time.sleep(0.05)


@dataclass
class Answer:
    """What a mechanic sees, as the helpers of the API's tests expect it."""

    status_code: int
    json: Any


class Mechanic:
    """Enters everything in the maintenance system, which passes it on; reads instructions directly."""

    def __init__(self, theirs: str, number: str, base_url: str, key: str) -> None:
        self.theirs, self.number, self.base_url = theirs, number, base_url
        self.headers = {"Authorization": f"Bearer {key}"}
        self.entered = 0
        self.before_entry: dict[int, Any] = {}

    def post(self, path: str, body: Any) -> Answer:
        """Enter something in the maintenance system."""
        self.entered += 1
        self.before_entry.get(self.entered, lambda: None)()
        key = f"{self.number}-{self.entered}"
        address = f"{self.theirs}/orders/{self.number}/{path.rsplit('/', 1)[1]}"
        told = requests.post(address, json={"body": body, "key": key}, timeout=70).json()
        return Answer(told["status"], told["answer"])

    def get(self, path: str) -> Answer:
        """Read from our service."""
        answer = requests.get(f"{self.base_url}{path}", headers=self.headers, timeout=20)
        return Answer(answer.status_code, answer.json())


class Plant:
    """Our server, the relay and the other system."""

    def __init__(self, url: str, folder: Path, stack: ExitStack) -> None:
        self.url, self.database = url, Database(Settings(database_url=url))
        stack.callback(self.database.dispose)
        create_site(self.database, "ALDER", "Alder Hollow board mill", "inch")
        self.key = create_key(self.database, "ALDER", ("read", "write", "approve", "admin"))
        self.port, their_port = free_port(), free_port()
        self.theirs = f"http://127.0.0.1:{their_port}"
        self.settings = {
            "WEBHOOK_TARGETS": self.theirs,
            "WEBHOOK_LOOPBACK": "true",
            "WEBHOOK_DELAYS_S": ",".join(["0"] + ["0.3"] * 29),
        }
        self.server = Server(url, self.port, **self.settings)
        stack.callback(lambda: self.server.process.poll() is None and self.server.kill())
        script = str(HERE / "examples" / "maintenance_system.py")
        folder.mkdir()
        stack.enter_context(process(script, str(their_port), self.server.base_url, self.key, str(folder), "2"))
        relay = ("-m", "service.cli", "deliver")
        stack.enter_context(process(*relay, env=environment(url, **self.settings)))
        reached(f"{self.theirs}/events")

    def asked(self, method: str, path: str, **options: Any) -> Any:
        headers = {"Authorization": f"Bearer {self.key}"}
        answer = requests.request(method, f"{self.server.base_url}{path}", headers=headers, timeout=20, **options)
        assert answer.ok, answer.text
        return answer.json()

    def connect(self) -> str:
        """Enter map, machine and subscription; return the id of the subscription."""
        self.asked("POST", "/v1/assets", json=known_fan())
        self.asked("POST", "/v1/field-maps", json=NORTH_MILL)
        made = self.asked("POST", "/v1/subscriptions", json={"url": f"{self.theirs}/hook", "types": TYPES})
        requests.post(f"{self.theirs}/secret", json={"secret": made["secret"]}, timeout=5)
        return str(made["id"])

    def kill_and_restart(self) -> None:
        """Cut the power of our server, and switch it on again after a while."""
        self.server.kill()
        time.sleep(0.5)
        self.server = Server(self.url, self.port, **self.settings)

    def wanted_events(self) -> list[str]:
        """Return the numbers of the events of the feed that were subscribed to."""
        feed = self.asked("GET", "/v1/events?limit=500")["items"]
        return [event["id"] for event in feed if event["type"] in TYPES]

    def theirs_of(self, number: str) -> dict[str, Any]:
        held: dict[str, Any] = requests.get(f"{self.theirs}/orders/{number}", timeout=20).json()
        return held


@pytest.fixture
def plant(database_url: str, tmp_path: Path) -> Iterator[Plant]:
    with ExitStack() as stack:
        yield Plant(database_url, tmp_path / "theirs", stack)


def raised(plant: Plant, number: str) -> dict[str, Any]:
    order = {**NORTH_MILL["samples"][0]["message"]["order"], "no": number}
    reply: dict[str, Any] = requests.post(f"{plant.theirs}/orders", json=order, timeout=70).json()
    return reply


def test_nothing_is_lost_or_doubled_though_our_server_is_killed_and_the_receiver_fails_twice(plant: Plant) -> None:
    subscription = plant.connect()
    assert raised(plant, "R-7041")["order"] == {"no": "R-7041"}
    mechanic = Mechanic(plant.theirs, "R-7041", plant.server.base_url, plant.key)
    killer = threading.Thread(target=plant.kill_and_restart)
    late: list[dict[str, Any]] = []
    another = threading.Thread(target=lambda: late.append(raised(plant, "R-7042")))

    def cut() -> None:
        another.start()
        killer.start()

    mechanic.before_entry[1] = cut
    order_id = plant.theirs_of("R-7041")["bearingOrder"]
    left = ready_to_complete(mechanic, order_id)  # type: ignore[arg-type]
    killer.join()
    another.join()
    assert left == []
    done = mechanic.post(f"/v1/work-orders/{order_id}/completion", completion())
    assert done.status_code == 201, done.json
    _awaited(plant)

    # ours: each order once, each entry once, the order completed, the journal whole
    orders = plant.asked("GET", "/v1/work-orders")["items"]
    assert sorted((o["external"]["number"], o["status"]) for o in orders) == [
        ("R-7041", "completed"), ("R-7042", "open"),
    ]  # fmt: skip
    assert late == [late[0]]
    readings = plant.asked("GET", f"/v1/work-orders/{order_id}/readings?limit=500")["items"]
    assert [each["entry"] for each in readings] == list(range(1, len(readings) + 1))
    assert len({(each["step"], each["position"], each["kind"]) for each in readings}) == len(readings)
    assert len(plant.asked("GET", "/v1/stays")["items"]) == 1
    (chain,) = checked.verify_journals(plant.database, "ALDER")
    assert chain.broken_seq is None

    # theirs: every event once and in order of its order, the latest card in the long text, closed once
    events = requests.get(f"{plant.theirs}/events", timeout=5).json()["ids"]
    assert sorted(events, key=int) == plant.wanted_events()
    assert len(set(events)) == len(events)
    held = plant.theirs_of("R-7041")
    assert (held["status"], held["closings"]) == ("CLOSED", 1)
    for number in ("R-7041", "R-7042"):
        _text_is_whole(plant, plant.theirs_of(number))
    deliveries = plant.asked("GET", f"/v1/subscriptions/{subscription}/deliveries")["items"]
    assert {each["status"] for each in deliveries} == {"delivered"}
    assert sum(each["attempts"] - 1 for each in deliveries) >= 2, "the two failures were tried again"


def _awaited(plant: Plant) -> None:
    """Wait until the other system has every event."""
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        events = requests.get(f"{plant.theirs}/events", timeout=20).json()["ids"]
        if set(events) >= set(plant.wanted_events()):
            return
        time.sleep(0.1)
    raise AssertionError("events are missing")


def _text_is_whole(plant: Plant, held: dict[str, Any]) -> None:
    """The long text is the card of the latest revision to the last character, no line too long, no number cut."""
    address = f"{plant.server.base_url}/v1/work-orders/{held['bearingOrder']}/instructions"
    headers = {"Authorization": f"Bearer {plant.key}", "Accept": "text/plain"}
    card = requests.get(address, headers=headers, timeout=20).text
    assert "\n".join(held["longText"]) + "\n" == card
    assert held["longText"] and all(len(line) <= 96 and line.isascii() for line in held["longText"])
    assert held["tasks"] and all(len(task["short"]) <= 40 for task in held["tasks"])
    _no_number_is_cut(held["longText"])
    for task in held["tasks"]:
        _no_number_is_cut(task["text"])


def _no_number_is_cut(lines: list[str]) -> None:
    """No line ends in a number whose unit begins the next one, or in a number that goes on there."""
    for line, following in pairwise(lines):
        if line[-1:].isdigit():
            begins = following.lstrip().split(" ", 1)[0].strip("().,;:")
            assert begins not in ("in", "mm", "lbf.ft", "N.m", "psi", "MPa", "K", "degC", "degF"), (line, following)
            assert following.lstrip()[:1] != ".", (line, following)
