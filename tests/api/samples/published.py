"""What the published schema of B2MML demands, held against what is answered and what the tests send.

Members by part are those of the JSON schema of B2MML V07 (2023-07-11), copied by hand; the schema itself is not ours to
ship, so a whole validation is done where CAPSADDLE_TEST_B2MML_SCHEMA names the file.
"""

import json
import os
from functools import cache
from pathlib import Path
from typing import Any, Final

import jsonschema

SCHEMA: Final = os.environ.get("CAPSADDLE_TEST_B2MML_SCHEMA")
STATES: Final = (
    "Waiting",
    "Ready",
    "Running",
    "Completed",
    "Aborted",
    "Held",
    "Paused",
    "Suspended",
    "Closed",
    "Other",
)
RESOURCE: Final = {"ID", "Description", "HierarchyScope", "Quantity", "RequiredByRequestedSegmentResponse"}
ACTUAL: Final = {*RESOURCE, "SpatialDefinition", "TestResult"}
MEMBERS: Final[dict[str, set[str]]] = {
    "JobResponse": {
        "ID", "Description", "HierarchyScope", "Version", "JobOrderID", "WorkType", "StartTime", "EndTime", "JobState",
        "PublishedDate", "JobResponseData", "PersonnelActual", "EquipmentActual", "PhysicalAssetActual",
        "MaterialActual", "WorkMasterID", "WorkMasterVersion", "WorkDirective", "WorkDirectiveVersion",
        "WorkflowSpecificationID", "WorkflowSpecificationNodeID", "RequiredByRequestedSegmentResponse",
    },
    "EquipmentActual": {
        *ACTUAL, "EquipmentID", "EquipmentClassID", "EquipmentUse", "OperationalLocation", "EquipmentActualProperty",
        "EquipmentActualChild",
    },
    "PersonnelActual": {
        *ACTUAL, "PersonID", "PersonnelClassID", "PersonnelUse", "OperationalLocation", "PersonnelActualProperty",
        "PersonnelActualChild",
    },
    "PhysicalAssetActual": {
        *ACTUAL, "PhysicalAssetID", "PhysicalAssetClassID", "PhysicalAssetUse", "PhysicalLocation",
        "PhysicalAssetActualProperty", "PhysicalAssetActualChild",
    },
    "PhysicalAssetActualProperty": {
        "ID", "Description", "PhysicalAssetPropertyID", "PhysicalAssetClassPropertyID", "Value", "Quantity",
        "PhysicalAssetActualPropertyChild", "RequiredByRequestedSegmentResponse",
    },
    "JobResponseData": {
        "ID", "Description", "HierarchyScope", "Value", "SegmentDataChild", "RequiredByRequestedSegmentResponse",
    },
    "Value": {"ValueString", "DataType", "UnitOfMeasure", "Key"},
    "Quantity": {"QuantityString", "DataType", "UnitOfMeasure", "Key"},
    "PhysicalLocation": {"Location", "LocationType", "LocationChild"},
}  # fmt: skip
SAME: Final = {"EquipmentActualChild": "EquipmentActual", "SegmentDataChild": "JobResponseData"}
ARRAYS: Final = {
    "Description", "Value", "Quantity", "JobResponseData", "PersonnelActual", "EquipmentActual", "PhysicalAssetActual",
    "PersonID", "EquipmentID", "PhysicalAssetID", "PhysicalAssetClassID", "EquipmentActualChild", "SegmentDataChild",
    "PhysicalAssetActualProperty",
}  # fmt: skip
WITHOUT_ID: Final = ("Value", "Quantity", "PhysicalLocation")


def check_job_response(document: dict[str, Any]) -> None:
    """Fail when a job response is not one of B2MML V07."""
    assert list(document) == ["JobResponse"]
    response = document["JobResponse"]
    _check(response, "JobResponse", "JobResponse")
    assert response["JobState"] in STATES
    check_whole("JobResponse", response)


def check_whole(noun: str, document: dict[str, Any]) -> None:
    """Fail when the schema itself is at hand and the document breaks it."""
    if SCHEMA is not None:
        schema = {**_published(SCHEMA), "$ref": f"#/$defs/{noun}"}
        errors = list(jsonschema.Draft202012Validator(schema).iter_errors(document))
        assert not errors, [f"{error.json_path}: {error.message[:200]}" for error in errors[:8]]


@cache
def _published(path: str) -> dict[str, Any]:
    schema: dict[str, Any] = json.loads(Path(path).read_text(encoding="utf-8"))
    return schema


def _check(part: dict[str, Any], kind: str, path: str) -> None:
    kind = SAME.get(kind, kind)
    assert set(part) <= MEMBERS[kind], f"{path} has {sorted(set(part) - MEMBERS[kind])}"
    assert kind in WITHOUT_ID or part.get("ID"), f"{path} lacks its ID"
    for name, below in part.items():
        assert isinstance(below, list) == (name in ARRAYS), f"{path}/{name} is an array in the schema, or is none"
        for each in below if isinstance(below, list) else [below]:
            if isinstance(each, dict):
                _check(each, name, f"{path}/{name}")
