"""A machine as the desk shows it: its shafts and what holds them, what runs where at which age, its stays."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from service import units
from service.arrangement.shaft_line import arrangement
from service.errors import CannotEvaluate, Text
from service.instructions.books.books import HOUSING
from service.instructions.plan.job import body_of, drives_of, support_of, wheels_of
from service.record import Record
from service.store.queries.assets import AssetRow
from service.store.queries.books import books_in_force
from service.store.queries.stay_lists import Chosen, stay_rows
from service.store.transaction import Tx

MOST_STAYS: Final = 2_000
RUNNING: Final = "running"


ShaftLine = tuple[Mapping[str, Any], Record | None, Text]
"""The document of a shaft, what is decided about it, and the sentence that says why nothing is."""


def shaft_lines(tx: Tx, asset: AssetRow) -> list[ShaftLine]:
    """Return the shafts of a machine, each with its arrangement as far as what is on record decides it."""
    housings = books_in_force(tx, (HOUSING,)).housings
    return [_shaft_line(shaft, housings) for shaft in asset.shafts]


def _shaft_line(shaft: Mapping[str, Any], housings: Mapping[str, Any]) -> ShaftLine:
    body = shaft.get("shaft") or {}
    given = {
        name: body[member] if member == "diameter" else shaft[member]
        for name, member, of in (
            ("assembly_temperature_degc", "assembly_temperature", shaft),
            ("reserve_mm", "reserve", shaft),
        )
        if member in of
    }
    options = {name: quantity.value for name, quantity in given.items() if quantity is not None}
    try:
        found = arrangement(
            supports=tuple(
                support_of(each, f"positions/{n}", housings=housings) for n, each in enumerate(shaft["positions"])
            ),
            drives=drives_of(shaft.get("drives")),
            wheels=wheels_of(shaft.get("wheels")),
            shaft=body_of(shaft.get("shaft")),
            base=body_of(shaft.get("base")),
            shaft_diameter_mm=body["diameter"].value if "diameter" in body else None,
            **options,
        )
    except CannotEvaluate as error:
        return shaft, None, error.detail
    return shaft, found.record(), ""


def stays_of(tx: Tx, asset: AssetRow, ages: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return the stays of a machine as they are shown, the latest fitted first; lengths as quantities.

    Parameters
    ----------
    ages : mapping of stay id to a line of the lives behind an answer
        Age, and what it was counted by
    """
    rows = stay_rows(tx, Chosen(asset=asset.tag), after=None, limit=MOST_STAYS)
    return sorted(
        (_shown(row, ages.get(row.id, {})) for row in rows), key=lambda one: one["installed_at"], reverse=True
    )


def _shown(row: Any, life: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "id": row.id,
        "position": row.position,
        "designation": row.designation,
        "manufacturer": row.manufacturer,
        "serial": row.serial,
        "installed_at": row.installed_at,
        "removed_at": row.removed_at,
        "end_type": row.end_type,
        "damage": row.damage,
        "cause": row.cause,
        "age_h": life.get("age_h"),
        "age_basis": life.get("age_basis"),
        "initial": _clearance(row.initial_clearance_nm),
        "residual": _clearance(row.residual_clearance_nm),
        "window_min": _clearance(row.window_min_nm),
        "window_max": _clearance(row.window_max_nm),
        "place": place_in_window(row.residual_clearance_nm, row.window_min_nm, row.window_max_nm),
        "installed_by": row.installed_by,
        "work_order": row.work_order,
    }


def place_in_window(value_nm: int | None, low_nm: int | None, high_nm: int | None) -> str | None:
    """Return below, inside or above, None where reading or window is not on record; limits are inside."""
    if value_nm is None or low_nm is None or high_nm is None:
        return None
    return "below" if value_nm < low_nm else "above" if value_nm > high_nm else "inside"


def chosen(stays: Sequence[dict[str, Any]], filters: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return those stays of which every member that is named has the value that is named."""
    return [one for one in stays if all(one[name] == value for name, value in filters.items())]


def in_order(stays: Sequence[dict[str, Any]], by: str, *, falling: bool) -> list[dict[str, Any]]:
    """Return stays by a member; those without it stand last, whichever way."""
    known = [one for one in stays if one[by] is not None]
    ordered = sorted(known, key=lambda one: _number(one[by]), reverse=falling)
    return ordered + [one for one in stays if one[by] is None]


def _number(value: Any) -> Any:
    return value.value if isinstance(value, units.Quantity) else value


def _clearance(value_nm: int | None) -> units.Quantity | None:
    return None if value_nm is None else units.clearance(value_nm)
