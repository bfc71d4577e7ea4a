"""/v1/work-orders: opening, repeating, listing, cancelling, and the instructions that come back."""

import threading
from typing import Any

import pytest
from flask import Flask

from service.api.orders.schemas import WorkOrderLine, WorkOrderRequest
from service.use_cases.orders.open import COMPARED, NOT_COMPARED
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import bare, fan, order
from tests.api.samples.orders import known_fan


def test_an_order_with_a_new_machine_comes_back_with_its_plan(client_on_each: Client) -> None:
    client = client_on_each
    made = client.post("/v1/work-orders", order(asset=fan()))
    assert made.status_code == 201
    body = made.json
    assert body["external"] == {"system": "plant-a", "number": "WO-1"}
    assert (body["asset"], body["positions"], body["kind"], body["status"], body["revision"]) == (
        "DRY-2-FAN", ["tail", "drive"], "replacement", "open", 1,
    )  # fmt: skip
    plan = body["instructions"]
    assert [step["number"] for step in plan["steps"]] == list(range(10, 10 * len(plan["steps"]) + 10, 10))
    assert {t["position"] for t in plan["targets"]} == {"tail", "drive"}
    roles = {s["name"]: s["role"] for s in plan["arrangement"]["supports"]}
    assert roles == {"tail": "free", "drive": "locating"}
    assert plan["bolting"][0]["torque"]["text"] == "110 lbf.ft (150 N.m)"
    assert plan["units"] == "inch"
    assert client.get(made.headers["Location"]).json == body | {"flags": []}
    read = client.get(f"/v1/work-orders/{body['id']}/instructions")
    assert read.json == plan
    assert client.get("/v1/assets?tag=DRY-2-FAN").json["items"][0]["id"] == body["asset_id"]


WHOLE = {
    "external": {"system": "plant-a", "number": "WO-1"},
    "asset": "DRY-2-FAN",
    "positions": ["drive"],
    "kind": "inspection",
    "wrench": {
        "min": {"value": 30, "unit": "lbf.ft"},
        "max": {"value": 150, "unit": "lbf.ft"},
        "length": {"value": 20, "unit": "in"},
    },
    "opened_at": "2026-01-05T06:30:00.000000Z",
    "allow_second": True,
}
"""An order with every member that can be sent."""


def test_every_member_of_an_order_is_answered_as_it_was_sent(client_on_each: Client) -> None:
    client = client_on_each
    members = set(WorkOrderRequest().fields)
    assert set(WHOLE) == members, "give WHOLE a value of each member of WorkOrderRequest"
    client.post("/v1/assets", fan())
    made = client.post("/v1/work-orders", WHOLE).json
    shared = members & set(WorkOrderLine().fields)
    assert {"external", "asset", "positions", "kind", "opened_at"} <= shared
    for told in (
        made,
        client.get(f"/v1/work-orders/{made['id']}").json,
        client.get("/v1/work-orders").json["items"][0],
    ):
        for member in shared:
            assert told[member] == WHOLE[member], f"{member}: use_cases/orders/open.py stores it, records.py answers it"


def test_every_member_of_an_order_is_compared_when_it_comes_again_or_is_said_not_to_be() -> None:
    said = "list it in COMPARED or, with the reason, in NOT_COMPARED of use_cases/orders/open.py"
    assert {*COMPARED, *NOT_COMPARED} == set(WorkOrderRequest().fields), said


def test_every_hold_is_in_the_plan(client: Client) -> None:
    plan = client.post("/v1/work-orders", order(asset=known_fan())).json["instructions"]
    assert {step["hold"] for step in plan["steps"]} == {None, *range(1, 10)}


