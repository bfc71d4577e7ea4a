"""Many orders in one request: each line is answered by itself, in order, and is safe to send again."""

import json
import threading
from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order

NDJSON = "application/x-ndjson"


def batch(client: Client, lines: list[Any], query: str = "") -> list[dict[str, Any]]:
    sent = b"".join(line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n" for line in lines)
    answer = client.post(f"/v1/work-orders/batch{query}", data=sent, content_type=NDJSON)
    assert answer.status_code == 200
    return [json.loads(line) for line in answer.data.splitlines()]


def test_each_line_opens_its_order_as_if_it_came_alone(client_on_each: Client) -> None:
    client = client_on_each
    lines = batch(client, [order(f"WO-{n}", fan(f"FAN-{n}")) for n in range(5)])
    assert lines[-1] == {"end": True, "count": 5, "opened": 5, "known": 0, "refused": 0}
    assert [(line["index"], line["status"]) for line in lines[:-1]] == [(n, 201) for n in range(5)]
    for line in lines[:-1]:
        read = client.get(f"/v1/work-orders/{line['result']['id']}").json
        assert line["result"] | {"flags": []} == read
    assert [o["external"]["number"] for o in client.get("/v1/work-orders").json["items"]] == [
        f"WO-{n}" for n in range(5)
    ]


def test_the_same_lines_again_change_nothing(client_on_each: Client) -> None:
    client = client_on_each
    orders = [order(f"WO-{n}", fan(f"FAN-{n}")) for n in range(3)]
    first = batch(client, orders)
    events = client.get("/v1/events?limit=500").json["items"]
    again = batch(client, [*orders, order("WO-3", fan("FAN-3"))])
    assert [line["status"] for line in again[:-1]] == [200, 200, 200, 201]
    assert [line["result"] for line in again[:3]] == [line["result"] for line in first[:3]]
    assert again[-1] == {"end": True, "count": 4, "opened": 1, "known": 3, "refused": 0}
    assert client.get("/v1/events?limit=500").json["items"][: len(events)] == events


def test_a_bad_line_does_not_fail_the_others(client: Client) -> None:
    client.post("/v1/assets", fan())
    differs = order("WO-1", positions=("drive",))
    lines = batch(
        client, [order("WO-1", positions=("tail",)), b"{nonsense\n", order("WO-2", "NO-SUCH"), differs, b"\n", {}]
    )
    assert [line.get("status") for line in lines] == [201, 400, 422, 409, 400, 422, None]
    assert [line["problem"]["code"] for line in lines if "problem" in line] == [
        "bad_json", "unknown_asset", "work_order_differs", "bad_json", "invalid",
    ]  # fmt: skip
    assert lines[-1] == {"end": True, "count": 6, "opened": 1, "known": 0, "refused": 5}


def test_a_dry_run_answers_every_line_and_stores_nothing(client: Client) -> None:
    lines = batch(client, [order("WO-1", fan()), order("WO-2", fan("FAN-2"))], "?dry_run=true")
    assert [line.get("status") for line in lines] == [201, 201, None]
    assert client.get("/v1/work-orders").json["items"] == []
    assert client.get("/v1/assets").json["items"] == []


def test_two_shutdowns_sent_at_once_open_each_order_once(client_on_each: Client) -> None:
    client = client_on_each
    orders = [order(f"WO-{n}", fan(f"FAN-{n}")) for n in range(10)]
    found: list[list[dict[str, Any]]] = []
    threads = [threading.Thread(target=lambda: found.append(batch(client, orders))) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    one, other = found
    assert {a["status"] + b["status"] for a, b in zip(one[:-1], other[:-1], strict=True)} == {401}
    assert one[-1]["opened"] + other[-1]["opened"] == 10
    assert [a["result"]["id"] for a in one[:-1]] == [b["result"]["id"] for b in other[:-1]]


@pytest.mark.parametrize(("data", "code"), [(b"{}\n" * 1001, "too_many_lines")])
def test_the_batch_is_bounded(client: Client, data: bytes, code: str) -> None:
    assert client.post("/v1/work-orders/batch", data=data, content_type=NDJSON).json["code"] == code
    too_large = client.post("/v1/work-orders/batch", data=b" " * (8 * 1024 * 1024 + 1), content_type=NDJSON)
    assert too_large.status_code == 413
