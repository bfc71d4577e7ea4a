"""How a bearing was mounted, as its stay keeps it: readings, window, and by which numbers."""

from collections.abc import Mapping, Sequence
from math import ceil, floor
from typing import Any, Final

from service.instructions.readings.hold_points import DEVIATION
from service.instructions.readings.readings import Value, measured_of
from service.moments import rfc3339
from service.mounting.readings import ACCEPT, seat_diameter
from service.store.queries import entries
from service.store.queries.entries import ReadingRow
from service.store.unit_of_work import Tx
from service.units import NM_PER_MM, Quantity
from service.use_cases.orders.held import HeldOrder

SHAFT: Final = "shaft_diameter"


def as_mounted(tx: Tx, at: HeldOrder, name: str, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return how the bearing was mounted: the last accepted readings, and the window they were judged by."""
    read = [row for row in entries.readings_of(tx, at.order.id) if row.position == name]
    last = {row.kind: row for row in read if _counts(row)}
    target = next(each for each in at.revision.record["targets"] if each["position"] == name)
    window = target["residual_clearance"]
    known = window is not None and not window["provisional"]
    return {
        "initial_clearance_nm": _mean_nm(last.get("initial_clearance")),
        "residual_clearance_nm": _mean_nm(last.get("residual_clearance")),
        "window_min_nm": ceil(window["min"].value) if known else None,
        "window_max_nm": floor(window["max"].value) if known else None,
        **_fit(at, name, [row for row in read if row.kind == SHAFT]),
        "document": _mounting_document(at, name, target, last, given),
    }


def _fit(at: HeldOrder, name: str, read: Sequence[ReadingRow]) -> dict[str, Any]:
    """Return what the shaft measured last, accepted or not, since a deviation may let it pass; and its limits."""
    steps = (each for each in at.revision.record["steps"] if each["position"] == name and each["record"] is not None)
    asked = next((each["record"] for each in steps if each["record"]["kind"] == SHAFT), None)
    limits = None if asked is None else asked.get("limits")
    least_nm, most_nm = (None if limits is None else _nm(limits[end]) for end in ("min", "max"))
    diameter_nm = None
    if read:
        values_nm = [_nm(each["value"]) for each in read[-1].document["values"]]
        diameter_nm = seat_diameter(values_nm, least_nm=least_nm, most_nm=most_nm)
    return {"shaft_diameter_nm": diameter_nm, "shaft_min_nm": least_nm, "shaft_max_nm": most_nm}


def _nm(dimension: Quantity) -> int:
    """Return a dimension in whole nanometres, in which limits are compared."""
    return round(dimension.value * NM_PER_MM)


def _counts(row: ReadingRow) -> bool:
    return row.verdict == ACCEPT and row.kind != "confirmation"


def _mean_nm(row: ReadingRow | None) -> int | None:
    """Return the mean of the rows of rollers, in whole nanometres."""
    if row is None:
        return None
    values = [Value(quantity=v["value"], row=v.get("row"), point=v.get("point")) for v in row.document["values"]]
    rows_nm = measured_of(values).row_values_nm
    return round(sum(rows_nm) / len(rows_nm))


def _mounting_document(
    at: HeldOrder, name: str, target: Mapping[str, Any], last: Mapping[str, ReadingRow], given: Mapping[str, Any]
) -> dict[str, Any]:
    """Return what a stay keeps of its mounting, for those who ask later which numbers it was mounted by."""
    supports = (at.revision.record["arrangement"] or {}).get("supports", ())
    roles = [each["role"] for each in supports if each["name"] == name]
    readings = {
        kind: {
            "reading": row.id,
            "values": row.document["values"],
            "revision": row.revision,
            "instrument": row.document.get("instrument"),
            "method": row.document.get("method"),
            "taken_by": row.taken_by,
            "taken_at": rfc3339(row.taken_at),
        }
        for kind, row in last.items()
    }
    deviations = [e.step for e in at.entries if e.kind == DEVIATION and e.position in (None, name)]
    document = {
        "revision": at.revision.number,
        "revision_sha256": at.revision.sha256,
        "data_version": at.revision.data_version,
        "engine_version": at.revision.engine_version,
        "role": roles[0] if roles else None,
        "sources": [each["id"] for each in target["sources"]],
        "readings": readings,
        "deviations": deviations,
        "completed_by": given["completed_by"],
    }
    return document | ({"meter_at_install": given["meter_reading"]} if "meter_reading" in given else {})
