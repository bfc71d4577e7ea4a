"""A machine is deleted, replaced and hung stays on while orders are opened on it: one after the other, never crosswise.

The server's own log tells of deadlocks: PostgreSQL breaks them after a second and the loser runs again, so that
no answer shows them but by its lateness, and at five in a row by a 503.
"""

import os
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import requests

from service.settings import Settings
from service.store import migrate
from service.store.database import Database
from service.store.queries import keys, sites
from tests.api.samples.histories import stay
from tests.api.samples.machines import bare, order
from tests.outages.postgres import Postgres, needed_programs, postgres
from tests.system.servers import serving

ROUNDS, PLACES = 25, ("one", "other")


@pytest.fixture(scope="module")
def own_postgres() -> Iterator[Postgres]:
    """A server whose log is ours to read."""
    with postgres(needed_programs()) as server:
        migrate.upgrade(server.owner_url)
        yield server


@pytest.fixture
def headers(own_postgres: Postgres) -> dict[str, str]:
    """What a caller sends: for each test a site of its own."""
    database = Database(Settings(database_url=own_postgres.url))
    code = f"MILL-{os.urandom(3).hex()}"
    sites.create_site(database, code, "Mill A", "inch")
    key = keys.create_key(database, code, ("read", "write"))
    database.dispose()
    return {"Authorization": f"Bearer {key}", "If-Match": "*"}


def at_once(*calls: Callable[[], requests.Response]) -> list[tuple[int, str]]:
    """Status and code of the answers to requests that are sent at the same time."""
    barrier, answers = threading.Barrier(len(calls)), [(0, "")] * len(calls)

    def send(n: int) -> None:
        barrier.wait()
        answer = calls[n]()
        code = answer.json().get("code", "") if answer.status_code >= 400 else ""
        answers[n] = (answer.status_code, code)

    threads = [threading.Thread(target=send, args=(n,)) for n in range(len(calls))]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    return answers


@pytest.mark.parametrize("change", ["delete", "replace"])
def test_a_machine_is_changed_while_orders_are_opened_on_it(
    own_postgres: Postgres, headers: dict[str, str], change: str
) -> None:
    """Each way round is right: the order stands and the change is refused, or the change stands and the order is."""
    seen: Counter[tuple[str, int, str]] = Counter()
    log = own_postgres.folder / "log"
    begun = log.stat().st_size
    with serving(own_postgres.url, workers=2) as server:

        def post(path: str, body: Any) -> requests.Response:
            return requests.post(server.base_url + path, json=body, headers=headers, timeout=60)

        for turn in range(ROUNDS):
            tag = f"{change}-{turn}"
            machine = post("/v1/assets", bare(tag)).json()
            place = f"{server.base_url}/v1/assets/{machine['id']}"
            other = bare(tag)
            other["shafts"][0]["positions"] = [{"name": "new"}]
            change_it = {
                "delete": lambda place=place: requests.delete(place, headers=headers, timeout=60),
                "replace": lambda place=place, other=other: requests.put(
                    place, json=other, headers=headers, timeout=60
                ),
            }[change]
            asked = [
                order(f"{tag}-{n}", asset=tag, positions=PLACES[:: 1 - 2 * (n % 2)], allow_second=True)
                for n in range(3)
            ]
            opening = [lambda body=body: post("/v1/work-orders", body) for body in asked]
            rows = {"items": [stay(f"{tag}-{n}", asset=tag, position=name) for n, name in enumerate(PLACES[::-1])]}
            imported = [lambda rows=rows: post("/v1/stays/import", rows)] if turn % 2 else []
            changed, *others = at_once(change_it, *opening, *imported)
            stood = changed[0] < 300
            assert all((status < 300) is not stood for status, _ in others), (changed, others)
            seen.update((what, *each) for what, each in zip(
                ("change", *["order"] * len(opening), *["import"] * len(imported)), (changed, *others), strict=True
            ))  # fmt: skip
    assert b"deadlock detected" not in log.read_bytes()[begun:]
    refusal = {"delete": "asset_in_use", "replace": "position_has_history"}[change]
    order_refusal = {"delete": "unknown_asset", "replace": "unknown_position"}[change]
    allowed = {
        ("change", {"delete": 204, "replace": 200}[change], ""), ("change", 409, refusal),
        ("order", 201, ""), ("order", 422, order_refusal),
        ("import", 200, ""), ("import", 422, "import_refused"),
    }  # fmt: skip
    assert set(seen) <= allowed, seen
    assert {what for what, *_ in seen} == {"change", "order", "import"}
