"""/v1/events: CloudEvents in the order of commits; a reader that goes on after the last one misses nothing.

The envelope is held against CloudEvents 1.0.2 (context attributes: required ones, naming, non-empty values; size limit
64 KiB) as remembered, no copy at hand.
"""

import ast
import json
import re
import threading
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

import service
from service.exchange.cloud_events import PREFIX, TYPES
from service.store.unit_of_work import Event, Written
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import completion, opened, ready_to_complete


def feed(client: Client, path: str = "/v1/events", *, most: int = 1000) -> list[dict[str, Any]]:
    """Every event from a place on, page by page."""
    found: list[dict[str, Any]] = []
    for _ in range(most):
        page = client.get(path)
        assert page.status_code == 200, page.text
        if not page.json["items"]:
            return found
        found += page.json["items"]
        path = page.json["next"]
    raise AssertionError("the feed does not end")


def types(items: list[dict[str, Any]]) -> list[str]:
    return [item["type"].removeprefix(PREFIX) for item in items]


def test_the_life_of_an_order_is_told_in_order(client_on_each: Client) -> None:
    client = client_on_each
    before = feed(client)
    order_id = opened(client)["id"]
    assert ready_to_complete(client, order_id) == []
    assert client.post(f"/v1/work-orders/{order_id}/completion", completion()).status_code == 201
    told = feed(client, f"/v1/events?after={before[-1]['id']}")
    names = types(told)
    assert names[:3] == ["asset.registered", "work_order.opened", "reading.recorded"]
    assert names[-2:] == ["work_order.completed", "stay.begun"]
    assert "instructions.revised" in names
    about = [item for item in told if item["data"]["kind"] == "work_order"]
    assert {item["subject"] for item in about} == {f"work_order/{order_id}"}
    assert client.get(about[0]["data"]["link"]).json["id"] == order_id
    assert told[-2]["data"]["changed"] == {"outcomes": {"tail": "replaced"}, "flags": ["signed_in_one_go"]}


def test_each_event_is_a_cloud_event(client: Client) -> None:
    opened(client)
    items = feed(client)
    for item in items:
        assert item["specversion"] == "1.0"
        assert all(isinstance(item[name], str) and item[name] for name in ("id", "source", "type", "subject"))
        assert all(re.fullmatch(r"[a-z0-9]{1,20}", name) for name in item), "names of context attributes"
        assert datetime.fromisoformat(item["time"]).utcoffset() is not None
        assert item["datacontenttype"] == "application/json"
        assert len(json.dumps(item).encode()) <= 64 * 1024
    assert len({(item["source"], item["id"]) for item in items}) == len(items)
    assert [item["sequence"] for item in items] == sorted(item["sequence"] for item in items)


def test_the_feed_is_read_in_pages_and_by_type(client_on_each: Client) -> None:
    client = client_on_each
    client.post("/v1/assets", fan())
    for number in range(4):
        client.post("/v1/work-orders", order(f"WO-{number}"))
    whole = feed(client)
    assert [item["id"] for item in whole] == [str(n) for n in range(1, len(whole) + 1)]
    assert feed(client, "/v1/events?limit=2") == whole
    opened_only = feed(client, f"/v1/events?limit=2&type={PREFIX}work_order.opened")
    assert opened_only == [item for item in whole if item["type"] == f"{PREFIX}work_order.opened"]
    end = client.get(f"/v1/events?type={PREFIX}work_order.cancelled").json
    assert end == {"items": [], "next": f"/v1/events?after={len(whole)}&limit=50&type={PREFIX}work_order.cancelled"}
    client.post("/v1/work-orders", order("WO-9"))
    assert types(client.get(f"/v1/events?after={len(whole)}").json["items"]) == ["work_order.opened"]


@pytest.mark.parametrize(
    "query", ["after=-1", "after=x", "after=99999999999999999999", "type=work_order.opened", "wait=31"]
)
def test_a_query_that_makes_no_sense_is_400(client: Client, query: str) -> None:
    refused = client.get(f"/v1/events?{query}")
    assert (refused.status_code, refused.json["code"]) == (400, "bad_parameter")


def test_a_number_that_the_feed_has_not_reached_is_refused(client: Client) -> None:
    """Else a reader would wait in silence after a restore, and then miss what took the same numbers."""
    last = int(feed(client)[-1]["id"])
    assert client.get(f"/v1/events?after={last}").json["items"] == []
    refused = client.get(f"/v1/events?after={last + 1}")
    assert (refused.status_code, refused.json["code"]) == (400, "bad_cursor")


