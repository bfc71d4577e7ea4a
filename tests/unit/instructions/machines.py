"""Invented machines for the tests of plans and cards, as the documents in which assets are kept."""

from collections.abc import Iterator
from copy import deepcopy
from typing import Any

from service import units
from service.instructions.plan.job import Job, job_from_record
from service.instructions.plan.plan import plan
from service.units import Quantity

BEARING = {"designation": "22216 K/C3"}
NARROW_516 = {"size": "516", "dimensions": "metric", "seat_design": "narrow_seat"}
WIDE_516 = {**NARROW_516, "seat_design": "wide_seat"}
INCH_516 = {"size": "516", "dimensions": "inch"}


def position(name: str, at_m: float | None = None, **facts: Any) -> dict[str, Any]:
    """Return a position; without facts nothing but its name is known."""
    place = {} if at_m is None else {"at": units.distance(at_m * 1000)}
    return {"name": name, **place, **facts}


def asset(*positions: dict[str, Any], **shaft: Any) -> dict[str, Any]:
    """Return an asset with one shaft."""
    return {"tag": "MIX-7", "name": "Mixer 7", "shafts": [{"name": "main", "positions": list(positions), **shaft}]}


def dryer_fan(housing: dict[str, Any] = NARROW_516, **facts: Any) -> dict[str, Any]:
    """Return a fan on two supports, driven beyond the second, its shaft 60 K warmer than at assembly."""
    known = {"bearing": BEARING, "housing": housing, "seat": "adapter_sleeve", **facts}
    return asset(
        position("tail", 0.0, **known),
        position("drive", 3.0, **known),
        drives=[{"at": units.distance(3400.0), "kind": "coupling"}],
        shaft={"material": "carbon_steel", "temperature": units.temperature(80.0)},
        base={"material": "concrete", "temperature": units.temperature(20.0)},
    )


def complete_fan() -> dict[str, Any]:
    """Return the same fan with everything known that a plan may ask of a position."""
    return dryer_fan(
        housing=INCH_516,
        shaft_diameter=units.dimension(68.2625),
        sleeve_thread="inch",
        temperature_difference=units.temperature_difference(10.0),
        radial_load=units.force(9000.0),
        load_direction="down",
        lubrication="grease",
        locknut_side="minus",
    )


def two_locating() -> dict[str, Any]:
    """Return the fan with both bearings on record as locating."""
    return dryer_fan(role="locating")


def unknown_machine() -> dict[str, Any]:
    """Return two positions of which nothing but the names is known."""
    return asset(position("north"), position("south"))


def job(document: dict[str, Any], *names: str, system: str = "inch", **more: Any) -> Job:
    """Return the job of replacing the bearings of the named positions."""
    return job_from_record(deepcopy(document), replaced=[(name, None) for name in names], units=system, **more)


def plan_of(document: dict[str, Any], *names: str, system: str = "inch", **more: Any) -> dict[str, Any]:
    """Return the plan of replacing the bearings of the named positions."""
    return plan(job(document, *names, system=system, **more))


def leaves(node: Any) -> Iterator[Quantity]:
    """Yield every quantity of a record, those inside sentences too."""
    if isinstance(node, Quantity):
        yield node
    elif isinstance(node, dict):
        for value in node.values():
            yield from leaves(value)
    elif isinstance(node, list | tuple):
        for value in node:
            yield from leaves(value)


def words(node: Any) -> Iterator[str]:
    """Yield every string of a record, those inside sentences too."""
    if isinstance(node, str):
        yield node
    elif isinstance(node, dict):
        for value in node.values():
            yield from words(value)
    elif isinstance(node, list | tuple):
        for value in node:
            yield from words(value)


def step(record: dict[str, Any], name: str, place: str | None = None) -> dict[str, Any]:
    """Return the one step of a plan with this id, done at this position."""
    found = [
        each
        for each in record["steps"]
        if each["id"] == name and (place is None or place in (each["positions"] or [place]))
    ]
    assert len(found) == 1, f"{len(found)} steps are {name} at {place}"
    return found[0]
