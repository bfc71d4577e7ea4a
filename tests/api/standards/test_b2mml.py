"""Job orders in and job responses out, by the published schema of B2MML V07 (IEC 62264).

Every job response that any test of the API gets is held against the schema by the client (samples/published.py).
"""

from typing import Any

import pytest

from tests.api.samples.checked import Client
from tests.api.samples.machines import fan
from tests.api.samples.orders import FITTER, completion, opened, ready_to_complete
from tests.api.samples.published import SCHEMA, check_whole

INBOUND = "/v1/inbound/b2mml-job-order"


def value(text: str, kind: str = "string") -> list[dict[str, Any]]:
    return [{"ValueString": text, "DataType": kind}]


BY_LISTS = {
    "ID": "JO-1",
    "Description": ["Replace the bearing at the tail"],
    "WorkType": "Maintenance",
    "Priority": 3,
    "StartTime": "2026-01-07T06:30:00Z",
    "EquipmentRequirement": [{"ID": "1", "EquipmentID": ["DRY-2-FAN"]}],
    "PhysicalAssetRequirement": [{"ID": "2", "PhysicalAssetID": ["tail"], "PhysicalAssetUse": "Replaced"}],
}
BY_PROPERTIES = {
    "ID": {"$": "JO-1", "@schemeID": "orders"},
    "Version": "1",
    "WorkMasterID": "BEARING-REPLACEMENT",
    "WorkType": {"$": "Maintenance"},
    "Command": "Start",
    "DispatchStatus": "Dispatched",
    "PublishedDate": {"$": "2026-01-07T01:30:00-05:00", "@format": "dateTime"},
    "StartTime": "2026-01-12T06:00:00-05:00",
    "HierarchyScope": {
        "EquipmentID": "ALDER",
        "EquipmentLevel": "Site",
        "HierarchyScopeChild": {"EquipmentID": "DRY-2-FAN", "EquipmentLevel": "Unit"},
    },
    "JobOrderParameter": [
        {"ID": "SourceSystem", "Value": value("plant-a")},
        {"ID": "MaintenanceActivity", "Value": value("Inspection")},
    ],
    "PhysicalAssetRequirement": [
        {
            "ID": "10",
            "PhysicalAssetID": ["BRG-000417"],
            "PhysicalAssetClassID": ["22216 K/C3"],
            "Quantity": [{"QuantityString": "1", "DataType": "integer"}],
            "PhysicalAssetRequirementProperty": [{"ID": "Position", "Value": value("drive")}],
        },
        {"ID": "20", "PhysicalAssetRequirementProperty": [{"ID": {"$": "Position"}, "Value": value("tail")}]},
        {"ID": "30", "PhysicalAssetID": ["CRANE-2"], "PhysicalAssetUse": "Tool"},
    ],
}
BY_CHILDREN = {
    "ID": "JO-1",
    "StartTime": "2026-01-07T06:30:00+01:00",
    "EquipmentRequirement": [
        {"ID": "A", "EquipmentID": ["DRYER LINE"], "EquipmentLevel": "ProductionLine"},
        {
            "ID": "B",
            "EquipmentID": ["DRY-2-FAN"],
            "EquipmentRequirementChild": [
                {"ID": "B1", "EquipmentID": ["tail", "DRY-2-FAN/drive"], "Description": ["both bearings"]}
            ],
        },
    ],
}
UNDERSTOOD = {
    "ids in lists": (BY_LISTS, "b2mml", ["tail"], "replacement", "2026-01-07T06:30:00.000000Z"),
    "properties of assets": (BY_PROPERTIES, "plant-a", ["drive", "tail"], "inspection", "2026-01-07T06:30:00.000000Z"),
    "equipment in equipment": (BY_CHILDREN, "b2mml", ["tail", "drive"], "replacement", "2026-01-07T05:30:00.000000Z"),
}  # fmt: skip


