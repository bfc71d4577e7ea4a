"""Outcomes of an order: a bearing that goes back in, one that was never on record, flags, a wrong outcome put right."""

from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.orders import (
    FITTER,
    FOREMAN,
    closing_readings,
    completion,
    initial,
    isolated,
    opened,
    ready_to_complete,
    sent,
)

LOOKED_AT: dict[str, Any] = {"damage": []}
REFIT: dict[str, Any] = {"outcome": "refitted", "removed": LOOKED_AT, "new_washer": True}
FAILED = {"end_type": "failed", "damage": [{"code": "wear.abrasive"}]}


def complete(client: Client, order: dict[str, Any], body: dict[str, Any]) -> Any:
    return client.post(f"/v1/work-orders/{order['id']}/completion", body)


def stays(client: Client) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = client.get("/v1/stays").json["items"]
    return items


def first_bearing(client: Client, *, serial: str = "N-1", **more: Any) -> dict[str, Any]:
    """The order that fitted the bearing which runs now."""
    order = opened(client, "WO-1")
    ready_to_complete(client, order["id"])
    done = complete(client, order, completion(installed={"serial": serial}) | more)
    assert done.status_code == 201, done.json
    return order | {"completion": done.json}


def ready_again(
    client: Client, number: str = "WO-2", *, clearance_in: float = 0.0040, refitted: bool
) -> dict[str, Any]:
    """A second order, every hold closed; the bearing that ran is measured as such where it goes back in."""
    order = opened(client, number)
    more = {"refitted": True} if refitted else {}
    answer = sent(client, order["id"], isolated(), initial("tail", clearance_in, **more))
    plan = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    aim = plan["targets"][0]["residual_clearance"]["max"]["value"]
    left = sent(client, order["id"], *closing_readings(answer["hold_points_open"], plan, clearance_in=aim))
    assert left["hold_points_open"] == []
    return order | {"plan": plan}


def at(year: int, **more: Any) -> dict[str, Any]:
    return completion(at=f"{year}-01-07T15:30:00Z", **more)


def test_a_bearing_that_goes_back_in_lives_on(client_on_each: Client) -> None:
    """Its old stay ends undamaged, a new one begins with its age: 1000 to 9000 h by the meter."""
    client = client_on_each
    first_bearing(client, meter_reading={"value": 1000, "unit": "h"})
    order = ready_again(client, refitted=True)
    done = complete(client, order, at(2021, **REFIT) | {"meter_reading": {"value": 9000, "unit": "h"}})
    assert done.status_code == 201, done.json
    old, new = stays(client)
    assert (old["end_type"], old["inspected"], old["damage"], old["operating_hours"]) == (
        "removed_other", True, None, 8000,
    )  # fmt: skip
    assert (new["serial"], new["designation"], new["end_type"]) == ("N-1", "22216 K/C3", "running")
    assert (new["age_at_install_h"], new["installed_at"]) == (8000, old["removed_at"])
    again = ready_again(client, "WO-3", refitted=False)
    done = complete(client, again, at(2022, removed=FAILED, installed={"serial": "N-2"})
                    | {"meter_reading": {"value": 12_000, "unit": "h"}})  # fmt: skip
    assert done.status_code == 201, done.json
    assert [stay["operating_hours"] for stay in stays(client)] == [8000, 11_000, None], "3000 h more, by the meter"
    counts = client.get("/v1/life-analysis").json["items"][0]["counts"]
    assert (counts["stays"], counts["failed"]) == (3, 1)


def test_without_a_meter_the_age_is_that_of_the_calendar(client: Client) -> None:
    first_bearing(client)
    order = ready_again(client, refitted=True)
    assert complete(client, order, at(2021, **REFIT)).status_code == 201
    assert stays(client)[1]["age_at_install_h"] == 366 * 24  # 2020 was a leap year


def test_a_bearing_that_ran_may_lie_one_blade_step_above_its_row(client: Client) -> None:
    """ISO 5753-1: C3 of bore 80 ends at 0.120 mm (0.0047 in); the next size of the inch blades above is 0.0050 in."""
    first_bearing(client)
    order = opened(client, "WO-2")
    new = sent(client, order["id"], initial("tail", 0.0050))["items"][0]
    assert new["verdict"] != "accept"
    worn = sent(client, order["id"], initial("tail", 0.0050, refitted=True))
    assert (worn["items"][0]["verdict"], worn["items"][0]["code"]) == ("accept", "worn_in")
    plan = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    target = plan["targets"][0]
    assert target["measured"]["position_in_range"] == 1.0
    assert "worn_in" in [each["code"] for each in plan["warnings"]]
    reduction, residual = target["reduction"], target["residual_clearance"]
    assert residual["aim"]["value"] == pytest.approx(0.0050 - reduction["max"]["value"], abs=1e-9), "judged with f = 1"
    far = sent(client, order["id"], initial("tail", 0.0055, refitted=True))["items"][0]
    assert (far["verdict"], far["code"]) == ("reject", "worn_too_far")


