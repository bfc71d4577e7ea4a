"""Field maps: three systems of different make open orders without our code or theirs changing."""

import copy
import gc
import json
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask import Flask

from service.api.maps.views import EXAMPLE
from service.store.queries import field_maps
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan

FOLDER = Path(__file__).parents[2] / "data" / "field_maps"
MAPS = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.json"))}
SYSTEMS = sorted(MAPS)


def entered(client: Client, document: dict[str, Any]) -> dict[str, Any]:
    answer = client.post("/v1/field-maps", document)
    assert answer.status_code == 201, answer.json
    body: dict[str, Any] = answer.json
    return body


def message_of(document: dict[str, Any]) -> dict[str, Any]:
    message: dict[str, Any] = copy.deepcopy(document["samples"][0]["message"])
    return message


def with_target(document: dict[str, Any], target: str, expression: str) -> dict[str, Any]:
    changed = copy.deepcopy(document)
    changed["inbound"]["targets"][target] = expression
    return changed


@pytest.mark.parametrize("system", SYSTEMS)
def test_each_system_opens_an_order_and_again_gets_the_same(client_on_each: Client, system: str) -> None:
    client = client_on_each
    client.post("/v1/assets", fan())
    document = MAPS[system]
    entered(client, document)
    first = client.post(f"/v1/inbound/{document['name']}", message_of(document))
    assert first.status_code == 201, first.json
    again = client.post(f"/v1/inbound/{document['name']}", message_of(document))
    assert (again.status_code, again.json) == (200, first.json)
    orders = client.get(f"/v1/work-orders?system={document['name']}").json["items"]
    request = document["samples"][0]["request"]
    assert [(o["external"], o["kind"]) for o in orders] == [(request["external"], request.get("kind", "replacement"))]
    assert first.headers["Location"].endswith(orders[0]["id"])


def test_the_reply_has_the_shape_that_the_map_gives_it(client: Client) -> None:
    client.post("/v1/assets", fan())
    document = MAPS["north_mill"]
    entered(client, document)
    reply = client.post("/v1/inbound/north-mill", message_of(document)).json
    order = client.get("/v1/work-orders?system=north-mill").json["items"][0]
    steps = client.get(f"/v1/work-orders/{order['id']}/instructions").json["steps"]
    assert set(reply) == {"order", "longText", "tasks", "materials"}
    assert reply["order"] == {"no": "R-7041"}
    assert [task["no"] for task in reply["tasks"]] == [step["number"] for step in steps]
    assert all(len(task["short"]) <= 28 and task["short"].isascii() for task in reply["tasks"])
    titles = {step["number"]: step["title"] for step in steps}
    assert all(titles[task["no"]].startswith(task["short"].removesuffix("..")) for task in reply["tasks"])
    assert any(task["short"].endswith("..") for task in reply["tasks"])
    lines = [*reply["longText"], *(line for task in reply["tasks"] for line in task["text"])]
    assert all(len(line) <= 96 and line.isascii() for line in lines)
    assert max(map(len, lines)) > 72
    card = client.get(f"/v1/work-orders/{order['id']}/instructions?width=96", headers={"Accept": "text/plain"}).text
    assert "\n".join(reply["longText"]) == card.rstrip("\n")


def test_a_system_without_a_reply_gets_the_order_itself(client: Client) -> None:
    client.post("/v1/assets", fan())
    document = MAPS["delta_lines"]
    entered(client, document)
    order = client.post("/v1/inbound/delta-lines", message_of(document)).json
    assert order["external"] == {"system": "delta-lines", "number": "90017"}
    assert order["instructions"]["targets"][0]["bearing"]["clearance_class"] == "C3"


def test_the_message_is_kept_and_named_in_the_event(client_on_each: Client) -> None:
    client = client_on_each
    client.post("/v1/assets", fan())
    document = MAPS["north_mill"]
    entered(client, document)
    data = json.dumps(message_of(document)).encode()
    client.post("/v1/inbound/north-mill", data=data)
    client.post("/v1/inbound/north-mill", data=data)
    database = client.app.extensions["capsaddle"].database
    order = client.get("/v1/work-orders").json["items"][0]
    site = database.read(_site_id(client))
    with site as tx:
        kept = field_maps.messages_of(tx, order["id"])
    assert [(m.body.encode(), m.field_map) for m in kept] == [(data, "north-mill/1")]
    events = client.get("/v1/events?type=internal.capsaddle.work_order.opened").json["items"]
    assert [e["data"]["changed"]["field_map"] for e in events] == ["north-mill/1"]


