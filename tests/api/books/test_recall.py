"""Recall: from a wrong row to the bearings that run by it; expected windows are rule C4 by hand, said beside each."""

from typing import Any

import pytest
from flask import Flask

from service.reference.tables import DATA_VERSION
from tests.api.conftest import ClientMaker
from tests.api.samples.books import entered, housing, mm, n_m, reduction_row, reductions, torque_row, torques
from tests.api.samples.checked import Client
from tests.api.samples.orders import (
    closing_readings,
    completion,
    initial,
    isolated,
    known_fan,
    newton_metres,
    opened,
    reading,
    residual,
    sent,
)

INCH_516 = {"size": "516", "dimensions": "inch"}
CORRECTED = {
    "kind": "reduction",
    "bearing_type": "spherical_roller",
    "rows": [reduction_row(65, 80, 0.038, 0.046, smallest_residual={"C3": mm(0.05)})],
}
REASON = {"reason": "erratum of the book"}


def mounted(
    client: Client, tag: str, residual_in: float, *extra: dict[str, Any], at: str = "2020-01-07T15:30:00Z", **more: Any
) -> dict[str, Any]:
    """An order on a machine of its own that was completed; initial clearance 0.0040 in = 0.1016 mm."""
    order = opened(client, f"WO-{tag}", asset=known_fan(tag=tag, **more))
    readings = [initial("tail", 0.0040, 0.0040), residual("tail", residual_in, residual_in), *extra]
    answer = sent(client, order["id"], isolated(), *readings)
    assert {item["verdict"] for item in answer["items"]} == {"accept"}, answer
    plan = client.get(f"/v1/work-orders/{order['id']}/instructions").json
    assert sent(client, order["id"], *closing_readings(answer["hold_points_open"], plan))["hold_points_open"] == []
    done = client.post(f"/v1/work-orders/{order['id']}/completion", completion(at=at))
    assert done.status_code == 201, done.text
    return order


def recalled(client: Client, path: str, **body: Any) -> Any:
    answer = client.post(f"{path}?units=metric", {**REASON, **body})
    assert answer.status_code == 200, answer.text
    return answer.json


def test_the_bearings_of_a_wrong_row_are_found_and_ranked(client_on_each: Client) -> None:
    """Chart 0.042 to 0.052 mm, floor 0.044: window 0.0496 to 0.0596. Corrected 0.038 to 0.046: 0.0556 to 0.0636."""
    client = client_on_each
    before = mounted(client, "BEFORE", 0.0025)  # by the built-in practice
    chart = entered(client, "/v1/charts", reductions())
    orders = {tag: mounted(client, tag, value) for tag, value in (("A", 0.0021), ("B", 0.0020), ("C", 0.0022))}
    waiting = opened(client, "WO-WAITING", asset=known_fan(tag="D"))
    answer = recalled(client, f"/v1/charts/{chart['id']}/recall", corrected=CORRECTED)
    assert [item["work_order"]["asset"] for item in answer["items"]] == ["B", "A", "C"]
    assert [item["verdict"] for item in answer["items"]] == ["outside", "outside", "inside"]
    worst, _, well = answer["items"]
    assert worst["corrected"]["min"]["value"] == pytest.approx(0.0556, abs=1e-9)
    assert worst["corrected"]["max"]["value"] == pytest.approx(0.0636, abs=1e-9)
    assert worst["window_as_mounted"]["min"]["value"] == pytest.approx(0.0496, abs=1e-9)
    assert worst["outside_by"]["value"] == pytest.approx(0.0556 - 0.0508, abs=1e-9)  # 0.0020 in = 0.0508 mm
    assert "below the corrected limit" in worst["detail"]
    assert well["outside_by"] is None
    assert worst["used"] == ["reduction", "residual_clearance"]
    assert worst["work_order"]["id"] == orders["B"]["id"]
    assert client.get(worst["work_order"]["link"]).json["id"] == orders["B"]["id"]
    assert [order["id"] for order in answer["open_work_orders"]] == [waiting["id"]]
    counts = answer["counts"]
    assert (counts["running"], counts["with_instructions"], counts["mounted_by_it"]) == (4, 4, 3)
    assert (counts["outside"], counts["inside"], counts["not_known"]) == (2, 1, 0)
    assert before["id"] not in {item["work_order"]["id"] for item in answer["items"]}


def test_without_corrected_rows_all_that_were_mounted_by_it_are_named(client: Client) -> None:
    chart = entered(client, "/v1/charts", reductions())
    mounted(client, "A", 0.0020)
    path = f"/v1/charts/{chart['id']}/recall"
    answer = recalled(client, path)
    assert [item["verdict"] for item in answer["items"]] == ["not_compared"]
    assert recalled(client, path, bores={"over": mm(65), "incl": mm(80)})["counts"]["mounted_by_it"] == 1
    assert recalled(client, path, bores={"over": mm(80), "incl": mm(100)})["counts"]["mounted_by_it"] == 0
    larger = {**CORRECTED, "rows": [reduction_row(80, 100, 0.045, 0.06)]}
    assert recalled(client, path, corrected=larger)["counts"]["mounted_by_it"] == 0, "the row was not theirs"