@pytest.mark.parametrize("name", UNDERSTOOD)
def test_a_job_order_by_the_schema_opens_an_order(client_on_each: Client, name: str) -> None:
    message, system, positions, kind, opened_at = UNDERSTOOD[name]
    check_whole("JobOrder", message)
    client = client_on_each
    client.post("/v1/assets", fan())
    answer = client.post(INBOUND, {"JobOrder": message})
    assert answer.status_code == 201, answer.json
    order = answer.json
    assert order["external"] == {"system": system, "number": "JO-1"}
    assert (order["asset"], order["positions"], order["kind"]) == ("DRY-2-FAN", positions, kind)
    assert order["opened_at"] == opened_at
    again = client.post(INBOUND, {"JobOrder": message})
    assert (again.status_code, again.json["id"]) == (200, order["id"])


def test_the_serial_number_of_a_running_bearing_names_machine_and_position(client: Client) -> None:
    order_id = str(opened(client, "WO-1")["id"])
    assert ready_to_complete(client, order_id) == []
    installed = {"serial": "N-1", "designation": "22216 K/C3"}
    done = completion(at="2026-01-07T15:30:00Z", installed=installed)
    assert client.post(f"/v1/work-orders/{order_id}/completion", done).status_code == 201
    message = {"ID": "JO-9", "PhysicalAssetRequirement": [{"ID": "1", "PhysicalAssetID": ["N-1"]}]}
    check_whole("JobOrder", message)
    order = client.post(INBOUND, {"JobOrder": message}).json
    assert (order["asset"], order["positions"]) == ("DRY-2-FAN", ["tail"])


