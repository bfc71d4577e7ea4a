"""What was set here before, and a second open order on the same position; invented."""

from typing import Any

import pytest
from flask import Flask

from service.use_cases.checks.verification import verify_revisions
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import completion, opened, ready_to_complete

FAILED = {"end_type": "failed", "damage": [{"code": "wear.abrasive"}], "cause": "water in the grease"}


def completed(client: Client, number: str, at: str, **more: Any) -> dict[str, Any]:
    """Return an order that was done in full."""
    made = opened(client, number, **more)
    assert ready_to_complete(client, made["id"]) == []
    removed = {"removed": FAILED} if number != "WO-1" else {}
    done = client.post(f"/v1/work-orders/{made['id']}/completion", completion(at=at, **removed))
    assert done.status_code == 201, done.text
    return made


def test_nothing_is_said_where_no_bearing_was_on_record(client: Client) -> None:
    assert opened(client)["instructions"]["last_time"] == []


def test_the_plan_says_what_was_read_and_set_here_before_and_what_is_otherwise_now(client_on_each: Client) -> None:
    client = client_on_each
    first = completed(client, "WO-1", "2020-01-07T15:30:00Z")
    second = opened(client, "WO-2", asset="DRY-2-FAN")
    [last] = second["instructions"]["last_time"]
    assert (last["position"], last["bearing"]["end_type"]) == ("tail", "running")
    assert (last["order"]["id"], last["order"]["number"]) == (first["id"], "WO-1")
    assert last["order"]["completed_by"] == "A. Fitter"
    read = {each["kind"]: each for each in last["read"]}
    assert read["residual_clearance"]["values"][0]["value"]["value"] == 0.0025
    assert read["initial_clearance"]["taken_by"] == "A. Fitter"
    assert (last["set"]["role"], last["set"]["clearance_class"]) == ("free", "C3")
    assert last["set"]["cap_torque"]["text"].startswith("110 lbf.ft")
    assert last["differs"] == []
    named = [{"name": "tail", "bearing": {"designation": "22216 K/C4"}}]
    third = client.post("/v1/work-orders", order("WO-3", positions=named, allow_second=True)).json
    [last] = third["instructions"]["last_time"]
    differs = {each["what"]: (each["before"], each["now"]) for each in last["differs"]}
    assert differs["clearance_class"] == ("C3", "C4")
    assert differs["designation"] == ("22216 K/C3", "22216 K/C4")


def test_it_says_how_the_bearing_before_ended_and_how_long_it_ran(client: Client) -> None:
    """A year of 365 days is 8,760 h."""
    completed(client, "WO-1", "2020-01-07T15:30:00Z")
    completed(client, "WO-2", "2021-01-06T15:30:00Z", asset="DRY-2-FAN")
    [last] = opened(client, "WO-3", asset="DRY-2-FAN")["instructions"]["last_time"]
    assert last["replaced"] == {"end_type": "failed", "damage": ["wear.abrasive"], "cause": "water in the grease"}
    assert last["bearing"]["calendar_hours"] > 8760


def test_what_is_said_of_the_last_time_can_be_verified(app: Flask, client: Client) -> None:
    """It stands in the inputs of the revision: computing the plan again gives the same, whatever happened since."""
    completed(client, "WO-1", "2020-01-07T15:30:00Z")
    opened(client, "WO-2", asset="DRY-2-FAN")
    ready_to_complete(client, opened(client, "WO-3", asset="DRY-2-FAN", allow_second=True)["id"])
    [alder, _] = verify_revisions(app.extensions["capsaddle"].database)
    assert alder.different is None
    assert alder.computed >= 4


def test_a_second_open_order_on_a_position_is_told(client_on_each: Client) -> None:
    client = client_on_each
    first = client.post("/v1/work-orders", order(asset=fan())).json
    refused = client.post("/v1/work-orders", order("WO-2", positions=["tail"]))
    assert (refused.status_code, refused.json["code"]) == (409, "position_has_open_order")
    assert refused.json["existing"] == first["id"]
    assert "WO-1" in refused.json["detail"]
    assert len(client.get("/v1/work-orders").json["items"]) == 1
    allowed = client.post("/v1/work-orders", order("WO-2", positions=["tail"], allow_second=True))
    assert allowed.status_code == 201
    again = client.post("/v1/work-orders", order("WO-2", positions=["tail"]))
    assert (again.status_code, again.json["id"]) == (200, allowed.json["id"])


def test_an_order_that_is_closed_stands_in_nobody_s_way(client: Client) -> None:
    first = client.post("/v1/work-orders", order(asset=fan())).json
    client.post(f"/v1/work-orders/{first['id']}/cancellation", {"reason": "not needed"})
    assert client.post("/v1/work-orders", order("WO-2")).status_code == 201


@pytest.mark.parametrize("wrong", ["yes", 1, None])
def test_allowing_a_second_one_is_true_or_false(client: Client, wrong: Any) -> None:
    assert client.post("/v1/work-orders", order(asset=fan(), allow_second=wrong)).status_code == 422
