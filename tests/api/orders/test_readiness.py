"""Readiness of an order: questions, answers that become facts, release; invented machines and people."""

from typing import Any

import pytest
from flask import Flask

from service.store.queries.sites import change_settings
from tests.api.conftest import ClientMaker
from tests.api.samples.checked import Client
from tests.api.samples.machines import fan, order
from tests.api.samples.orders import isolated

PLANNER = "C. Planner"


def opened(client: Client, **more: Any) -> dict[str, Any]:
    made = client.post("/v1/work-orders", order(asset=fan(), **more))
    assert made.status_code == 201, made.text
    body: dict[str, Any] = made.json
    return body


def given(question: str, value: Any, position: str | None = None, **more: Any) -> dict[str, Any]:
    place = {} if position is None else {"position": position}
    return {"question": question, **place, "value": value, "answered_by": PLANNER, **more}


def answered(client: Client, made: dict[str, Any], *answers: dict[str, Any]) -> dict[str, Any]:
    kept = client.post(f"/v1/work-orders/{made['id']}/answers", {"answers": list(answers)})
    assert kept.status_code == 201, kept.text
    body: dict[str, Any] = kept.json
    return body


def degc(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "degC"}


def status(client: Client, made: dict[str, Any], question: str, position: str | None = None) -> str:
    found = client.get(f"/v1/work-orders/{made['id']}/readiness").json["questions"]
    [said] = {each["status"] for each in found if each["id"] == question and position in (None, each["position"])}
    return str(said)


LIFTING = {"rotor_mass": {"value": 540, "unit": "kg"}, "lifting_plan": "LP-7", "isolation_points": ["MCC 4, drawer 12"]}
LEVEL = {"inclination": {"value": 0, "unit": "deg"}}
EACH = {
    "R1": {"bearing": {"designation": "22216 K/C3"}},
    "R2": {"seat": "adapter_sleeve", "sleeve_thread": "inch"},
    "R3": {"shaft_diameter": {"value": 2.6875, "unit": "in"}},
    "R4": {"housing": {"size": "516", "dimensions": "inch"}},
    "R5": {
        "locating": "drive",
        "locknut_sides": [{"position": "tail", "side": "minus"}, {"position": "drive", "side": "plus"}],
    },
    "R6": {"temperature_difference": {"value": 10, "unit": "K"}, "hollow": False},
    "R7": {
        "speed": {"value": 980, "unit": "rpm"},
        "radial_load": {"value": 7, "unit": "kN"},
        "load_direction": "down",
    },
    "R8": {"lubrication": "grease", "grease": "lithium complex NLGI 2"},
    "R9": {
        "torque": {"value": 110, "unit": "lbf.ft"},
        "bolts": {"thread": "5/8-11 UNC", "grade": "SAE J429 5", "count": 2, "lubrication": "oiled"},
    },
    "R10": {"base_movement": "pinned", "base_torque": {"value": 150, "unit": "N.m"}},
    "R12": {"stop_limit": {"value": 95, "unit": "degC"}},
    "R13": {"at_hand": True},
    "R14": LIFTING,
    "R15": {"in_the_way": [{"name": "coupling half", "keyed": True}]},
    "R16": LEVEL,
    "R17": {"in_store": True},
}


def test_every_question_is_closed_by_its_answer_and_the_order_is_released_then(client_on_each: Client) -> None:
    client = client_on_each
    made = opened(client)
    assert not made["readiness"]["released"]
    kept = answered(client, made, *(given(question, value) for question, value in EACH.items()))
    assert kept["readiness"]["red_open"] == [] and kept["readiness"]["amber_open"] == []
    assert kept["readiness"]["released"]
    assert kept["revision"] == 2
    assert {each["made_revision"] for each in kept["items"]} == {2}
    whole = client.get(f"/v1/work-orders/{made['id']}/readiness").json
    assert {each["id"] for each in whole["questions"]} == {f"R{n}" for n in range(1, 18)}
    assert {each["answer"]["answered_by"] for each in whole["questions"] if each["answer"]} == {PLANNER}
    now = client.get(f"/v1/work-orders/{made['id']}").json
    assert now["readiness"]["released"] and now["revision"] == 2
    assert now["instructions"]["readiness"] == [
        {name: value for name, value in each.items() if name != "answer"} for each in whole["questions"]
    ]


