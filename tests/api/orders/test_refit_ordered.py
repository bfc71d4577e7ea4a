"""A bearing that goes back in: known from the order or from the office, and not only from how it was measured."""

from typing import Any

from tests.api.orders.test_outcomes import REFIT, at, complete, first_bearing, stays
from tests.api.samples.checked import Client
from tests.api.samples.machines import order
from tests.api.samples.orders import closing_readings, initial, isolated, known_fan, reading, sent

TAIL_BACK = {"name": "tail", "refit": True}


def refitted_plan(plan: dict[str, Any]) -> bool:
    """Whether a plan looks an old bearing over and fits no new one."""
    looked = next(each for each in plan["steps"] if each["id"] == "keep-bearing")
    parts = [each["kind"] for each in plan["planning"]["parts"]]
    return "Look the bearing over" in looked["title"] and "bearing" not in parts


def opened_to_refit(client: Client) -> dict[str, Any]:
    made = client.post("/v1/work-orders", order("WO-2", asset=known_fan(), positions=[TAIL_BACK], allow_second=True))
    assert made.status_code == 201, made.json
    body: dict[str, Any] = made.json
    return body


def test_an_order_to_refit_has_the_plan_of_one_before_anything_is_measured(client: Client) -> None:
    made = opened_to_refit(client)
    assert refitted_plan(made["instructions"])
    read = sent(client, made["id"], initial("tail", 0.0050))
    assert (read["items"][0]["verdict"], read["items"][0]["code"]) == ("accept", "worn_in"), "judged as a used one"


def test_a_bearing_ordered_to_go_back_in_is_completed_as_such(client_on_each: Client) -> None:
    client = client_on_each
    first_bearing(client)
    made = opened_to_refit(client)
    still = sent(client, made["id"], isolated(), initial("tail", 0.0040))["hold_points_open"]
    plan = client.get(f"/v1/work-orders/{made['id']}/instructions").json
    assert refitted_plan(plan)
    sent(client, made["id"], *closing_readings(still, plan))
    assert complete(client, made, at(2021, **REFIT)).status_code == 201
    assert [each["end_type"] for each in stays(client)] == ["removed_other", "running"]


def test_the_office_answers_that_the_own_bearing_goes_back_in_or_that_a_new_one_comes(client: Client) -> None:
    made = client.post("/v1/work-orders", order("WO-1", asset=known_fan(), positions=["tail"])).json
    path = f"/v1/work-orders/{made['id']}"
    for value, back in (({"refit": True}, True), ({"bearing": {"designation": "22216 K/C3"}}, False)):
        answer = {"question": "R1", "position": "tail", "value": value, "answered_by": "S. Keeper"}
        assert client.post(f"{path}/answers", {"answers": [answer]}).status_code == 201
        assert refitted_plan(client.get(f"{path}/instructions").json) is back


def test_a_new_bearing_and_the_old_one_at_once_are_refused(client: Client) -> None:
    both = {**TAIL_BACK, "bearing": {"designation": "22216 K/C3"}}
    refused = client.post("/v1/work-orders", order("WO-1", asset=known_fan(), positions=[both]))
    assert (refused.status_code, refused.json["code"]) == (422, "refit_or_bearing")
    made = client.post("/v1/work-orders", order("WO-1", asset=known_fan(), positions=["tail"])).json
    value = {"refit": True, "bearing": {"designation": "22216 K/C3"}}
    answer = {"question": "R1", "position": "tail", "value": value, "answered_by": "S. Keeper"}
    assert client.post(f"/v1/work-orders/{made['id']}/answers", {"answers": [answer]}).status_code == 422


def test_the_class_on_the_ring_is_read_all_the_same(client: Client) -> None:
    made = opened_to_refit(client)
    item = sent(client, made["id"], reading("class_read", "tail", "C4"))["items"][0]
    assert (item["verdict"], item["code"]) == ("reject", "class_differs")