def test_another_site_s_events_are_not_told(app: Flask, client_of: ClientMaker) -> None:
    owner, stranger = client_of(app, "ALDER"), client_of(app, "BIRCH")
    opened(owner)
    sources = [{item["source"] for item in feed(each)} for each in (owner, stranger)]
    assert len(sources[0]) == len(sources[1]) == 1 and sources[0] != sources[1]
    assert "work_order.opened" not in types(feed(stranger))


def test_a_dry_run_tells_nothing(client: Client) -> None:
    before = feed(client)
    client.post("/v1/work-orders?dry_run=true", order(asset=fan()))
    assert feed(client) == before


def test_a_reader_misses_nothing_while_writers_write(app_on_each: Flask, client_of: ClientMaker) -> None:
    """Writers commit at their own pace, some slowly; a reader that polls gets every event once and in order."""
    client = client_of(app_on_each)
    database = app_on_each.extensions["capsaddle"].database
    site_id = feed(client)[0]["source"].removeprefix("urn:uuid:")
    start = int(feed(client)[-1]["id"])
    done = threading.Event()

    def write(writer: int) -> None:
        for number in range(8):

            def work(_tx: Any, number: int = number) -> Written:
                time.sleep(0.003 * (writer % 3))
                return Written(200, "{}", events=(Event("asset.replaced", "asset", f"{writer}-{number}"),))

            database.write(site_id=site_id, actor="writer", request_id=f"r{writer}", work=work)

    writers = [threading.Thread(target=write, args=(writer,)) for writer in range(6)]
    for each in writers:
        each.start()
    told: list[dict[str, Any]] = []
    path, idle_at_end = f"/v1/events?after={start}&limit=7", False
    while not idle_at_end:
        if not any(each.is_alive() for each in writers):
            done.set()
        page = client.get(path).json
        told, path = told + page["items"], page["next"]
        idle_at_end = done.is_set() and not page["items"]
    assert [int(item["id"]) for item in told] == list(range(start + 1, start + 49))
    assert {item["data"]["id"] for item in told} == {f"{writer}-{number}" for writer in range(6) for number in range(8)}


def test_a_reader_may_wait_for_news(app_on_each: Flask, client_of: ClientMaker) -> None:
    client = client_of(app_on_each)
    client.post("/v1/assets", fan())
    last = feed(client)[-1]["id"]
    later = threading.Timer(0.4, lambda: client_of(app_on_each).post("/v1/work-orders", order()))
    later.start()
    begun = time.monotonic()
    news = client.get(f"/v1/events?after={last}&wait=9").json
    waited_s = time.monotonic() - begun
    later.join()
    assert types(news["items"])[:1] in (["key.created"], ["work_order.opened"])
    assert 0.3 < waited_s < 8
    last = feed(client)[-1]["id"]
    begun = time.monotonic()
    assert client.get(f"/v1/events?after={last}&wait=1").json["items"] == []
    assert 0.9 < time.monotonic() - begun < 5


def test_two_wait_and_others_are_answered_at_once(app: Flask, client_of: ClientMaker) -> None:
    """Whoever waits holds a thread of the server; readers who wait must not stop everybody else."""
    client = client_of(app)
    last = feed(client)[-1]["id"]
    waiting = [threading.Thread(target=client.get, args=(f"/v1/events?after={last}&wait=1",)) for _ in range(2)]
    for each in waiting:
        each.start()
    time.sleep(0.3)
    begun = time.monotonic()
    assert client.get(f"/v1/events?after={last}&wait=1").json["items"] == []
    assert time.monotonic() - begun < 0.6
    for each in waiting:
        each.join()


def test_every_type_that_is_written_is_documented() -> None:
    """Reads the source: each ``Event("...")`` has its line in the list of types, and no line is without use."""
    written, literals = set(), set()
    for file in Path(service.__file__).parent.rglob("*.py"):
        if file.name == "cloud_events.py":
            continue
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                literals.add(node.value)
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Event":
                written |= {each.value for each in ast.walk(node.args[0]) if isinstance(each, ast.Constant)}
    assert len(written) > 15
    assert written <= set(TYPES) <= literals