def test_a_bearing_that_was_taken_out_since_runs_no_more(client: Client) -> None:
    chart = entered(client, "/v1/charts", reductions())
    mounted(client, "A", 0.0020)
    path = f"/v1/charts/{chart['id']}/recall"
    assert recalled(client, path)["counts"]["running"] == 1
    entered(client, "/v1/charts", reductions(reduction_row(65, 80, 0.038, 0.046)))
    again = opened(client, "WO-AGAIN", asset="A")
    answer = sent(client, again["id"], isolated(), initial("tail", 0.004, 0.004), residual("tail", 0.0023, 0.0023))
    plan = client.get(f"/v1/work-orders/{again['id']}/instructions").json
    sent(client, again["id"], *closing_readings(answer["hold_points_open"], plan))
    later = completion(at="2020-02-07T15:30:00Z", removed={"end_type": "removed_preventive"})
    assert client.post(f"/v1/work-orders/{again['id']}/completion", later).status_code == 201
    counts = recalled(client, path)["counts"]
    assert (counts["running"], counts["mounted_by_it"]) == (1, 0)


def test_a_row_that_leaves_no_window_puts_every_bearing_outside(client: Client) -> None:
    """Corrected floor 0.07 mm: after 0.038 mm at the least, 0.1016 mm leaves 0.0636 mm at the most."""
    chart = entered(client, "/v1/charts", reductions())
    mounted(client, "A", 0.0020)
    sure = {"accept_unusual": True, "reason": "as the maker wrote"}
    rows = [reduction_row(65, 80, 0.038, 0.046, smallest_residual={"C3": mm(0.07)}, **sure)]
    item = recalled(client, f"/v1/charts/{chart['id']}/recall", corrected={**CORRECTED, "rows": rows})["items"][0]
    assert (item["verdict"], item["outside_by"], item["corrected"]) == ("outside", None, None)


def test_a_cap_torque_that_was_wrong_is_found(client_on_each: Client) -> None:
    """125 N.m was asked for and read; 110 N.m is right: 4 % above it (ISO 6789-1) is 114.4 N.m, 10.6 below."""
    client = client_on_each
    chart = entered(client, "/v1/charts", torques(torque_row(125, INCH_516)))
    mounted(client, "A", 0.0025, reading("cap_bolt_torque", "tail", newton_metres(125)))
    rows = {"kind": "cap_bolt_torque", "rows": [torque_row(110, INCH_516)]}
    path = f"/v1/charts/{chart['id']}/recall"
    item = recalled(client, path, corrected=rows)["items"][0]
    assert (item["used"], item["verdict"], item["reading"]) == (["cap_bolt_torque"], "outside", "cap bolt torque")
    assert item["outside_by"]["value"] == pytest.approx(125 - 1.04 * 110)
    near = {"kind": "cap_bolt_torque", "rows": [torque_row(121, INCH_516)]}
    assert recalled(client, path, corrected=near)["items"][0]["verdict"] == "inside"  # 125 is 3.3 % above 121


def test_a_housing_is_recalled_by_its_name(client: Client) -> None:
    made = entered(client, "/v1/housings", housing())
    mounted(client, "A", 0.0025, reading("cap_bolt_torque", "tail", newton_metres(150)), housing={"name": "block 7"})
    path = f"/v1/housings/{made['id']}/recall"
    assert recalled(client, path)["counts"]["mounted_by_it"] == 1
    row = {name: value for name, value in housing().items() if name != "provenance"}
    row["cap_bolts"] = {**row["cap_bolts"], "torque": n_m(120)}
    item = recalled(client, path, corrected={"kind": "housing", "rows": [row]})["items"][0]
    assert (item["verdict"], item["outside_by"]["value"]) == ("outside", pytest.approx(150 - 1.04 * 120))
    del row["cap_bolts"]
    item = recalled(client, path, corrected={"kind": "housing", "rows": [row]})["items"][0]
    assert item["verdict"] == "not_known"


