"""The plan: complete instructions for one order on one shaft, as a unit-neutral record (rules I1-I9).

Nothing that is missing makes it fail: what is not known is listed with why it matters and how to get it, and stands in
the readiness list, which the office answers before the order is released (rule I5).

A step is {number, id, per: once|each|held|free, positions, phase, title, text: {brief, standard, full}, by_position:
[{position, text}], hold: 1..9|null, stop: code|null, record: {kind, unit, limits: [{position, min, max, aim}]}|null,
cautions, tools, parts, rule, sources}. ``full`` holds the sentences that are read after the standard ones. ``cautions``
are those of a whole phase, at its first step.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from service import ENGINE_VERSION
from service.errors import ServiceError
from service.instructions.plan.assembly import numbered
from service.instructions.plan.calculations import (
    arrangement_record,
    base_bolts_record,
    bolting_record,
    target_record,
)
from service.instructions.plan.job import Job, PositionFacts
from service.instructions.plan.last_time import last_time_records
from service.instructions.plan.lines import Places, lines_of, with_stops
from service.instructions.plan.missing import missing_facts
from service.instructions.plan.placing import placement_record
from service.instructions.plan.run_in_facts import run_in_record
from service.instructions.plan.scene import Scene
from service.instructions.plan.step_table import built_in_steps, phases, sources, with_site_steps
from service.instructions.plan.stopped import blocked_findings
from service.instructions.planning.record import planning_record
from service.instructions.readiness import questions
from service.record import Record
from service.reference.tables import DATA_VERSION


def plan(job: Job) -> Record:
    """Return the instructions of an order, without what a revision adds (id, number, time, hash).

    Raises
    ------
    CannotEvaluate
        A bearing lies outside the tables, or does not go with its seat; the field leads to it.
    """
    scene = scene_of(job)
    records = [*scene.targets.values(), *([scene.arrangement] if scene.arrangement else []), *scene.bolting.values()]
    blocked, placement = blocked_findings(scene), placement_record(scene)
    steps = _steps(scene, placement, blocked)
    return {
        "data_version": DATA_VERSION,
        "engine_version": ENGINE_VERSION,
        "units": job.units,
        "asset": job.asset_tag,
        "asset_name": job.asset_name,
        "shaft": job.shaft_name,
        "positions": list(job.replaced),
        "kind": job.kind,
        "phases": _phases(steps),
        "steps": steps,
        "targets": [{"position": name, **target} for name, target in scene.targets.items()],
        "arrangement": scene.arrangement,
        "placement": placement,
        "bolting": [{"position": name, **_without(each, "torque_source")} for name, each in scene.bolting.items()],
        "base_bolts": [
            {"position": name, **_without(each, "missing", "sources")} for name, each in scene.base_bolts.items()
        ],
        "run_in": run_in_record(scene),
        "planning": planning_record(scene, steps, _lift(placement)),
        "readiness": questions(scene),
        "last_time": last_time_records(scene, placement),
        "missing": missing_facts(scene),
        "blocked": blocked,
        "warnings": once(each for record in records for each in record["warnings"]),
        "sources": _sources([*records, *scene.base_bolts.values()], steps),
    }


def _steps(scene: Scene, placement: Record | None, blocked: list[Record]) -> list[Record]:
    places = Places.of(scene, placement)
    lines = lines_of(with_site_steps(built_in_steps(), scene.job.site_steps), scene, places)
    return numbered(with_stops(lines, blocked, scene), scene, places)


def scene_of(job: Job) -> Scene:
    """Return the job with its calculations.

    Raises
    ------
    CannotEvaluate
        As ``plan``.
    """
    worked_on = [position for position in job.positions if position.name in job.replaced]
    targets = {}
    for position in worked_on:
        try:
            targets[position.name] = target_record(job, position)
        except ServiceError as error:
            raise error.below(_path(job, position)) from None
    bolting = {position.name: bolting_record(job, position) for position in job.positions}
    base = {each.name: record for each in worked_on if (record := base_bolts_record(each)) is not None}
    return Scene(job, targets, arrangement_record(job), bolting, base)


def _path(job: Job, position: PositionFacts) -> str:
    """Return where the bearing that is fitted stands in the request: in the order, else in the asset."""
    if position.name in job.fitted:
        return f"positions/{job.replaced.index(position.name)}"
    return position.path


def _phases(steps: Iterable[Mapping[str, Any]]) -> list[Record]:
    used = dict.fromkeys(step["phase"] for step in steps)
    return [{"id": name, "title": phases()[name].title} for name in used]


def _without(record: Mapping[str, Any], *members: str) -> Record:
    return {key: value for key, value in record.items() if key not in members}


def _lift(placement: Record | None) -> Record | None:
    return None if placement is None else placement["lift"]


def once(records: Iterable[Record]) -> list[Record]:
    """Return the records in their order, each once."""
    result: list[Record] = []
    for each in records:
        if each not in result:
            result.append(each)
    return result


def _sources(records: Iterable[Mapping[str, Any]], steps: Iterable[Mapping[str, Any]]) -> list[Record]:
    """Return every source once: those of the numbers, then those that only steps cite."""
    found = {each["id"]: each for record in records for each in record["sources"]}
    own = sources()
    for step in steps:
        for cited in step["sources"]:
            if cited not in found and cited in own:
                found[cited] = own[cited].record()
    return list(found.values())