def _site_id(client: Client) -> str:
    return str(client.get("/v1/events").json["items"][0]["source"].removeprefix("urn:uuid:"))


def test_the_same_name_again_is_the_next_version_and_the_first_stays(client: Client) -> None:
    first = entered(client, EXAMPLE)
    second = entered(client, with_target(EXAMPLE, "external/number", "order.no || order.number"))
    assert (first["version"], second["version"]) == (1, 2)
    assert client.get(f"/v1/field-maps/{first['id']}").json == {**first, "in_force": False}
    listed = client.get("/v1/field-maps?name=north-mill").json["items"]
    assert [(m["version"], m["in_force"]) for m in listed] == [(1, False), (2, True)]


def test_a_map_without_the_name_of_its_sample_is_refused(client: Client) -> None:
    wrong = copy.deepcopy(EXAMPLE)
    wrong["samples"][0]["request"]["positions"] = ["drive"]
    refused = client.post("/v1/field-maps", wrong)
    assert (refused.status_code, refused.json["code"]) == (422, "field_map_refused")
    assert [(e["pointer"], e["code"]) for e in refused.json["errors"]] == [
        ("#/samples/0/request/positions/0", "sample_differs")
    ]
    assert client.get("/v1/field-maps").json["items"] == []


@pytest.mark.parametrize(
    ("expression", "code"),
    [
        ("order.[", "bad_expression"),
        ("shell(order.no)", "bad_expression"),
        ("(" * 900 + "a" + ")" * 900, "bad_expression"),
        ("order.no_such_member", "required_target"),
        ("lookup('kinds', order.no)", "unknown_key"),
        ("lookup('no_table', order.no)", "bad_argument"),
        ("quantity(`12`).unit", "no_unit"),
        ("join(order.no, order.lines)", "expression_failed"),
        ("to_number('nan')", "not_finite"),
        ("&order", "expression_failed"),
        ("order.type", "sample_differs"),
    ],
)
def test_an_expression_that_does_not_hold_is_refused_when_it_is_saved(
    client: Client, expression: str, code: str
) -> None:
    refused = client.post("/v1/field-maps", with_target(EXAMPLE, "external/number", expression))
    assert (refused.status_code, refused.json["code"]) == (422, "field_map_refused")
    assert refused.json["errors"][0]["code"] == code


@pytest.mark.parametrize(
    ("target", "code"),
    [("price", "unknown_target"), ("external//x", "bad_target"), ("asset/tag", "target_overlaps")],
)
def test_a_target_that_is_none_of_ours_is_refused(client: Client, target: str, code: str) -> None:
    refused = client.post("/v1/field-maps", with_target(EXAMPLE, target, "order.no"))
    assert refused.status_code == 422
    assert code in [e["code"] for e in refused.json["errors"]]


def test_a_message_without_a_required_member_opens_nothing(client: Client) -> None:
    client.post("/v1/assets", fan())
    entered(client, EXAMPLE)
    message = message_of(EXAMPLE)
    del message["order"]["no"]
    refused = client.post("/v1/inbound/north-mill", message)
    assert (refused.status_code, refused.json["code"]) == (422, "mapping_failed")
    assert refused.json["errors"] == [
        {"pointer": "#/external/number", "code": "required_target", "detail": "is required and came out as null"}
    ]
    assert refused.json["field_map"] == {"name": "north-mill", "version": 1}
    assert refused.json["mapped_request"]["asset"] == "DRY-2-FAN"
    assert client.get("/v1/work-orders").json["items"] == []