def test_a_built_in_table_is_recalled_by_the_id_that_answers_name(client_on_each: Client) -> None:
    """Built-in practice, inch printing; corrected 0.030 to 0.036 mm, floor 0.05: window 0.0656 to 0.0716 mm."""
    client = client_on_each
    order = mounted(client, "A", 0.0025)  # 0.0635 mm
    sources = {each["id"] for each in order["instructions"]["targets"][0]["sources"]}
    assert "practice-srb-inch" in sources
    path = "/v1/tables/practice-srb-inch/recall"
    rows = [reduction_row(65, 80, 0.030, 0.036, smallest_residual={"C3": mm(0.05)})]
    answer = recalled(client, path, corrected={**CORRECTED, "rows": rows}, data_version=DATA_VERSION)
    assert answer["book"]["version"] == DATA_VERSION
    item = answer["items"][0]
    assert (item["verdict"], item["data_version"]) == ("outside", DATA_VERSION)
    assert item["outside_by"]["value"] == pytest.approx(0.0656 - 0.0635, abs=1e-9)
    assert recalled(client, path, data_version="1999.01")["counts"]["mounted_by_it"] == 0
    floor_of = recalled(client, "/v1/tables/practice-srb-mm/recall", corrected={**CORRECTED, "rows": rows})["items"][0]
    assert floor_of["used"] == ["axial_displacement", "residual_clearance"], "printed in mm alone (C3)"
    assert floor_of["corrected"]["max"] == floor_of["window_as_mounted"]["max"], "the reduction is the inch printing's"
    most_taken = order["instructions"]["targets"][0]["reduction"]["max"]["value"] * 25.4
    assert floor_of["corrected"]["min"]["value"] == pytest.approx(max(0.05, 0.1016 - most_taken), abs=1e-9)
    assert recalled(client, "/v1/tables/practice-saball/recall")["counts"]["mounted_by_it"] == 0
    assert recalled(client, "/v1/tables/iso-5753-1/recall")["items"][0]["used"] == ["initial_clearance"]
    range_ = {"bore_over": mm(65), "bore_incl": mm(80), "clearance_class": "C3"}
    higher = {**range_, "min": mm(0.105), "max": mm(0.125)}  # 0.1016 mm lies 0.0034 mm below
    initial_rows = {
        "kind": "initial_clearance",
        "bearing_type": "spherical_roller",
        "bore_form": "tapered",
        "rows": [higher],
    }
    item = recalled(client, "/v1/tables/iso-5753-1/recall", corrected=initial_rows)["items"][0]
    assert (item["verdict"], item["reading"]) == ("outside", "initial clearance")
    assert item["outside_by"]["value"] == pytest.approx(0.105 - 0.1016, abs=1e-9)
    unknown = client.post("/v1/tables/no-such-table/recall", REASON)
    assert (unknown.status_code, unknown.json["code"]) == (404, "not_found")


def test_a_recall_is_an_event_and_changes_nothing_else(client_on_each: Client) -> None:
    client = client_on_each
    chart = entered(client, "/v1/charts", reductions())
    mounted(client, "A", 0.0020)
    last = len(client.get("/v1/events?limit=500").json["items"])
    path = f"/v1/charts/{chart['id']}/recall"
    assert client.post(f"{path}?dry_run=true", {**REASON, "corrected": CORRECTED}).status_code == 200
    assert client.get(f"/v1/events?after={last}").json["items"] == []
    answer = recalled(client, path, corrected=CORRECTED)
    (event,) = client.get(f"/v1/events?after={last}").json["items"]
    assert event["type"] == "internal.capsaddle.chart.recalled"
    assert event["subject"] == f"chart/{chart['id']}"
    changed = event["data"]["changed"]
    assert (changed["reason"], changed["counts"]) == ("erratum of the book", answer["counts"])
    assert changed["outside"] == [answer["items"][0]["stay"]]
    assert client.get(f"/v1/charts/{chart['id']}").json == chart


def test_corrected_rows_are_checked_as_those_of_a_chart(client: Client) -> None:
    chart = entered(client, "/v1/charts", reductions())
    path = f"/v1/charts/{chart['id']}/recall"

    def refused(body: dict[str, Any]) -> tuple[int, str]:
        answer = client.post(path, {**REASON, **body})
        return answer.status_code, answer.json["code"]

    slip = {**CORRECTED, "rows": [reduction_row(65, 80, 0.38, 0.46)]}
    assert refused({"corrected": slip}) == (422, "chart_refused")
    other = {**CORRECTED, "bearing_type": "self_aligning_ball", "rows": [reduction_row(65, 80, 0.02, 0.03)]}
    assert refused({"corrected": other})[0] == 422
    assert refused({"corrected": {"kind": "cap_bolt_torque", "rows": [torque_row(100, INCH_516)]}}) == (
        422,
        "corrected_differs",
    )
    assert refused({"reason": ""})[0] == 422


def test_another_site_s_bearings_are_not_named(app: Flask, client_of: ClientMaker) -> None:
    owner, stranger = client_of(app, "ALDER"), client_of(app, "BIRCH")
    mounted(owner, "A", 0.0025)
    path = "/v1/tables/practice-srb-inch/recall"
    assert recalled(owner, path)["counts"]["mounted_by_it"] == 1
    assert recalled(stranger, path)["counts"]["running"] == 0