def test_the_same_number_again_is_the_same_order(client_on_each: Client) -> None:
    client = client_on_each
    first = client.post("/v1/work-orders", order(asset=fan()))
    again = client.post("/v1/work-orders", order(asset=fan()))
    by_tag = client.post("/v1/work-orders", order(positions=["drive", "tail"]))
    assert (first.status_code, again.status_code, by_tag.status_code) == (201, 200, 200)
    assert first.json == again.json == by_tag.json
    assert len(client.get("/v1/work-orders").json["items"]) == 1


@pytest.mark.parametrize(
    ("other", "member"),
    [
        ({"asset": "BARE-1"}, "asset"),
        ({"positions": ["tail"]}, "positions"),
        ({"positions": ["tail", {"name": "drive", "bearing": {"designation": "22216 K/C4"}}]}, "positions"),
        ({"kind": "inspection"}, "kind"),
    ],
)
def test_the_same_number_for_something_else_is_409(client: Client, other: dict[str, Any], member: str) -> None:
    client.post("/v1/assets", bare())
    first = client.post("/v1/work-orders", order(asset=fan()))
    refused = client.post("/v1/work-orders", order(**other))
    assert (refused.status_code, refused.json["code"]) == (409, "work_order_differs")
    assert [fault["pointer"] for fault in refused.json["errors"]] == [f"#/{member}"]
    assert refused.json["existing"] == first.json["id"]


def test_the_bearing_to_be_fitted_is_compared_as_we_write_it(client: Client) -> None:
    named = [{"name": "tail", "bearing": {"designation": "22216 K/C3"}}]
    first = client.post("/v1/work-orders", order(asset=fan(), positions=named))
    named[0]["bearing"]["designation"] = "22216-k-c3"  # type: ignore[index]
    again = client.post("/v1/work-orders", order(positions=named))
    assert (again.status_code, again.json["id"]) == (200, first.json["id"])


def test_a_known_machine_sent_in_full_must_be_the_one_on_record(client: Client) -> None:
    client.post("/v1/assets", fan())
    assert client.post("/v1/work-orders", order("WO-1", asset=fan())).status_code == 201
    machine = fan()
    machine["shafts"][0]["positions"][1]["at"] = {"value": 3100, "unit": "mm"}
    machine["shafts"][0]["positions"].reverse()
    refused = client.post("/v1/work-orders", order("WO-2", asset=machine, allow_second=True))
    assert (refused.status_code, refused.json["code"]) == (409, "asset_differs")
    assert [f["pointer"] for f in refused.json["errors"]] == ["#/asset/shafts/0/positions/0/at"]
    assert refused.json["differences"][0]["stored"]["text"] == "118.11 in (3000 mm)"
    same = fan()
    same["shafts"][0]["positions"][1]["at"] = {"value": 3000, "unit": "mm"}
    assert client.post("/v1/work-orders", order("WO-3", asset=same, allow_second=True)).status_code == 201


@pytest.mark.parametrize(
    ("request_", "code", "pointer"),
    [
        (order(asset="NOT-THERE"), "unknown_asset", "#/asset"),
        (order(positions=["tail", "nose"]), "unknown_position", "#/positions/1"),
        (order(positions=["tail", "tail"]), "position_named_twice", "#/positions/1"),
        (
            order(positions=[{"name": "tail", "bearing": {"designation": "X"}}]),
            "unknown_designation",
            "#/positions/0/bearing/designation",
        ),
        (order(positions=[]), "invalid", "#/positions"),
        (order(kind="polish"), "unknown_choice", "#/kind"),
        (order(opened_at="2026-01-07T06:30:00"), "time_without_offset", "#/opened_at"),
        (order(number=7), "wrong_type", "#/external/number"),
    ],
)
def test_bad_orders_are_refused_and_nothing_is_stored(
    client_on_each: Client, request_: dict[str, Any], code: str, pointer: str
) -> None:
    client_on_each.post("/v1/assets", fan())
    refused = client_on_each.post("/v1/work-orders", request_)
    assert refused.status_code == 422
    assert (refused.json["errors"][0]["code"], refused.json["errors"][0]["pointer"]) == (code, pointer)
    assert client_on_each.get("/v1/work-orders").json["items"] == []


