"""Completing an order: the mechanic's story, stays, corrections, and that it happens once."""

import threading
from typing import Any

import pytest
from flask import Flask

from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import inches
from tests.api.samples.machines import order as order_of
from tests.api.samples.orders import (
    FOREMAN,
    closing_readings,
    completion,
    initial,
    isolated,
    known_fan,
    opened,
    reading,
    ready_to_complete,
    residual,
    sent,
)

FAILED = {
    "end_type": "failed",
    "serial": "OLD-1",
    "damage": [{"code": "5.1.2", "component": "inner_ring", "primary": True}, {"code": "wear.abrasive"}],
    "cause": "water in the grease",
}


def complete(client: Client, order: dict[str, Any], body: dict[str, Any]) -> Any:
    return client.post(f"/v1/work-orders/{order['id']}/completion", body)


def completed(client: Client, number: str, *, at: str, **more: Any) -> dict[str, Any]:
    """An order that was opened, closed at all hold points, and completed."""
    order = opened(client, number)
    assert ready_to_complete(client, order["id"]) == []
    answer = complete(client, order, completion(at=at, **more))
    assert answer.status_code == 201, answer.json
    return order | {"completion": answer.json}


def stays(client: Client) -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = client.get("/v1/stays").json["items"]
    return items


def test_the_mechanic_s_story(client_on_each: Client) -> None:
    """Open, measure, reduce, too tight, start again, accept, torque, complete; the stay says how it was mounted."""
    client = client_on_each
    order = opened(client)
    refused = complete(client, order, completion())
    assert (refused.status_code, refused.json["code"]) == (409, "hold_points_open")
    asked = [
        (step["number"], position)
        for step in order["instructions"]["steps"]
        for position in step["positions"] or [None]
        if step["hold"] is not None
    ]
    assert [(point["step"], point["position"]) for point in refused.json["hold_points_open"]] == asked

    sent(client, order["id"], isolated(), initial("tail", 0.0040, 0.0040))
    loose = sent(client, order["id"], residual("tail", 0.0030, 0.0030))["items"][0]
    assert (loose["code"], "small steps" in loose["next"]) == ("too_loose", True)
    tight = sent(client, order["id"], residual("tail", 0.0015, 0.0015))["items"][0]
    assert (tight["code"], "leave it on" in tight["next"]) == ("too_tight", True)
    assert sent(client, order["id"], residual("tail", 0.0025, 0.0025))["items"][0]["verdict"] == "reject"
    sent(client, order["id"], initial("tail", 0.0040, 0.0040))
    left = sent(client, order["id"], residual("tail", 0.0025, 0.0025, instrument="blades 14"))["hold_points_open"]
    plan = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    assert sent(client, order["id"], *closing_readings(left, plan))["hold_points_open"] == []

    done = complete(client, order, completion(removed=FAILED, installed={"serial": "NEW-1", "manufacturer": "M"}))
    # measured anew after it was too tight, and the same: the instructions in force already say what to leave
    assert (done.status_code, done.json["status"], done.json["revision"]) == (201, "completed", 2)
    assert client.get(f"/v1/work-orders/{order['id']}").json["status"] == "completed"
    assert client.get(f"/v1/work-orders/{order['id']}/completion").json == done.json
    (stay,) = stays(client)
    assert (stay["asset"], stay["position"], stay["designation"], stay["serial"], stay["end_type"]) == (
        "DRY-2-FAN", "tail", "22216 K/C3", "NEW-1", "running",
    )  # fmt: skip
    assert stay["installed_at"] == "2020-01-07T15:30:00.000000Z" and stay["removed_at"] is None
    # 0.0040 in, 0.0025 in and the window 0.0020 to 0.0025 in, in mm by 25.4
    assert stay["initial_clearance_mm"] == pytest.approx(0.1016, abs=1e-9)
    assert stay["residual_clearance_mm"] == pytest.approx(0.0635, abs=1e-9)
    assert (stay["window_min_mm"], stay["window_max_mm"]) == pytest.approx((0.0508, 0.0635), abs=1e-9)
    assert (stay["work_order"], stay["installed_by"]) == ("WO-1", "A. Fitter")
    # 2 11/16 in under a sleeve: 0 and -0.004 in (common practice), measured at the lower limit
    shaft = [stay[name] for name in ("shaft_diameter_mm", "shaft_min_mm", "shaft_max_mm")]
    assert shaft == pytest.approx([68.1609, 68.1609, 68.2625], abs=1e-9)