@pytest.mark.parametrize(
    ("change", "status", "code"),
    [
        ({"removed": {}}, 422, "damage_not_excluded"),
        ({"removed": {"damage": [{"code": "wear.abrasive"}]}}, 422, "damage_not_excluded"),
        ({"new_washer": False}, 422, "new_washer_needed"),
        ({"removed": {"damage": [], "serial": "N-7"}}, 422, "serial_differs"),
        ({"removed": {"damage": [], "end_type": "failed"}}, 422, "outcome_contradicts"),
        ({"installed": {"serial": "N-1"}}, 422, "outcome_contradicts"),
        ({"outcome": "replaced", "removed": FAILED, "new_washer": True}, 422, "outcome_contradicts"),
        ({"outcome": "inspected_only"}, 422, "outcome_contradicts"),
    ],
)
def test_a_bearing_that_may_not_go_back_in_is_refused(
    client: Client, change: dict[str, Any], status: int, code: str
) -> None:
    first_bearing(client)
    order = ready_again(client, refitted=True)
    refused = complete(client, order, at(2021, **{**REFIT, **change}))
    assert (refused.status_code, refused.json["code"]) == (status, code)
    assert [stay["end_type"] for stay in stays(client)] == ["running"]


def test_a_new_bearing_is_not_measured_as_an_old_one_nor_the_other_way_round(client: Client) -> None:
    first_bearing(client)
    as_new = ready_again(client, refitted=False)
    refused = complete(client, as_new, at(2021, **REFIT))
    assert (refused.status_code, refused.json["code"]) == (409, "not_measured_anew")
    as_old = ready_again(client, "WO-3", refitted=True)
    refused = complete(client, as_old, at(2021, installed={"serial": "N-2"}))
    assert (refused.status_code, refused.json["code"]) == (409, "measured_as_refitted")


@pytest.mark.parametrize("serial", ["N-1", " n-1 ", "N - 1"])
def test_the_same_bearing_sent_as_a_new_one_is_asked_about(client: Client, serial: str) -> None:
    first_bearing(client)
    order = ready_again(client, refitted=False)
    refused = complete(client, order, at(2021, removed=FAILED, installed={"serial": serial}))
    assert (refused.status_code, refused.json["code"]) == (422, "same_bearing")
    assert "refitted" in refused.json["detail"]


def test_a_bearing_that_was_never_on_record_is_kept_counted_and_told(client_on_each: Client) -> None:
    client = client_on_each
    order = opened(client)
    ready_to_complete(client, order["id"])
    done = complete(client, order, completion(removed={**FAILED, "serial": "OLD-1"}))
    assert [each["code"] for each in done.json["warnings"]] == ["removed_never_on_record"]
    (kept,) = done.json["set_aside_stays"]
    assert (kept["reason"], kept["id"]) == ("beginning_unknown", done.json["positions"][0]["unrecorded_stay"])
    assert (kept["stay"]["serial"], kept["stay"]["end_type"], kept["stay"]["damage"]) == (
        "OLD-1", "failed", "wear.abrasive",
    )  # fmt: skip
    assert [stay["end_type"] for stay in stays(client)] == ["running"], "no life is made of it"
    assert any("1 bearing of this site" in said for said in client.get("/v1/life-analysis").json["assumptions"])


def test_a_bearing_never_on_record_that_goes_back_in_begins_no_stay(client: Client) -> None:
    order = ready_again(client, "WO-1", refitted=True)
    done = complete(client, order, at(2020, **REFIT))
    assert [each["code"] for each in done.json["warnings"]] == ["refitted_never_on_record"]
    assert stays(client) == []


def test_flags_forbid_nothing_and_the_lead_acknowledges_them_by_name(client_on_each: Client) -> None:
    """All holds of the test are signed at one minute by one name."""
    client = client_on_each
    order = opened(client)
    ready_to_complete(client, order["id"])
    flagged = client.get(f"/v1/work-orders/{order['id']}").json["flags"]
    assert [(each["code"], each["persons"]) for each in flagged] == [("signed_in_one_go", [FITTER])]
    unknown = completion() | {"flags_acknowledged": {"by": FOREMAN, "flags": ["too_late"]}}
    refused = complete(client, order, unknown)
    assert (refused.status_code, refused.json["code"]) == (422, "unknown_flag")
    own = completion() | {"flags_acknowledged": {"by": FITTER, "flags": ["signed_in_one_go"]}}
    assert complete(client, order, own).json["code"] == "same_person"
    known = completion() | {"flags_acknowledged": {"by": FOREMAN, "flags": ["signed_in_one_go"]}}
    done = complete(client, order, known)
    assert [(each["code"], each["acknowledged_by"]) for each in done.json["flags"]] == [("signed_in_one_go", FOREMAN)]
    assert client.get(f"/v1/work-orders/{order['id']}/completion").json["flags"] == done.json["flags"]