def test_a_try_tells_what_was_mapped_what_nobody_read_and_every_problem(client_on_each: Client) -> None:
    client = client_on_each
    document = MAPS["north_mill"]
    made = entered(client, document)
    address = f"/v1/field-maps/{made['id']}/try"
    tried = client.post(address, {"message": message_of(document)}).json
    assert tried["mapped_request"] == document["samples"][0]["request"]
    assert tried["unmapped"] == ["/order/planner"]
    assert (tried["status"], tried["reply"]) == (422, None)
    assert [problem["code"] for problem in tried["problems"]] == ["unknown_asset"]
    client.post("/v1/assets", fan())
    tried = client.post(address, {"message": message_of(document)}).json
    assert (tried["status"], tried["problems"]) == (201, [])
    assert tried["reply"]["order"] == {"no": "R-7041"}
    assert client.get("/v1/work-orders").json["items"] == [], "a try stores nothing"


def test_a_map_that_is_not_kept_is_previewed(client_on_each: Client) -> None:
    client = client_on_each
    document = MAPS["north_mill"]
    draft = {member: document[member] for member in ("inbound", "outbound", "tables")}
    client.post("/v1/assets", fan())
    tried = client.post("/v1/field-maps/preview", {"map": draft, "message": message_of(document)}).json
    assert tried["mapped_request"] == document["samples"][0]["request"]
    assert (tried["status"], tried["unmapped"], tried["problems"]) == (201, ["/order/planner"], [])
    assert tried["reply"]["order"] == {"no": "R-7041"}
    assert client.get("/v1/field-maps").json["items"] == client.get("/v1/work-orders").json["items"] == []
    broken = {**draft, "inbound": {"targets": {"asset": "order.["}}}
    refused = client.post("/v1/field-maps/preview", {"map": broken, "message": {}})
    assert (refused.status_code, refused.json["code"]) == (422, "field_map_refused")
    assert refused.json["errors"][0]["pointer"] == "#/map/inbound/targets/asset"


def test_a_dot_in_a_target_nests_as_a_slash_does(client: Client) -> None:
    document = copy.deepcopy(MAPS["north_mill"])
    for direction in ("inbound", "outbound"):
        targets = document[direction]["targets"]
        document[direction]["targets"] = {name.replace("/", "."): value for name, value in targets.items()}
    client.post("/v1/assets", fan())
    entered(client, document)
    reply = client.post("/v1/inbound/north-mill", message_of(document)).json
    assert reply["order"] == {"no": "R-7041"}
    document["outbound"]["targets"]["order/no"] = "work_order.id"
    assert client.post("/v1/field-maps", document).json["errors"][0]["code"] == "target_overlaps"


def test_times_of_a_sample_are_compared_as_moments(client: Client) -> None:
    document = copy.deepcopy(MAPS["north_mill"])
    document["samples"][0]["request"]["opened_at"] = "2026-01-07T12:30:00+01:00"
    entered(client, document)
    document["samples"][0]["request"]["opened_at"] = "2026-01-07T12:30:00+00:00"
    assert client.post("/v1/field-maps", document).json["errors"][0]["code"] == "sample_differs"


def test_a_dry_run_answers_and_stores_nothing(client: Client) -> None:
    client.post("/v1/assets", fan())
    dry = client.post("/v1/field-maps?dry_run=true", EXAMPLE)
    assert (dry.status_code, client.get("/v1/field-maps").json["items"]) == (201, [])
    entered(client, EXAMPLE)
    dry = client.post("/v1/inbound/north-mill?dry_run=true", message_of(EXAMPLE))
    assert (dry.status_code, client.get("/v1/work-orders").json["items"]) == (201, [])


HUGE = b'{"order": {"no": "1", "equipment": "X", "type": "REPL", "lines": [%s]}}'
HOSTILE = {
    "a hundred thousand elements": HUGE % b",".join([b"1"] * 100_000),
    "a hundred thousand objects": HUGE % b",".join([b"{}"] * 80_000),
    "deep nesting": b'{"order": ' + b"[" * 100_000 + b"]" * 100_000 + b"}",
    "nesting in objects": b'{"a":' * 30_000 + b"1" + b"}" * 30_000,
    "more than is taken": HUGE % b",".join([b'"xxxxxxxxxx"'] * 100_000),
    "a huge number": b'{"order": {"no": ' + b"9" * 200_000 + b"}}",
    "a member twice": b'{"order": 1, "order": 2}',
}
BILLION = (
    b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">'
    b'<!ENTITY d "&c;&c;&c;&c;&c;&c;&c;&c;&c;&c;">]><a>&d;</a>'
)