def test_a_shaft_outside_its_limits_that_a_deviation_lets_pass_stays_on_record(client_on_each: Client) -> None:
    client = client_on_each
    order = opened(client)
    ready_to_complete(client, order["id"])
    worn = reading("shaft_diameter", "tail", inches(2.6830), inches(2.6860))
    assert [item["code"] for item in sent(client, order["id"], worn)["items"]] == ["shaft_too_small"]
    approval = {"step": "shaft-size", "position": "tail", "reason": "repaired next week", "approved_by": FOREMAN}
    assert client.post(f"/v1/work-orders/{order['id']}/deviations", approval).status_code == 201
    assert complete(client, order, completion()).status_code == 201
    (stay,) = stays(client)
    assert stay["shaft_diameter_mm"] == pytest.approx(2.6830 * 25.4, abs=1e-9)
    fit = client.get("/v1/mounting-quality").json["items"][2]
    assert fit["name"] == "fit" and [one["stays"] for one in fit["bins"]] == [1, 0, 0, 0]


def test_a_second_replacement_ends_the_first_stay(client_on_each: Client) -> None:
    client = client_on_each
    at_first, at_second = {"value": 1000, "unit": "h"}, {"value": 18_250, "unit": "h"}
    order = opened(client, "WO-1")
    ready_to_complete(client, order["id"])
    complete(client, order, completion(at="2020-01-07T15:30:00Z") | {"meter_reading": at_first})
    order = opened(client, "WO-2")
    ready_to_complete(client, order["id"])
    done = complete(client, order, completion(at="2022-01-07T15:30:00Z", removed=FAILED) | {"meter_reading": at_second})
    assert done.status_code == 201
    old, new = stays(client)
    assert (old["end_type"], old["removed_at"], old["inspected"]) == ("failed", "2022-01-07T15:30:00.000000Z", True)
    assert old["damage"] == "rolling_contact_fatigue.subsurface_initiated|wear.abrasive"
    assert (old["operating_hours"], old["cause"]) == (17_250, "water in the grease")
    assert new["installed_at"] == old["removed_at"] and new["removed_at"] is None
    assert done.json["positions"][0]["ended_stay"] == old["id"]
    assert client.get("/v1/stays?end_type=running").json["items"] == [new]
    assert client.get("/v1/stays?position=drive").json["items"] == []


@pytest.mark.parametrize(
    ("removed", "inspected", "damage", "end_type"),
    [
        (None, None, None, "unknown"),
        ({"end_type": "removed_preventive"}, None, None, "removed_preventive"),
        ({"end_type": "removed_preventive", "damage": []}, True, None, "removed_preventive"),
        ({"end_type": "removed_condition", "inspected": False}, False, None, "removed_condition"),
        ({"end_type": "failed", "damage": [{"code": "fretting"}]}, True, "corrosion.frictional.fretting", "failed"),
    ],
)
def test_whether_a_bearing_was_looked_at_is_kept(
    client: Client, removed: Any, inspected: bool | None, damage: str | None, end_type: str
) -> None:
    """Rule H1: removed undamaged is something else than removed and not looked at."""
    completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    more = {} if removed is None else {"removed": removed}
    completed(client, "WO-2", at="2021-01-07T15:30:00Z", **more)
    old = stays(client)[0]
    assert (old["inspected"], old["damage"], old["end_type"]) == (inspected, damage, end_type)


def test_an_order_in_which_nothing_was_done_changes_no_stay(client_on_each: Client) -> None:
    order = opened(client_on_each)
    done = complete(client_on_each, order, completion(outcome="not_done"))
    assert (done.status_code, stays(client_on_each)) == (201, [])


def test_an_inspection_ends_nothing(client: Client) -> None:
    completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    order = opened(client, "WO-2", kind="inspection")
    refused = complete(client, order, completion(at="2020-06-07T15:30:00Z"))
    assert (refused.status_code, refused.json["code"]) == (409, "outcome_not_planned")
    still = complete(client, order, completion(at="2020-06-07T15:30:00Z", outcome="inspected_only"))
    assert still.json["code"] == "hold_points_open"
    sent(client, order["id"], *closing_readings(still.json["hold_points_open"], order["instructions"]))
    done = complete(client, order, completion(at="2020-06-07T15:30:00Z", outcome="inspected_only"))
    assert done.status_code == 201
    assert [stay["end_type"] for stay in stays(client)] == ["running"]


