"""The flat record of a stay, the same in JSON, NDJSON and CSV: units in the names, no cell that a spreadsheet runs."""

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, Final

from marshmallow import fields as ma_fields

from service.api.wire.answers import AnswerSchema, word
from service.history.stays import END_TYPES
from service.units import NM_PER_MM

TIMES: Final = ("installed_at", "removed_at", "as_of", "observed_from", "replaced_at")
CLEARANCES: Final = ("initial_clearance_mm", "residual_clearance_mm", "window_min_mm", "window_max_mm")
DIAMETERS: Final = ("shaft_diameter_mm", "shaft_min_mm", "shaft_max_mm")
LENGTHS: Final = (*CLEARANCES, *DIAMETERS)
STAY_COLUMNS: Final = (
    "external_id", "asset", "position", "designation", "manufacturer", "serial", "installed_at", "removed_at",
    "operating_hours", "as_of", "age_at_install_h", "observed_from", "end_type", "inspected", "damage", "cause",
    *CLEARANCES, "downtime_h", "work_order", "installed_by", *DIAMETERS,
)  # fmt: skip
FITTED_COLUMNS: Final = (
    "fitted_id", "fitted_external_id", "replaced_at", "fitted_designation", "fitted_manufacturer", "fitted_serial",
    "fitted_work_order",
)  # fmt: skip
LISTED_COLUMNS: Final = ("id", *STAY_COLUMNS)
REPLACEMENT_COLUMNS: Final = (*LISTED_COLUMNS, *FITTED_COLUMNS)
GUARDED: Final = ("=", "+", "-", "@", "\t", "\r", "'")
"""A text that begins with one of these is written with ``'`` before it, and read without it."""


class StayRead(AnswerSchema):
    """One bearing in one position, from fitting to removal; flat, units in the names."""

    id = word()
    external_id = word(null=True)
    asset = word()
    position = word()
    designation = word()
    manufacturer = word(null=True)
    serial = word(null=True)
    installed_at = ma_fields.DateTime(required=True)
    removed_at = ma_fields.DateTime(required=True, allow_none=True)
    operating_hours = ma_fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "Age of the bearing at removal, or at as_of while it runs; overrides meters"},
    )
    as_of = ma_fields.DateTime(required=True, allow_none=True)
    age_at_install_h = ma_fields.Float(required=True, allow_none=True)
    observed_from = ma_fields.DateTime(required=True, allow_none=True)
    end_type = ma_fields.String(required=True, metadata={"enum": list(END_TYPES)})
    inspected = ma_fields.Boolean(required=True, allow_none=True)
    damage = word(null=True, description="Codes of ISO 15243, | between them")
    cause = word(null=True)
    initial_clearance_mm = ma_fields.Float(required=True, allow_none=True)
    residual_clearance_mm = ma_fields.Float(required=True, allow_none=True)
    window_min_mm = ma_fields.Float(required=True, allow_none=True)
    window_max_mm = ma_fields.Float(required=True, allow_none=True)
    downtime_h = ma_fields.Float(required=True, allow_none=True)
    work_order = word(null=True)
    installed_by = word(null=True, description="Who mounted it")
    shaft_diameter_mm = ma_fields.Float(
        required=True,
        allow_none=True,
        metadata={"description": "Of the shaft under the bearing, as measured; farthest outside its limits, else mean"},
    )
    shaft_min_mm = ma_fields.Float(required=True, allow_none=True)
    shaft_max_mm = ma_fields.Float(required=True, allow_none=True)


class ReplacementRead(StayRead):
    """A bearing removed (its stay) and the next one fitted in the same position."""

    fitted_id = word(description="Id of the stay that followed")
    fitted_external_id = word(null=True)
    replaced_at = ma_fields.DateTime(required=True, metadata={"description": "When the next bearing was fitted"})
    fitted_designation = word()
    fitted_manufacturer = word(null=True)
    fitted_serial = word(null=True)
    fitted_work_order = word(null=True)


def flat_line(row: Any, columns: Sequence[str]) -> dict[str, Any]:
    """Return the flat members of a row."""
    return dict(zip(columns, flat_values(row, columns), strict=True))


def flat_values(row: Any, columns: Sequence[str]) -> list[Any]:
    """Return the flat values of a row: times as text, lengths in mm."""
    members = row._mapping
    values: list[Any] = []
    for name in columns:
        if name in LENGTHS:
            value_nm = members[f"{name[:-3]}_nm"]
            values.append(None if value_nm is None else value_nm / NM_PER_MM)
        elif name in TIMES:
            values.append(_moment(members[name]))
        else:
            values.append(members[name])
    return values


def csv_lines(lines: Iterable[Sequence[Any]]) -> str:
    """Return the lines as CSV: true and false in words, nothing where nothing is known, texts guarded."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerows([_cell(value) for value in line] for line in lines)
    return out.getvalue()


def unguarded(cell: str) -> str:
    """Return what a text cell said before it was guarded."""
    return cell[1:] if cell.startswith("'") and cell[1:2] in GUARDED else cell


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return f"'{value}" if value.startswith(GUARDED) else value
    if isinstance(value, bool):
        return "true" if value else "false"
    return value


def _moment(time: datetime | None) -> str | None:
    """Return a time of the store, which is UTC, as the wire writes it."""
    return None if time is None else time.isoformat(timespec="microseconds").replace("+00:00", "Z")
