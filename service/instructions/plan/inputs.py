"""The stored inputs of a revision, and the job they stand for: the same inputs always make the same plan (rule I6)."""

from collections.abc import Mapping
from typing import Any, Final

from service.instructions.books.books import NO_BOOKS, SiteBooks
from service.instructions.plan.job import Job, job_from_record
from service.mounting.blades import blade_set_of
from service.mounting.clearance import Measured

Inputs = Mapping[str, Any]
OVERRIDING: Final = ("ring_present", "locknut_side", "lubrication", "ring_moves", "seat_tight")
"""As-found facts that override the record of a position (rule A5)."""


def job_of_inputs(inputs: Inputs, *, books: SiteBooks = NO_BOOKS) -> Job:
    """Return the job of stored inputs {asset, positions, kind, units, blade_set, books?, measured?, as_found?,
    seats_mm?, refitted?, refit_ordered?, answers?, planning_hours?, last_time?, ...}.

    Parameters
    ----------
    books : SiteBooks
        The site's own charts and housings, in the versions that the inputs name (``store.books.books_of``).

    Raises
    ------
    CannotEvaluate
        As ``job_from_record``.
    """
    return job_from_record(
        _as_found_machine(inputs["asset"], inputs.get("as_found") or {}),
        replaced=[(position["name"], position["bearing"]) for position in inputs["positions"]],
        kind=inputs["kind"],
        units=inputs["units"],
        blade_set=blade_set_of(inputs["blade_set"]),
        housings=books.housings,
        measured={name: Measured(tuple(map(tuple, rows))) for name, rows in (inputs.get("measured") or {}).items()},
        wrench=inputs.get("wrench"),
        charts=books.charts,
        torques=books.torques,
        seats_mm=inputs.get("seats_mm"),
        refitted=refitted_of(inputs),
        answers=inputs.get("answers"),
        planning_hours=inputs.get("planning_hours"),
        last_time=inputs.get("last_time") or (),
    )


def refitted_of(inputs: Inputs) -> tuple[str, ...]:
    """Return the positions whose own bearing goes back in: as the order or the office says, or as it was measured."""
    return tuple(dict.fromkeys((*(inputs.get("refit_ordered") or ()), *(inputs.get("refitted") or ()))))


def with_measured(inputs: Inputs, position: str, measured: Measured) -> dict[str, Any]:
    """Return the inputs with the measured initial clearance of a position."""
    rows = [list(row) for row in measured.rows_nm]
    return {**inputs, "measured": {**(inputs.get("measured") or {}), position: rows}}


def with_seats(inputs: Inputs, position: str, spacing_mm: float) -> dict[str, Any]:
    """Return the inputs with the distance of the seat centres as read, from the held one to this free one, [mm]."""
    return {**inputs, "seats_mm": {**(inputs.get("seats_mm") or {}), position: spacing_mm}}


def with_refitted(inputs: Inputs, position: str, *, refitted: bool) -> dict[str, Any]:
    """Return the inputs with whether the own bearing of a position goes back in."""
    before = list(inputs.get("refitted") or ())
    named = [name for name in before if name != position] + ([position] if refitted else [])
    return dict(inputs) if named == before else {**inputs, "refitted": named}


def without_readings(inputs: Inputs) -> dict[str, Any]:
    """Return the inputs without all that readings told: clearances, seats, bearings that were found to go back in."""
    return {name: value for name, value in inputs.items() if name not in ("measured", "seats_mm", "refitted")}


def with_as_found(inputs: Inputs, position: str, facts: Mapping[str, Any]) -> dict[str, Any]:
    """Return the inputs with what was found at a position; the same inputs when nothing overrides the record."""
    found = {name: facts[name] for name in OVERRIDING if name in facts}
    before = inputs.get("as_found") or {}
    known = _position_of(inputs["asset"], position) | before.get(position, {})
    if all(known.get(name) == value for name, value in found.items()):
        return dict(inputs)
    return {**inputs, "as_found": {**before, position: {**before.get(position, {}), **found}}}


def _position_of(asset: Mapping[str, Any], name: str) -> dict[str, Any]:
    return next(dict(each) for shaft in asset["shafts"] for each in shaft["positions"] if each["name"] == name)


def _as_found_machine(asset: Mapping[str, Any], found: Mapping[str, Mapping[str, Any]]) -> Mapping[str, Any]:
    """Return the machine with what was found in place of what is on record."""
    if not found:
        return asset
    shafts = [
        {**shaft, "positions": [{**each, **found.get(each["name"], {})} for each in shaft["positions"]]}
        for shaft in asset["shafts"]
    ]
    return {**asset, "shafts": shafts}