@pytest.mark.parametrize(
    ("positions", "code", "pointer"),
    [
        ([], "invalid", "#/positions"),
        ([{"position": "nose", "outcome": "replaced"}], "unknown_position", "#/positions/0/position"),
        ([{"position": "tail", "outcome": "replaced"}] * 2, "position_named_twice", "#/positions/1/position"),
        ([{"position": "tail", "outcome": "vanished"}], "unknown_choice", "#/positions/0/outcome"),
        (
            [{"position": "tail", "outcome": "not_done", "installed": {}}],
            "outcome_contradicts",
            "#/positions/0/installed",
        ),
        (
            [{"position": "tail", "outcome": "replaced", "removed": {"end_type": "running"}}],
            "unknown_choice",
            "#/positions/0/removed/end_type",
        ),
        (
            [{"position": "tail", "outcome": "replaced", "removed": {"damage": [{"code": "9.9"}]}}],
            "unknown_damage",
            "#/positions/0/removed/damage/0/code",
        ),
        (
            [{"position": "tail", "outcome": "replaced", "installed": {"designation": "X"}}],
            "unknown_designation",
            "#/positions/0/installed/designation",
        ),
    ],
)
def test_a_completion_that_cannot_be_read_is_refused(
    client: Client, positions: list[Any], code: str, pointer: str
) -> None:
    order = opened(client)
    refused = complete(client, order, completion() | {"positions": positions})
    assert refused.status_code == 422
    assert (refused.json["errors"][0]["code"], refused.json["errors"][0]["pointer"]) == (code, pointer)
    assert client.get(f"/v1/work-orders/{order['id']}").json["status"] == "open"


def test_every_position_of_the_order_has_an_outcome(client: Client) -> None:
    both = client.post("/v1/work-orders", order_of(asset=known_fan())).json
    refused = complete(client, both, completion())
    assert (refused.status_code, refused.json["code"]) == (422, "position_left_out")
    assert "drive" in refused.json["detail"]