def test_an_answer_is_a_fact_of_the_machine_with_its_event(client: Client) -> None:
    made = opened(client)
    answered(client, made, given("R3", EACH["R3"], "tail"), given("R12", EACH["R12"]), given("R16", EACH["R16"]))
    asset = client.get(f"/v1/assets/{made['asset_id']}").json
    shaft = asset["shafts"][0]
    tail, drive = shaft["positions"]
    assert tail["shaft_diameter"]["value"] == pytest.approx(2.6875)
    assert "shaft_diameter" not in drive
    assert shaft["stop_limit"]["value"] == pytest.approx(203)
    assert shaft["inclination"]["value"] == 0
    told = [each["type"].removeprefix("capsaddle.") for each in client.get("/v1/events").json["items"]]
    assert any(each.endswith("readiness.answered") for each in told)
    assert any(each.endswith("asset.replaced") for each in told)
    assert any(each.endswith("instructions.revised") for each in told)
    again = client.post("/v1/work-orders", order("WO-2", positions=["tail"], allow_second=True)).json
    assert not [each for each in again["readiness"]["red_open"] if each["id"] in ("R3", "R16")]


def test_the_bearing_to_be_fitted_is_the_order_s_own(client: Client) -> None:
    """What runs in the machine changes when the order is completed, not when its bearing is chosen."""
    made = opened(client, positions=["tail"])
    answered(client, made, given("R1", {"bearing": {"designation": "22216 K/C4"}}, "tail"))
    now = client.get(f"/v1/work-orders/{made['id']}").json["instructions"]
    assert [each["bearing"]["clearance_class"] for each in now["targets"]] == ["C4"]
    [shaft] = client.get(f"/v1/assets/{made['asset_id']}").json["shafts"]
    assert {each["bearing"]["designation"] for each in shaft["positions"]} == {"22216 K/C3"}
    again = client.post("/v1/work-orders", order(positions=["tail"]))
    assert (again.status_code, again.json["id"]) == (200, made["id"])


def test_what_says_nothing_new_makes_no_revision(client: Client) -> None:
    made = opened(client)
    answered(client, made, given("R12", EACH["R12"]))
    kept = answered(client, made, given("R12", EACH["R12"]))
    assert kept["revision"] == 2
    assert [each["made_revision"] for each in kept["items"]] == [None]


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        (given("R99", {}), "#/answers/0/question"),
        (given("R12", {"at_hand": True}), "#/answers/0/value/at_hand"),
        (given("R12", {"stop_limit": {"value": 1000, "unit": "degC"}}), "#/answers/0/value/stop_limit"),
        (given("R13", {}), "#/answers/0/value/at_hand"),
        (given("R6", {}), "#/answers/0/value"),
        (given("R3", EACH["R3"], "roof"), "#/answers/0/position"),
        (given("R12", EACH["R12"], "tail"), "#/answers/0/position"),
        (given("R11", {"chart": "no such book"}), "#/answers/0/value/chart"),
        (given("R4", {"housing": {"size": "9999", "dimensions": "metric"}}, "tail"), "#/answers/0/value"),
        (given("R9", {"torque": {"value": 1, "unit": "N.m"}, "bolts": {"thread": "M1"}}), "#/answers/0/value"),
        (given("R5", {"locating": "roof"}), "#/answers/0/value/locating"),
        ({"question": "R13", "value": {"at_hand": True}}, "#/answers/0/answered_by"),
    ],
)
def test_an_answer_of_the_wrong_shape_is_refused_and_nothing_is_stored(
    client: Client, sent: dict[str, Any], pointer: str
) -> None:
    made = opened(client)
    good = given("R13", EACH["R13"])
    refused = client.post(f"/v1/work-orders/{made['id']}/answers", {"answers": [sent, good]})
    assert refused.status_code == 422, refused.text
    assert any(each["pointer"].startswith(pointer) for each in refused.json["errors"]), refused.text
    assert client.get(f"/v1/work-orders/{made['id']}").json["revision"] == 1
    assert status(client, made, "R13") == "open"


def test_a_book_closes_the_question_of_the_reduction(client: Client) -> None:
    """C5 has no row in the built-in practice: R11 is open until the site enters its maker's book and names it."""
    from tests.api.samples.books import entered, reduction_row, reductions

    fitted = [{"name": "tail", "bearing": {"designation": "22216 K/C5"}}]
    made = opened(client, positions=fitted)
    assert status(client, made, "R11", "tail") == "open"
    row = reduction_row(65, 80, 0.042, 0.052, smallest_residual={"C5": {"value": 0.09, "unit": "mm"}})
    chart = entered(client, "/v1/charts", reductions(row))
    answered(client, made, given("R11", {"chart": chart["name"]}))
    assert status(client, made, "R11", "tail") == "answered"


def test_a_steep_shaft_is_answered_by_the_word_of_the_maker_only(client: Client) -> None:
    made = opened(client)
    steep = {"inclination": {"value": 20, "unit": "deg"}}
    answered(client, made, given("R16", steep))
    assert status(client, made, "R16") == "open"
    answered(client, made, given("R16", {**steep, "maker": "letter of 3 May: taken, with an abutment"}))
    assert status(client, made, "R16") == "answered"


