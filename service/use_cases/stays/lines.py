"""The flat record of a stay, the same in JSON, NDJSON and CSV: units in the names, no cell that a spreadsheet runs."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any, Final

from service.history.attributes import PREFIX, attributes_of
from service.moments import rfc3339
from service.spreadsheet import guarded
from service.units import NM_PER_MM

TIMES: Final = ("installed_at", "removed_at", "as_of", "observed_from", "replaced_at")
CLEARANCES: Final = ("initial_clearance_mm", "residual_clearance_mm", "window_min_mm", "window_max_mm")
DIAMETERS: Final = ("shaft_diameter_mm", "shaft_min_mm", "shaft_max_mm")
LENGTHS: Final = (*CLEARANCES, *DIAMETERS)
ATTRIBUTES: Final = "attributes"
"""One member in JSON; in CSV a column for each name of the site."""
STAY_COLUMNS: Final = (
    "external_id", "asset", "position", "designation", "manufacturer", "serial", "installed_at", "removed_at",
    "operating_hours", "as_of", "age_at_install_h", "observed_from", "end_type", "inspected", "damage", "cause",
    *CLEARANCES, "downtime_h", "work_order", "installed_by", *DIAMETERS,
    "lubricant", "batch", "speed_rpm", "temperature_degc", "radial_load_n", ATTRIBUTES,
)  # fmt: skip
FITTED_COLUMNS: Final = (
    "fitted_id", "fitted_external_id", "replaced_at", "fitted_designation", "fitted_manufacturer", "fitted_serial",
    "fitted_work_order",
)  # fmt: skip
LISTED_COLUMNS: Final = ("id", *STAY_COLUMNS)
REPLACEMENT_COLUMNS: Final = (*LISTED_COLUMNS, *FITTED_COLUMNS)


def cells_of(columns: Sequence[str], names: Sequence[str]) -> tuple[str, ...]:
    """Return the columns as CSV has them: in place of the attributes, a column for each name."""
    return tuple(
        cell for name in columns for cell in ([f"{PREFIX}{one}" for one in names] if name == ATTRIBUTES else [name])
    )


def flat_line(row: Any, columns: Sequence[str]) -> dict[str, Any]:
    """Return the flat members of a row."""
    return dict(zip(columns, flat_values(row, columns), strict=True))


def flat_values(row: Any, columns: Sequence[str]) -> list[Any]:
    """Return the flat values of a row: times as text, lengths in mm."""
    members = row._mapping
    held = attributes_of(members[ATTRIBUTES])
    values: list[Any] = []
    for name in columns:
        if name in LENGTHS:
            value_nm = members[f"{name[:-3]}_nm"]
            values.append(None if value_nm is None else value_nm / NM_PER_MM)
        elif name in TIMES:
            values.append(None if members[name] is None else rfc3339(members[name]))
        elif name == ATTRIBUTES:
            values.append(held)
        elif name.startswith(PREFIX):
            values.append(held.get(name.removeprefix(PREFIX)))
        else:
            values.append(members[name])
    return values


def csv_lines(lines: Iterable[Sequence[Any]]) -> str:
    """Return the lines as CSV: true and false in words, nothing where nothing is known, texts guarded."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerows([_cell(value) for value in line] for line in lines)
    return out.getvalue()


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return guarded(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    return value