def test_another_bearing_than_planned_needs_a_deviation(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    body = completion(installed={"designation": "22216 K/C4"})
    refused = complete(client, order, body)
    assert (refused.status_code, refused.json["code"]) == (409, "installed_differs")
    same = completion(installed={"designation": "22216-k-c3"})
    assert complete(client, order, same).json["positions"][0]["installed"]["designation"] == "22216 K/C3"


def test_a_deviation_lets_another_bearing_stand(client: Client) -> None:
    order = opened(client)
    ready_to_complete(client, order["id"])
    step = {"step": "check-parts", "reason": "C4 was all there was; its maker was asked", "approved_by": FOREMAN}
    assert client.post(f"/v1/work-orders/{order['id']}/deviations", step).status_code == 201
    done = complete(client, order, completion(installed={"designation": "22216 K/C4"}))
    assert (done.status_code, stays(client)[0]["designation"]) == (201, "22216 K/C4")
    machine = client.get(f"/v1/assets/{order['asset_id']}").json
    bearings = {p["name"]: p["bearing"]["designation"] for p in machine["shafts"][0]["positions"]}
    assert bearings == {"tail": "22216 K/C4", "drive": "22216 K/C3"}, "the next order must know what runs there now"
    assert machine["version"] == 2


def test_a_removal_before_the_installation_is_refused_whole(client_on_each: Client) -> None:
    client = client_on_each
    completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    order = opened(client, "WO-2")
    ready_to_complete(client, order["id"])
    refused = complete(client, order, completion(at="2019-01-07T15:30:00Z", removed=FAILED))
    assert (refused.status_code, refused.json["code"]) == (409, "removed_before_installed")
    assert [stay["end_type"] for stay in stays(client)] == ["running"]
    assert client.get(f"/v1/work-orders/{order['id']}").json["status"] == "open"


def test_an_order_is_completed_once(client_on_each: Client) -> None:
    client = client_on_each
    order = completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    again = complete(client, order, completion())
    assert (again.status_code, again.json["code"]) == (409, "work_order_not_open")
    refused = client.post(f"/v1/work-orders/{order['id']}/cancellation", {"reason": "too late"})
    assert refused.json["code"] == "work_order_not_open"
    assert len(stays(client)) == 1


def test_a_completion_sent_twice_with_one_key_is_one(client_on_each: Client) -> None:
    order = opened(client_on_each)
    ready_to_complete(client_on_each, order["id"])
    where, headers = f"/v1/work-orders/{order['id']}/completion", {"Idempotency-Key": "done-1"}
    first = client_on_each.post(where, completion(), headers=headers)
    again = client_on_each.post(where, completion(), headers=headers)
    assert (first.status_code, again.status_code, first.json == again.json) == (201, 201, True)
    assert again.headers["Idempotency-Replayed"] == "true"
    assert len(stays(client_on_each)) == 1


def test_twenty_threads_complete_one_order_once(app_on_each: Flask, client_of: ClientMaker) -> None:
    client = client_of(app_on_each)
    completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    order = opened(client, "WO-2")
    ready_to_complete(client, order["id"])
    answers: list[tuple[int, str]] = []

    def one() -> None:
        own = Client(client.app, client.contract, client.key)
        answer = complete(own, order, completion(at="2021-01-07T15:30:00Z", removed=FAILED))
        answers.append((answer.status_code, answer.json.get("code", "")))

    threads = [threading.Thread(target=one) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == [(201, "")] + [(409, "work_order_not_open")] * 19
    assert [stay["end_type"] for stay in stays(client)] == ["failed", "running"]


def correct(client: Client, order: dict[str, Any], corrects: str, **more: Any) -> Any:
    body = {"corrects": corrects, "reason": "read from the wrong ring", "corrected_by": FOREMAN, **more}
    return client.post(f"/v1/work-orders/{order['id']}/corrections", body)


def test_a_correction_names_what_it_corrects_and_keeps_both_values(client_on_each: Client) -> None:
    client = client_on_each
    order = completed(client, "WO-1", at="2020-01-07T15:30:00Z", installed={"serial": "N-4711"})
    first_id = order["completion"]["id"]
    named = [{"position": "tail", "installed": {"serial": "N-4712"}}]
    first = correct(client, order, first_id, positions=named)
    assert first.status_code == 201
    (change,) = first.json["changes"]
    assert (change["member"], change["before"], change["after"]) == ("serial", "N-4711", "N-4712")
    assert stays(client)[0]["serial"] == "N-4712"
    twice = correct(client, order, first_id, positions=named)
    assert (twice.status_code, twice.json["code"], twice.json["existing"]) == (
        409,
        "already_corrected",
        first.json["id"],
    )
    second = correct(client, order, first.json["id"], completed_at="2020-01-08T06:00:00Z")
    assert second.status_code == 201
    assert stays(client)[0]["installed_at"] == "2020-01-08T06:00:00.000000Z"
    read = client.get(f"/v1/work-orders/{order['id']}/completion").json
    assert read["positions"][0]["installed"] == {"serial": "N-4711"}, "the completion itself stands as it was sent"
    assert [each["id"] for each in read["corrections"]] == [first.json["id"], second.json["id"]]


@pytest.mark.parametrize("at", ["2020-12-24T12:00:00Z", "2021-02-02T12:00:00Z"])
def test_the_time_of_a_replacement_is_moved_without_a_gap_or_an_overlap(client_on_each: Client, at: str) -> None:
    client = client_on_each
    completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    order = completed(client, "WO-2", at="2021-01-07T15:30:00Z", removed=FAILED)
    assert correct(client, order, order["completion"]["id"], completed_at=at).status_code == 201
    old, new = stays(client)
    assert old["removed_at"] == new["installed_at"] == at.replace("Z", ".000000Z")


def test_damage_is_corrected_and_the_rest_stands(client: Client) -> None:
    completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    order = completed(client, "WO-2", at="2021-01-07T15:30:00Z", removed=FAILED)
    named = [{"position": "tail", "removed": {"damage": [{"code": "5.4.3"}]}}]
    assert correct(client, order, order["completion"]["id"], positions=named).status_code == 201
    old = stays(client)[0]
    assert (old["damage"], old["end_type"], old["cause"]) == (
        "electrical_erosion.current_leakage", "failed", "water in the grease",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"corrects": "01900000-0000-7000-8000-000000000000"}, "unknown_entry"),
        ({"positions": [{"position": "nose", "installed": {"serial": "1"}}]}, "unknown_position"),
        ({"positions": [{"position": "tail", "removed": {"serial": "1"}}]}, "not_replaced"),
        ({"positions": [{"position": "tail", "installed": {"designation": "X"}}]}, "unknown_designation"),
    ],
)
def test_a_correction_of_nothing_is_refused(client: Client, more: dict[str, Any], code: str) -> None:
    order = completed(client, "WO-1", at="2020-01-07T15:30:00Z")
    refused = correct(client, order, **{"corrects": order["completion"]["id"], **more})
    assert (refused.status_code, refused.json["code"]) == (422, code)


def test_an_open_order_has_nothing_to_correct(client: Client) -> None:
    order = opened(client)
    refused = correct(client, order, "01900000-0000-7000-8000-000000000000")
    assert (refused.status_code, refused.json["code"]) == (409, "work_order_not_completed")
    assert client.get(f"/v1/work-orders/{order['id']}/completion").status_code == 404


def test_another_site_sees_no_stays(app: Flask, client_of: ClientMaker) -> None:
    completed(client_of(app), "WO-1", at="2020-01-07T15:30:00Z")
    assert stays(client_of(app, "BIRCH")) == []


def test_times_of_a_completion_come_back_in_utc(client: Client) -> None:
    order = completed(client, "WO-1", at="2020-01-07T16:30:00+01:00")
    assert order["completion"]["completed_at"] == "2020-01-07T15:30:00.000000Z"
    assert client.get("/v1/work-orders").json["items"][0]["closed_at"] == "2020-01-07T15:30:00.000000Z"
