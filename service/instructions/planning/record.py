"""The member ``planning`` of a plan: parts, tools, masses, grease, ways, hours and crew, for whoever plans the job."""

from collections.abc import Mapping, Sequence
from typing import Any

from service import units
from service.errors import Text
from service.instructions.plan.scene import Scene
from service.instructions.planning.fills import fills
from service.instructions.planning.handling import Way, mass_records, ways_of
from service.instructions.planning.hours import Estimate, estimate
from service.instructions.planning.masses import bearing_mass, printed_mass
from service.instructions.planning.messages import message
from service.instructions.planning.parts import parts
from service.instructions.planning.tools import Bench, tools
from service.record import Record
from service.units import Quantity


def planning_record(scene: Scene, steps: Sequence[Mapping[str, Any]], lift: Mapping[str, Any] | None) -> Record:
    """Return {parts, tools, masses, lifting, grease, tightening, freeing, hours, crew}.

    Parameters
    ----------
    steps : sequence of step records
        The numbered steps of the plan
    lift : {lift_height, lift_limit} or None
        As the placement of the plan says
    """
    handled = ways_of(scene)
    found = _estimate(scene, handled)
    return {
        "parts": parts(scene, steps),
        "tools": tools(Bench(scene, tuple(steps), handled)),
        "masses": mass_records(scene, handled),
        "lifting": {
            "rotor_mass": None if scene.job.rotor_mass_kg is None else units.mass(scene.job.rotor_mass_kg),
            "lift_height": None if lift is None else lift["lift_height"],
            "lift_limit": None if lift is None else lift["lift_limit"],
        },
        "grease": _grease(scene),
        "tightening": [way.tightening_record() for way in handled.values() if way.tightening is not None],
        "freeing": [{"position": name, "way": way.freeing} for name, way in handled.items() if way.freeing is not None],
        "hours": _hours(scene, found),
        "crew": None if found is None else {"fitters": found.crew, "crane_driver": found.crane_driver},
    }


def _grease(scene: Scene) -> list[Record]:
    """Return what each block takes: its bearing, its housing by its book, what is drawn from the store."""
    return [
        {
            "position": fill.position,
            "name": scene.at[fill.position].grease,
            "lubrication": "oil" if fill.oil else "grease",
            "bearing": _grams(fill.bearing_g),
            "housing": _grams(fill.housing_g),
            "drawn": _grams(fill.drawn_g),
            "by_book": fill.by_book,
        }
        for fill in fills(scene)
    ]


def _grams(value_g: float | None) -> Quantity | None:
    return None if value_g is None else units.grease(value_g)


def _estimate(scene: Scene, handled: Mapping[str, Way]) -> Estimate | None:
    """Return the hours of the job by the heaviest bearing it touches; None where a mass is not known."""
    names = scene.worked if handled else scene.in_order
    masses = [None if (bearing := scene.bearing(name)) is None else bearing_mass(bearing) for name in names]
    known = [each for each in masses if each is not None]
    if not known or len(known) < len(masses):
        return None
    obstacles = [each.keyed for name in scene.worked for each in scene.at[name].in_the_way or ()]
    return estimate(
        mass_kg=printed_mass(max(known)),
        bearings=len(names),
        supports=len(scene.at),
        in_the_way=obstacles,
        own_hours=scene.job.planning_hours,
        inspection=scene.job.kind != "replacement",
    )


def _hours(scene: Scene, found: Estimate | None) -> Record:
    """Return {size, phases: [{phase, hours, own}], total, said}; the said states the assumption beside the number."""
    if found is None:
        return {"size": None, "phases": [], "total": None, "said": message("hours_unknown")}
    return {
        "size": found.size,
        "phases": [
            {"phase": phase, "hours": Quantity("time", hours), "own": phase in found.own}
            for phase, hours in found.phases_h.items()
        ],
        "total": Quantity("time", found.total_h),
        "said": _said(found),
    }


def _said(found: Estimate) -> Text:
    own = [phase for phase in found.phases_h if phase in found.own]
    if not own:
        return message("hours_assumed")
    if len(own) == len(found.phases_h):
        return message("hours_own")
    return message("hours_partly_own", phases=", ".join(each.replace("_", " ") for each in own))