def test_an_order_closes_with_flags_that_nobody_acknowledged(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    done = complete(client, order, completion(at="2020-01-07T09:00:00Z"))
    found = {each["code"]: each["acknowledged_by"] for each in done.json["flags"]}
    assert found == {"signed_in_one_go": None, "completed_before_reading": None}


def correct(
    client: Client, order: dict[str, Any], done: dict[str, Any], *positions: dict[str, Any], **more: Any
) -> Any:
    body = {"corrects": done["id"], "reason": "the wrong line was ticked", "corrected_by": FOREMAN}
    return client.post(f"/v1/work-orders/{order['id']}/corrections", {**body, "positions": list(positions), **more})


def test_a_replacement_that_never_was_is_struck_out_and_the_old_stay_runs_on(client_on_each: Client) -> None:
    client = client_on_each
    first_bearing(client)
    order = ready_again(client, refitted=False)
    done = complete(client, order, at(2021, removed=FAILED, installed={"serial": "N-2"})).json
    begun = done["positions"][0]["begun_stay"]
    right = correct(client, order, done, {"position": "tail", "outcome": "inspected_only"})
    assert right.status_code == 201, right.json
    (outcome,) = right.json["outcomes"]
    assert (outcome["before"], outcome["outcome"], outcome["struck_out"]) == ("replaced", "inspected_only", begun)
    (stay,) = stays(client)
    assert (stay["serial"], stay["end_type"], stay["removed_at"], stay["damage"], stay["inspected"]) == (
        "N-1", "running", None, None, None,
    )  # fmt: skip
    kept = client.get(f"/v1/work-orders/{order['id']}/completion").json
    assert [(each["id"], each["reason"]) for each in kept["set_aside_stays"]] == [(begun, "struck_out")]
    assert kept["set_aside_stays"][0]["stay"]["serial"] == "N-2", "kept and shown"
    assert kept["positions"][0]["outcome"] == "replaced", "the completion itself stands as it was sent"
    events = [each["type"] for each in client.get("/v1/events?limit=500").json["items"]]
    assert any(each.endswith("stay.struck_out") for each in events)


def test_the_same_bearing_sent_without_serials_is_put_right_as_refitted(client: Client) -> None:
    first_bearing(client, meter_reading={"value": 1000, "unit": "h"})
    order = ready_again(client, refitted=True)
    undone = complete(client, order, at(2021, outcome="not_done")).json
    right = correct(client, order, undone, {"position": "tail", **REFIT})
    assert right.status_code == 201, right.json
    assert [(stay["end_type"], stay["serial"]) for stay in stays(client)] == [
        ("removed_other", "N-1"),
        ("running", "N-1"),
    ]
    back = correct(client, order, right.json, {"position": "tail", "outcome": "not_done"})
    assert back.status_code == 201, back.json
    assert [stay["end_type"] for stay in stays(client)] == ["running"]


def test_a_wrong_outcome_stays_where_later_work_stands_on_it(client: Client) -> None:
    first = first_bearing(client)
    opened(client, "WO-2")
    refused = correct(client, first, first["completion"], {"position": "tail", "outcome": "not_done"})
    assert (refused.status_code, refused.json["code"]) == (409, "later_work")
    assert [stay["end_type"] for stay in stays(client)] == ["running"]


def test_a_right_outcome_that_asks_for_more_than_was_read_is_refused_whole(client_on_each: Client) -> None:
    client = client_on_each
    order = opened(client)
    done = complete(client, order, completion(outcome="not_done")).json
    refused = correct(client, order, done, {"position": "tail", "outcome": "replaced"})
    assert (refused.status_code, refused.json["code"]) == (409, "hold_points_open")
    assert stays(client) == []


def test_the_machine_on_record_carries_the_bearing_that_runs_in_it_again(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    step = {"step": "check-parts", "reason": "C4 was all there was; its maker was asked", "approved_by": FOREMAN}
    client.post(f"/v1/work-orders/{order['id']}/deviations", step)
    done = complete(client, order, completion(removed=LOOKED_AT, installed={"designation": "22216 K/C4"})).json
    assert correct(client, order, done, {"position": "tail", "outcome": "not_done"}).status_code == 201
    machine = client.get(f"/v1/assets/{order['asset_id']}").json
    assert machine["shafts"][0]["positions"][0]["bearing"]["designation"] == "22216 K/C3"
    assert client.get(f"/v1/work-orders/{order['id']}/completion").json["set_aside_stays"][0]["reason"] == "struck_out"
    assert not any("never on record" in said for said in client.get("/v1/life-analysis").json["assumptions"])
