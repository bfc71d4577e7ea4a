"""A work order as JobResponse of B2MML V7 (IEC 62264-4 job response), as JSON.

Covered: ID, JobOrderID, WorkType, StartTime, EndTime, JobState, JobResponseData with the accepted readings,
PhysicalAssetActual with the bearings taken out and fitted. Not covered: personnel, material and process segments.
Member names are those of the B2MML V7.00 schemas, from memory; the JSON form is not validated against them.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

READY: Final = "AllowedToStart"
RUNNING: Final = "Running"
STATES: Final = {"completed": "Ended", "cancelled": "Aborted"}
"""States as in OPC 10031-4 (ISA-95 job control)"""
UCUM: Final = {
    "in": "[in_i]",
    "thou": "[mil_i]",
    "N.m": "N.m",
    "degC": "Cel",
    "degF": "[degF]",
    "lbf.ft": "[ft_i].[lbf_av]",
}


def job_response(
    order: Mapping[str, Any], readings: Iterable[Mapping[str, Any]], stays: Iterable[Mapping[str, Any]]
) -> dict[str, Any]:
    """Return the job response of an order.

    Parameters
    ----------
    order : dict
        The wire members of the work order
    readings : iterable of dict
        position, kind, row, quantity {value, unit}, taken_at; the accepted ones
    stays : iterable of dict
        use (``Removed`` or ``Installed``), position, serial, designation
    """
    data = [_data(each) for each in readings]
    state = STATES.get(order["status"]) or (RUNNING if data else READY)
    response = {
        "ID": order["id"],
        "JobOrderID": order["external"]["number"],
        "WorkType": "Maintenance",
        "StartTime": order["opened_at"],
        "JobState": state,
        "JobResponseData": data,
        "PhysicalAssetActual": [_asset(order["asset"], each) for each in stays],
    }
    if order["closed_at"] is not None:
        response["EndTime"] = order["closed_at"]
    return {"JobResponse": response}


def _data(reading: Mapping[str, Any]) -> dict[str, Any]:
    quantity = reading["quantity"]
    place = "/".join(str(part) for part in (reading["position"], reading["kind"], reading["row"]) if part is not None)
    unit = UCUM.get(quantity["unit"], quantity["unit"])
    value = {"ValueString": repr(quantity["value"]), "DataType": "double", "UnitOfMeasure": unit}
    return {"ID": place, "Description": f"taken at {reading['taken_at']}", "Value": value}


def _asset(asset: str, stay: Mapping[str, Any]) -> dict[str, Any]:
    named = {"PhysicalAssetID": stay["serial"]} if stay["serial"] else {}
    return {
        **named,
        "PhysicalAssetClassID": stay["designation"],
        "PhysicalAssetUse": stay["use"],
        "EquipmentID": asset,
        "EquipmentPosition": stay["position"],
        "Quantity": {"QuantityString": "1", "DataType": "integer"},
    }
