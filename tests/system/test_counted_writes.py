"""Whatever way a write comes in, /metrics counts it once: it counts what was committed, not who asked for it.

What is counted is held against the journal, which every write enters in its own transaction.
"""

import json
from collections import Counter
from collections.abc import Iterator

import pytest
import requests

from service.settings import Settings
from service.store.database import Database
from tests.api.cards.typed import INITIAL, forms
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import FITTER, initial, known_fan
from tests.system.servers import Server, free_port, serving
from tests.system.test_operations import key_of_a_site, samples

MAP = {
    "name": "delta",
    "inbound": {
        "targets": {
            "external/system": "'delta'",
            "external/number": "no",
            "asset": "machine",
            "positions": "places",
        }
    },
    "samples": [
        {
            "name": "one order",
            "message": {"no": "D-1", "machine": "DRY-2-FAN", "places": ["tail"]},
            "request": {
                "external": {"system": "delta", "number": "D-1"},
                "asset": "DRY-2-FAN",
                "positions": ["tail"],
            },
        }
    ],
}


class Plant:
    """A running server with metrics, a session with a key of its site, and what both have counted so far."""

    def __init__(self, server: Server, key: str, port: int, url: str) -> None:
        self.base, self.port, self.url = server.base_url, port, url
        self.session = requests.Session()
        self.session.headers["Authorization"] = f"Bearer {key}"

    def post(self, path: str, body: object, status: int = 201) -> dict[str, object]:
        answer = self.session.post(f"{self.base}{path}", json=body, timeout=30)
        assert answer.status_code == status, answer.text
        found: dict[str, object] = answer.json()
        return found

    def counted(self, metric: str, label: str) -> Counter[str]:
        name = f"capsaddle_{metric}_total"
        found = {labels: value for (of, labels), value in samples(self.port).items() if of == name}
        return Counter({dict(labels)[label]: int(value) for labels, value in found.items()})

    def journal(self) -> Counter[str]:
        database = Database(Settings(database_url=self.url))
        with database.reading() as connection:
            rows = connection.exec_driver_sql("SELECT event_type FROM journal").scalars().all()
        database.dispose()
        return Counter(rows)


@pytest.fixture
def plant(sqlite_url: str) -> Iterator[Plant]:
    key, port = key_of_a_site(sqlite_url, "read", "write", "approve", "admin"), free_port()
    with serving(sqlite_url, METRICS_BIND=f"127.0.0.1:{port}") as server:
        yield Plant(server, key, port, sqlite_url)


def by_the_api(plant: Plant) -> None:
    made = plant.post("/v1/work-orders", order("WO-1", known_fan(), positions=("tail",)))
    plant.post(f"/v1/work-orders/{made['id']}/readings", {"readings": [initial("tail", 0.0040, 0.0040)]})


def by_a_batch(plant: Plant) -> None:
    lines = "".join(json.dumps(order(f"WO-{n}", fan(f"FAN-{n}"))) + "\n" for n in range(3))
    headers = {"Content-Type": "application/x-ndjson"}
    for query, opened in (("?dry_run=true", 3), ("", 3), ("", 0)):  # a dry run and a repetition count nothing
        answer = plant.session.post(
            f"{plant.base}/v1/work-orders/batch{query}", data=lines, headers=headers, timeout=30
        )
        assert json.loads(answer.text.splitlines()[-1])["opened"] == opened


def on_a_phone(plant: Plant) -> None:
    made = plant.post("/v1/work-orders", order("WO-1", known_fan(), positions=("tail",)))
    url = plant.base + str(plant.post(f"/v1/work-orders/{made['id']}/card-links", {})["url"])
    (form,) = [each for each in forms(requests.get(url + INITIAL, timeout=30).text) if "kind" in each]
    form |= {"taken_by": FITTER, "one": "0.0040", "two": "0.0040"}
    for _ in range(2):  # the same form twice is one reading
        assert requests.post(url + INITIAL, data=form, allow_redirects=False, timeout=30).status_code == 303


def by_a_message(plant: Plant) -> None:
    plant.post("/v1/assets", fan())
    plant.post("/v1/field-maps", MAP)
    plant.post("/v1/inbound/delta", MAP["samples"][0]["message"])  # type: ignore[index]
    plant.post("/v1/inbound/delta", MAP["samples"][0]["message"], status=200)  # type: ignore[index]


@pytest.mark.parametrize(
    ("path", "plans", "readings"),
    [
        (by_the_api, {"first": 1, "next": 1}, {"accept": 1}),
        (by_a_batch, {"first": 3}, {}),
        (on_a_phone, {"first": 1, "next": 1}, {"accept": 1}),
        (by_a_message, {"first": 1}, {}),
    ],
)
def test_every_way_in_is_counted(plant: Plant, path: object, plans: dict[str, int], readings: dict[str, int]) -> None:
    before = plant.journal()
    path(plant)  # type: ignore[operator]
    assert plant.counted("plans_issued", "revision") == Counter(plans)
    assert plant.counted("readings", "verdict") == Counter(readings)
    assert plant.counted("events", "type") == plant.journal() - before
