"""Removals as rows in the manner of ISO 14224: equipment, item, failure and maintenance data beside each other.

Covered: the names of its data groups for one maintainable item, the rolling bearing, in our own words. Not covered: the
standard's own codes of failure modes and causes; ours are those of the stays (end_type, ISO 15243 damage).
"""

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any, Final

from service.spreadsheet import inert

COLUMNS: Final = (
    "equipment_tag",
    "subunit",
    "maintainable_item",
    "item_location",
    "item_model",
    "item_manufacturer",
    "item_serial",
    "start_of_service",
    "event_date",
    "event_kind",
    "failure_mechanism",
    "failure_cause",
    "maintenance_activity",
    "operating_time_h",
    "down_time_h",
    "work_order",
)


def failure_rows(stays: Iterable[Mapping[str, Any]]) -> str:
    """Return CSV, one row for each bearing that was taken out; empty where nothing is known.

    Parameters
    ----------
    stays : iterable of dict
        asset, position, designation, manufacturer, serial, installed_at, removed_at, end_type, damage, cause,
        operating_hours, downtime_h, work_order
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for stay in stays:
        if stay["removed_at"] is not None:
            writer.writerow([inert(value) if isinstance(value, str) else value for value in _row(stay)])
    return out.getvalue()


def _row(stay: Mapping[str, Any]) -> tuple[Any, ...]:
    return (
        stay["asset"],
        "shaft support",
        "rolling bearing",
        stay["position"],
        stay["designation"],
        stay["manufacturer"],
        stay["serial"],
        stay["installed_at"],
        stay["removed_at"],
        stay["end_type"],
        stay["damage"],
        stay["cause"],
        "replacement",
        stay["operating_hours"],
        stay["downtime_h"],
        stay["work_order"],
    )