@pytest.fixture
def settled_heap() -> Iterator[None]:
    """Set aside what the tests before left, as a server does with what it loaded: no collection walks through it."""
    gc.collect()
    gc.freeze()
    yield
    gc.unfreeze()


@pytest.mark.usefixtures("settled_heap")
@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_a_hostile_message_is_refused_in_under_a_second(client: Client, name: str) -> None:
    entered(client, EXAMPLE)
    began = time.thread_time()
    refused = client.post("/v1/inbound/north-mill", data=HOSTILE[name])
    assert refused.status_code in (400, 413, 422), refused.json
    assert time.thread_time() - began < 1.0
    assert client.get("/v1/work-orders").json["items"] == []


def test_what_stands_in_a_text_is_not_counted_as_elements(client: Client) -> None:
    """More commas than a message may have elements, all of them in one text of the message."""
    made = entered(client, EXAMPLE)
    message = message_of(EXAMPLE)
    message["order"]["remark"] = '"' + "," * 30_000 + "\\"
    tried = client.post(f"/v1/field-maps/{made['id']}/try", {"message": message})
    assert tried.status_code == 200, tried.json


def test_xml_is_not_taken_with_or_without_a_document_type(client: Client) -> None:
    entered(client, EXAMPLE)
    refused = client.post("/v1/inbound/north-mill", data=BILLION, content_type="application/xml")
    assert (refused.status_code, refused.json["code"]) == (415, "unsupported_media_type")


FAN_OUT = {
    "nested projections": "order.[" + ",".join(["lines"] * 30) + "][].[task, place, task, place]",
    "products": "join('', order.lines[].to_string([@,@,@,@,@,@,@,@,@,@]))",
    "doubling": " | ".join(["[@,@][]"] * 50),
    "doubling texts": "order.no | " + " | ".join(["join('',[@,@])"] * 50),
    "escapes": "order.no | " + " | ".join(["to_string([@,@])"] * 40),
    "glue": "join(to_string(order), order.lines[].to_string(@))",
    "maps of maps": "map(&map(&map(&[@], $x), $x), order.lines)".replace("$x", "[`1`,`2`,`3`,`4`,`5`,`6`,`7`,`8`,`9`]"),
    "products of selects": "order.lines[].{" + ",".join(f"m{n}: [@,@,@,@,@,@,@,@]" for n in range(100)) + "}",
}


@pytest.mark.usefixtures("settled_heap")
@pytest.mark.parametrize("name", sorted(FAN_OUT))
def test_a_map_that_fans_out_is_stopped_in_under_a_second(client: Client, name: str) -> None:
    """Others are served meanwhile. Time is that of the processor: how busy the machine is with others is not ours."""
    document = with_target(EXAMPLE, "external/number", FAN_OUT[name])
    document["samples"][0]["message"]["order"]["lines"] = [{"task": "BRG", "place": "tail"}] * 4000
    running, served = threading.Event(), [0]

    def others() -> None:
        with client.app.test_client() as other:
            while running.is_set():
                served[0] += other.get("/health/live").status_code == 200
                time.sleep(0.001)  # as a client does: without it this thread never leaves the interpreter to the other

    running.set()
    other = threading.Thread(target=others)
    other.start()
    try:
        began = time.thread_time()
        refused = client.post("/v1/field-maps", document)
        took_s = time.thread_time() - began
    finally:
        running.clear()
        other.join()
    assert (refused.status_code, refused.json["code"]) == (422, "field_map_refused")
    assert refused.json["errors"][0]["code"] in ("too_much_work", "value_too_large"), refused.json["errors"][0]
    assert took_s < 1.0
    assert served[0] >= 5, "others had to wait for it"


def test_a_key_of_another_site_finds_no_map(app: Flask, client_of: ClientMaker) -> None:
    owner, stranger = client_of(app, "ALDER"), client_of(app, "BIRCH")
    made = entered(owner, EXAMPLE)
    assert stranger.post("/v1/inbound/north-mill", message_of(EXAMPLE)).status_code == 404
    assert stranger.get(f"/v1/field-maps/{made['id']}").status_code == 404