def test_a_bearing_without_a_taper_for_a_sleeve_is_refused(client: Client) -> None:
    client.post("/v1/assets", fan())
    wrong = [{"name": "tail", "bearing": {"designation": "22216/C3"}}]
    refused = client.post("/v1/work-orders", order(positions=wrong))
    assert (refused.status_code, refused.json["code"]) == (422, "bore_not_tapered")
    assert client.get("/v1/work-orders").json["items"] == []


def test_a_machine_that_is_refused_is_not_registered_by_its_order(client: Client) -> None:
    refused = client.post("/v1/work-orders", order(asset=fan(), positions=["nose"]))
    assert refused.status_code == 422
    assert client.get("/v1/assets").json["items"] == []


def test_a_machine_of_which_nothing_is_known_still_gets_its_plan(client: Client) -> None:
    made = client.post("/v1/work-orders", order(asset=bare(), positions=["one"]))
    assert made.status_code == 201
    plan = made.json["instructions"]
    assert plan["steps"] and plan["missing"]
    for missing in plan["missing"]:
        assert missing["field"] and missing["why"] and missing["how"]
    assert any("bearing" in missing["field"] for missing in plan["missing"])


def test_a_machine_with_two_locating_bearings_gets_a_plan_that_is_blocked(client: Client) -> None:
    made = client.post("/v1/work-orders", order(asset=fan(role="locating"), positions=["tail"]))
    assert made.status_code == 201
    plan = made.json["instructions"]
    assert [b["code"] for b in plan["blocked"]] == ["cross_located"]
    stops = [s for s in plan["steps"] if s["stop"] is not None]
    assert [s["stop"] for s in stops] == ["cross_located"] and all("STOP" in s["title"] for s in stops)


def test_the_card_is_72_columns_of_ascii_in_both_unit_systems(client: Client) -> None:
    made = client.post("/v1/work-orders", order(asset=fan()))
    where = f"/v1/work-orders/{made.json['id']}/instructions"
    for units in ("inch", "metric"):
        card = client.get(f"{where}?units={units}&level=full", headers={"Accept": "text/plain"})
        assert card.content_type == "text/plain; charset=utf-8"
        assert card.data.isascii()
        assert max(len(line) for line in card.text.splitlines()) <= 72
        flat = " ".join(card.text.split())
        plan = client.get(f"{where}?units={units}").json
        texts = list(quantity_texts({key: plan[key] for key in ("targets", "arrangement", "bolting")}))
        assert len(texts) > 20
        for text in texts:
            assert text in flat, text
    narrow = client.get(f"{where}?width=40", headers={"Accept": "text/plain"}).text
    assert max(len(line) for line in narrow.splitlines()) <= 40
    assert client.get(f"{where}?width=39", headers={"Accept": "text/plain"}).status_code == 400


def quantity_texts(node: Any) -> Any:
    if isinstance(node, dict):
        if set(node) == {"value", "unit", "text"}:
            yield node["text"]
        else:
            for value in node.values():
                yield from quantity_texts(value)
    elif isinstance(node, list):
        for value in node:
            yield from quantity_texts(value)


def test_the_media_type_is_negotiated(client: Client) -> None:
    made = client.post("/v1/work-orders", order(asset=fan()))
    where = f"/v1/work-orders/{made.json['id']}/instructions"
    assert client.get(where, headers={"Accept": "text/plain;q=0.5, application/json"}).is_json
    refused = client.get(where, headers={"Accept": "image/png"})
    assert (refused.status_code, refused.json["code"]) == (406, "not_acceptable")
    as_json, as_text = client.get(where), client.get(where, headers={"Accept": "text/plain"})
    assert as_json.headers["ETag"] != as_text.headers["ETag"]
    for answer in (as_json, as_text):
        accept = answer.content_type.split(";")[0]
        held = client.get(where, headers={"Accept": accept, "If-None-Match": answer.headers["ETag"]})
        assert held.status_code == 304


