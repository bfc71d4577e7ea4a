"""A work order as JobResponse of B2MML V7 (IEC 62264-4 job response), as JSON.

Covered: ID, JobOrderID, WorkType, StartTime, EndTime, JobState, EquipmentActual (the machine and its positions),
PersonnelActual (who measured, who closed), JobResponseData (the accepted readings), PhysicalAssetActual (the bearings
taken out and fitted). Not covered: material, process segments, work directives.
Names and shapes are those of the JSON schema of B2MML V07 (2023-07-11): ID is required of every part; Description,
Value, Quantity and the ids of resources are arrays; the states are those of its ResponseStateType.
B2MML is used courtesy of MESA International.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

READY: Final = "Ready"
RUNNING: Final = "Running"
STATES: Final = {"completed": "Completed", "cancelled": "Aborted"}
UCUM: Final = {
    "in": "[in_i]",
    "thou": "[mil_i]",
    "N.m": "N.m",
    "degC": "Cel",
    "degF": "[degF]",
    "lbf.ft": "[ft_i].[lbf_av]",
}
PLACE: Final = "Position"
"""Property and data that name the position; the map of job orders reads it too"""


def job_response(
    order: Mapping[str, Any],
    readings: Iterable[Mapping[str, Any]],
    stays: Iterable[Mapping[str, Any]],
    *,
    closed_by: str | None = None,
) -> dict[str, Any]:
    """Return the job response of an order.

    Parameters
    ----------
    order : dict
        The wire members of the work order
    readings : iterable of dict
        position, kind, row, quantity {value, unit}, taken_at, taken_by; the accepted ones
    stays : iterable of dict
        use (``Removed`` or ``Installed``), position, serial, designation, manufacturer
    closed_by : str, optional
        Who completed the order
    """
    taken = list(readings)
    state = STATES.get(order["status"]) or (RUNNING if taken else READY)
    response = {
        "ID": order["id"],
        "JobOrderID": order["external"]["number"],
        "WorkType": "Maintenance",
        "StartTime": order["opened_at"],
        "JobState": state,
        "EquipmentActual": [_machine(order["asset"], order["positions"])],
        "PersonnelActual": _persons(taken, closed_by),
        "JobResponseData": _data(taken),
        "PhysicalAssetActual": [_bearing(order["asset"], each) for each in stays],
    }
    if order["closed_at"] is not None:
        response["EndTime"] = order["closed_at"]
    return {"JobResponse": response}


def _machine(asset: str, positions: Iterable[str]) -> dict[str, Any]:
    children = [{"ID": f"{asset}/{name}", "EquipmentID": [name]} for name in positions]
    return {"ID": asset, "EquipmentID": [asset], "EquipmentActualChild": children}


def _persons(readings: list[Mapping[str, Any]], closed_by: str | None) -> list[dict[str, Any]]:
    """Return who took readings, then who closed the order; a person who did both stands twice."""
    measured = dict.fromkeys(each["taken_by"] for each in readings)
    said = [(person, "Measured") for person in measured] + ([(closed_by, "Completed")] if closed_by else [])
    return [
        {"ID": str(number), "PersonID": [person], "PersonnelUse": use} for number, (person, use) in enumerate(said, 1)
    ]


def _data(readings: list[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return each reading with who took it and when; one of a place that was read before has its number behind it."""
    seen: dict[str, int] = {}
    data = []
    for each in readings:
        place = "/".join(str(part) for part in (each["position"], each["kind"], each["row"]) if part is not None)
        seen[place] = seen.get(place, 0) + 1
        unit = UCUM.get(each["quantity"]["unit"], each["quantity"]["unit"])
        children = [("TakenBy", each["taken_by"], "string"), ("TakenAt", each["taken_at"], "dateTime")]
        if each["position"] is not None:
            children.append((PLACE, each["position"], "string"))
        data.append(
            {
                "ID": place if seen[place] == 1 else f"{place}#{seen[place]}",
                "Description": [f"taken by {each['taken_by']} at {each['taken_at']}"],
                "Value": [_value(repr(each["quantity"]["value"]), "double", unit)],
                "SegmentDataChild": [{"ID": name, "Value": [_value(text, kind)]} for name, text, kind in children],
            }
        )
    return data


def _bearing(asset: str, stay: Mapping[str, Any]) -> dict[str, Any]:
    properties = {PLACE: stay["position"], "Manufacturer": stay["manufacturer"]}
    named = {"PhysicalAssetID": [stay["serial"]]} if stay["serial"] else {}
    return {
        "ID": f"{asset}/{stay['position']}/{stay['use'].lower()}",
        **named,
        "PhysicalAssetClassID": [stay["designation"]],
        "PhysicalAssetUse": stay["use"],
        "PhysicalLocation": {"Location": f"{asset}/{stay['position']}", "LocationType": "Equipment"},
        "Quantity": [{"QuantityString": "1", "DataType": "integer"}],
        "PhysicalAssetActualProperty": [
            {"ID": name, "Value": [_value(text, "string")]} for name, text in properties.items() if text
        ],
    }


def _value(text: str, data_type: str, unit: str | None = None) -> dict[str, Any]:
    return {"ValueString": text, "DataType": data_type} | ({} if unit is None else {"UnitOfMeasure": unit})