def test_a_lead_releases_with_a_reason_but_not_over_lifting_and_lie(client: Client) -> None:
    made = opened(client)
    path = f"/v1/work-orders/{made['id']}/release"
    refused = client.post(path, {"released_by": "E. Lead", "reason": "we know this fan"})
    assert (refused.status_code, refused.json["code"]) == (409, "release_refused")
    assert {each["id"] for each in refused.json["questions_open"]} == {"R14", "R16"}
    answered(client, made, given("R14", LIFTING), given("R16", LEVEL))
    silent = client.post(path, {"released_by": "E. Lead"})
    assert (silent.status_code, silent.json["code"]) == (422, "reason_required")
    done = client.post(path, {"released_by": "E. Lead", "reason": "we know this fan"})
    assert done.status_code == 201, done.text
    assert (done.json["released"], done.json["released_by"]) == (True, "E. Lead")
    assert done.json["red_open"]
    twice = client.post(path, {"released_by": "E. Lead", "reason": "again"})
    assert (twice.status_code, twice.json["code"]) == (409, "already_released")
    assert client.get(f"/v1/work-orders/{made['id']}").json["readiness"]["reason"] == "we know this fan"


def test_a_closed_order_takes_no_answers_and_no_release(client: Client) -> None:
    made = opened(client)
    client.post(f"/v1/work-orders/{made['id']}/cancellation", {"reason": "not needed"})
    for path, body in (
        ("answers", {"answers": [given("R13", EACH["R13"])]}),
        ("release", {"released_by": "E. Lead", "reason": "x"}),
    ):
        refused = client.post(f"/v1/work-orders/{made['id']}/{path}", body)
        assert (refused.status_code, refused.json["code"]) == (409, "work_order_not_open")


def test_another_site_s_order_is_not_found(client: Client, metric_client: Client) -> None:
    made = opened(client)
    for method, path, body in (
        ("GET", "readiness", None),
        ("POST", "answers", {"answers": [given("R13", EACH["R13"])]}),
        ("POST", "release", {"released_by": "E. Lead", "reason": "x"}),
        ("GET", "parts.csv", None),
    ):
        assert metric_client.call(method, f"/v1/work-orders/{made['id']}/{path}", body).status_code == 404


def test_a_key_that_only_reads_answers_nothing(app: Flask, client: Client, client_of: ClientMaker) -> None:
    made = opened(client)
    reader = client_of(app, scopes=("read",))
    assert reader.get(f"/v1/work-orders/{made['id']}/readiness").status_code == 200
    for path in ("answers", "release"):
        assert reader.post(f"/v1/work-orders/{made['id']}/{path}", {}).status_code == 403


def test_a_site_that_wants_its_orders_released_says_so_in_every_order(app: Flask, client: Client) -> None:
    assert opened(client)["readiness"]["required"] is False
    change_settings(app.extensions["capsaddle"].database, "ALDER", require_release=True)
    assert client.post("/v1/work-orders", order()).json["readiness"]["required"] is True


def test_a_site_that_wants_a_release_lets_no_work_begin_without(app: Flask, client: Client) -> None:
    change_settings(app.extensions["capsaddle"].database, "ALDER", require_release=True)
    made = opened(client)
    path = f"/v1/work-orders/{made['id']}/readings"
    refused = client.post(path, {"readings": [isolated()]})
    assert (refused.status_code, refused.json["code"]) == (409, "not_released")
    assert {"R14", "R16"} <= {each["id"] for each in refused.json["questions_open"]}
    answered(client, made, given("R14", LIFTING), given("R16", LEVEL))
    client.post(f"/v1/work-orders/{made['id']}/release", {"released_by": "E. Lead", "reason": "we know this fan"})
    assert client.post(path, {"readings": [isolated()]}).status_code == 201
    now = client.get(f"/v1/work-orders/{made['id']}").json
    assert now["readiness"]["begun_unreleased"] is False
    assert "work_begun_unreleased" not in {each["code"] for each in now["flags"]}


def test_work_begun_unreleased_is_flagged_and_not_forbidden(client: Client) -> None:
    made = opened(client)
    assert client.post(f"/v1/work-orders/{made['id']}/readings", {"readings": [isolated()]}).status_code == 201
    answered(client, made, *(given(question, value) for question, value in EACH.items()))
    now = client.get(f"/v1/work-orders/{made['id']}").json
    assert now["readiness"]["released"] and now["readiness"]["begun_unreleased"]
    [flag] = [each for each in now["flags"] if each["code"] == "work_begun_unreleased"]
    assert flag["persons"] == ["A. Fitter"]


def test_work_begun_when_no_red_question_was_open_is_not_flagged(client: Client) -> None:
    made = opened(client)
    answered(client, made, *(given(question, value) for question, value in EACH.items()))
    client.post(f"/v1/work-orders/{made['id']}/readings", {"readings": [isolated()]})
    assert client.get(f"/v1/work-orders/{made['id']}").json["readiness"]["begun_unreleased"] is False