def test_the_hash_and_the_values_do_not_depend_on_the_units(client: Client) -> None:
    made = client.post("/v1/work-orders", order(asset=fan()))
    where = f"/v1/work-orders/{made.json['id']}/instructions/1"
    inch, metric = client.get(f"{where}?units=inch").json, client.get(f"{where}?units=metric").json
    assert inch["sha256"] == metric["sha256"]
    low = [plan["targets"][0]["initial_clearance"]["min"] for plan in (inch, metric)]
    assert low[0]["value"] * 25.4 == pytest.approx(low[1]["value"], rel=1e-12)
    assert client.get(f"/v1/work-orders/{made.json['id']}/instructions/2").status_code == 404


def test_steps_come_as_csv(client: Client) -> None:
    made = client.post("/v1/work-orders", order(asset=fan()))
    rows = client.get(f"/v1/work-orders/{made.json['id']}/instructions/steps.csv").text.splitlines()
    assert len(rows) >= len(made.json["instructions"]["steps"]) + 1


def test_orders_are_listed_by_their_filters(client_on_each: Client) -> None:
    client = client_on_each
    client.post("/v1/work-orders", order("WO-1", asset=fan(), opened_at="2026-01-07T06:30:00Z"))
    later = {"opened_at": "2026-02-07T07:30:00+01:00", "allow_second": True}
    client.post("/v1/work-orders", order("WO-2", positions=["tail"], **later))

    def numbers(query: str) -> list[str]:
        return [item["external"]["number"] for item in client.get(f"/v1/work-orders?{query}").json["items"]]

    assert numbers("") == ["WO-1", "WO-2"]
    assert numbers("number=WO-2") == ["WO-2"]
    assert numbers("position=drive") == ["WO-1"]
    assert numbers("from=2026-02-07T06:30:00Z") == ["WO-2"]
    assert numbers("to=2026-02-07T06:30:00Z") == ["WO-1"]
    assert numbers("system=plant-b") == numbers("status=completed") == numbers("asset=NOT-THERE") == []
    assert "instructions" not in client.get("/v1/work-orders").json["items"][0]


def test_an_open_order_is_cancelled_once(client_on_each: Client) -> None:
    client = client_on_each
    made = client.post("/v1/work-orders", order(asset=fan())).json
    where = f"/v1/work-orders/{made['id']}/cancellation"
    cancelled = client.post(where, {"reason": "opened by mistake"})
    assert (cancelled.status_code, cancelled.json["status"]) == (200, "cancelled")
    assert cancelled.json["cancel_reason"] == "opened by mistake"
    again = client.post(where, {"reason": "twice"})
    assert (again.status_code, again.json["code"]) == (409, "work_order_not_open")
    assert client.get(f"/v1/work-orders/{made['id']}/instructions").status_code == 200


def test_twenty_twins_make_one_order(app_on_each: Flask, client_of: ClientMaker) -> None:
    client = client_of(app_on_each)
    client.post("/v1/assets", fan())
    answers: list[tuple[int, str]] = []

    def opened() -> None:
        own = Client(client.app, client.contract, client.key)
        answer = own.post("/v1/work-orders", order())
        answers.append((answer.status_code, answer.json.get("id", "")))

    threads = [threading.Thread(target=opened) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(status for status, _ in answers) == [200] * 19 + [201]
    assert len({order_id for _, order_id in answers}) == 1


def test_a_plan_that_was_tried_is_not_stored(client: Client) -> None:
    tried = client.post("/v1/work-orders?dry_run=true", order(asset=fan()))
    assert (tried.status_code, tried.headers["Dry-Run"]) == (201, "true")
    assert client.get("/v1/work-orders").json["items"] == client.get("/v1/assets").json["items"] == []