REFUSED: dict[str, tuple[dict[str, Any], str, str, str]] = {
    "an asset that is misspelt": (
        {"EquipmentRequirement": [{"ID": "1", "EquipmentID": ["DRY-2-FAM"]}]},
        "unknown_asset", "/EquipmentRequirement", "nearest that is known is DRY-2-FAN",
    ),
    "a position that is misspelt": (
        {"PhysicalAssetRequirement": [
            {"ID": "1", "PhysicalAssetID": ["tial"]}, {"ID": "2", "PhysicalAssetID": ["drive"]},
        ]},
        "unknown_position", "/PhysicalAssetRequirement/0/PhysicalAssetID", "nearest that is known is tail",
    ),
    "a child that is misspelt": (
        {"EquipmentRequirement": [
            {"ID": "1", "EquipmentID": ["DRY-2-FAN"],
             "EquipmentRequirementChild": [{"ID": "2", "EquipmentID": ["Drive"]}]}
        ]},
        "unknown_position", "/EquipmentRequirement/0/EquipmentRequirementChild/0/EquipmentID", "known is drive",
    ),
    "no position": ({}, "required_target", "/PhysicalAssetRequirement", "it has tail, drive"),
    "no number": ({"ID": ""}, "required", "/ID", "the number of the job order"),
    "production": ({"WorkType": "Production"}, "not_maintenance", "/WorkType", "only Maintenance"),
    "an order to stop": ({"Command": "Abort"}, "not_to_be_opened", "/Command", "cancellation"),
    "one that has ended": ({"DispatchStatus": {"$": "Closed"}}, "not_to_be_opened", "/DispatchStatus", "Closed"),
    "a time of nowhere": ({"StartTime": "2026-01-07T06:30:00"}, "time_without_offset", "/StartTime", "offset"),
    "an activity of ours that is none": (
        {"JobOrderParameter": [{"ID": "MaintenanceActivity", "Value": value("Painting")}]},
        "unknown_key", "/JobOrderParameter", "Replacement or Inspection",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_not_understood_is_refused_by_its_place(client: Client, name: str) -> None:
    more, code, pointer, words = REFUSED[name]
    client.post("/v1/assets", fan())
    plain: dict[str, Any] = {"ID": "JO-1", "EquipmentRequirement": [{"ID": "1", "EquipmentID": ["DRY-2-FAN"]}]}
    refused = client.post(INBOUND, {"JobOrder": plain | more})
    assert (refused.status_code, refused.json["code"]) == (422, "mapping_failed")
    (fault,) = refused.json["errors"]
    assert (fault["code"], fault["pointer"]) == (code, f"#/JobOrder{pointer}")
    assert words in fault["detail"]
    assert client.get("/v1/work-orders").json["items"] == []


def test_two_machines_in_one_order_are_refused(client: Client) -> None:
    client.post("/v1/assets", fan())
    client.post("/v1/assets", fan("DRY-3-FAN"))
    both = [{"ID": "1", "EquipmentID": ["DRY-2-FAN", "DRY-3-FAN"]}]
    refused = client.post(INBOUND, {"JobOrder": {"ID": "JO-1", "EquipmentRequirement": both}})
    assert refused.json["errors"][0]["code"] == "several_assets"


def replaced(client: Client, number: str, day: int, serial: str, **removed: Any) -> str:
    order_id = str(opened(client, number)["id"])
    assert ready_to_complete(client, order_id) == []
    installed = {"serial": serial, "designation": "22216 K/C3", "manufacturer": "Example & Sons"}
    more: dict[str, Any] = {"removed": removed} if removed else {}
    done = completion(at=f"2026-01-{day:02d}T15:30:00Z", installed=installed, **more)
    answer = client.post(f"/v1/work-orders/{order_id}/completion", done)
    assert answer.status_code == 201, answer.json
    return order_id


def test_a_completed_order_as_job_response(client: Client) -> None:
    replaced(client, "WO-1", 7, "N-1")
    order_id = replaced(client, "WO-2", 17, "N-2", end_type="failed", cause="water in the housing")
    told = client.get(f"/v1/work-orders/{order_id}/job-response?units=metric").json["JobResponse"]
    assert (told["JobOrderID"], told["WorkType"], told["JobState"]) == ("WO-2", "Maintenance", "Completed")
    closed_at = client.get(f"/v1/work-orders/{order_id}").json["closed_at"]
    assert told["EndTime"] == closed_at
    bearings = [
        (each["PhysicalAssetUse"], each["PhysicalAssetID"], each["PhysicalLocation"]["Location"])
        for each in told["PhysicalAssetActual"]
    ]
    assert bearings == [("Removed", ["N-1"], "DRY-2-FAN/tail"), ("Installed", ["N-2"], "DRY-2-FAN/tail")]
    persons = {(each["PersonID"][0], each["PersonnelUse"]) for each in told["PersonnelActual"]}
    done = client.get(f"/v1/work-orders/{order_id}/completion").json
    assert {(FITTER, "Measured"), (done["completed_by"], "Completed")} <= persons
    read = {each["ID"]: each for each in told["JobResponseData"]}
    assert len(read) == len(told["JobResponseData"]), "an ID stands once"
    tail = read["tail/residual_clearance/1"]
    # 0.0025 in = 0.0635 mm exactly
    assert tail["Value"] == [{"ValueString": "0.0635", "DataType": "double", "UnitOfMeasure": "mm"}]
    children = {each["ID"]: each["Value"][0]["ValueString"] for each in tail["SegmentDataChild"]}
    assert (children["TakenBy"], children["Position"]) == (FITTER, "tail")


@pytest.mark.parametrize("cancelled", [False, True])
def test_the_state_of_an_order_that_is_not_completed(client: Client, cancelled: bool) -> None:
    order_id = opened(client)["id"]
    if cancelled:
        client.post(f"/v1/work-orders/{order_id}/cancellation", {"reason": "not needed"})
    told = client.get(f"/v1/work-orders/{order_id}/job-response").json["JobResponse"]
    assert told["JobState"] == ("Aborted" if cancelled else "Ready")
    assert ("EndTime" in told) == cancelled


@pytest.mark.skipif(SCHEMA is None, reason="CAPSADDLE_TEST_B2MML_SCHEMA names no file: the schema is not ours to ship")
def test_the_schema_itself_refuses_what_the_first_version_answered() -> None:
    """So that a validation that checks nothing is seen: Value was an object, ID was missing."""
    first = {"ID": "1", "JobResponseData": [{"ID": "a", "Value": {"ValueString": "1"}}], "PhysicalAssetActual": [{}]}
    with pytest.raises(AssertionError, match="JobResponseData"):
        check_whole("JobResponse", first)
