"""The plan: complete instructions for one order on one shaft, as a unit-neutral record (rules I1-I9).

Nothing that is missing makes it fail: what is not known is listed with why it matters and how to get it, and the
plan gets the hold point that asks for it (rule I5).
"""

from collections.abc import Iterable, Mapping
from typing import Any

from service import ENGINE_VERSION
from service.errors import ServiceError, Text
from service.findings import Missing
from service.instructions.plan.added_steps import question_steps, stop_steps
from service.instructions.plan.assembly import Step, merged, numbered, steps_of
from service.instructions.plan.calculations import (
    MOST_SUPPORTS,
    arrangement_record,
    base_bolts_record,
    bolting_record,
    target_record,
)
from service.instructions.plan.facts import Scene
from service.instructions.plan.job import Job, PositionFacts
from service.instructions.plan.step_table import built_in_steps, sources, with_site_steps
from service.instructions.plan.template import joined
from service.record import Record
from service.reference.tables import DATA_VERSION


def plan(job: Job) -> Record:
    """Return the instructions of an order, without what a revision adds (id, number, time, hash).

    Raises
    ------
    CannotEvaluate
        A bearing lies outside the tables, or does not go with its seat; the field leads to it.
    """
    scene = _scene(job)
    records = [*scene.targets.values(), *([scene.arrangement] if scene.arrangement else []), *scene.bolting.values()]
    missing, blocked = _missing(scene), _blocked(scene)
    base = steps_of(with_site_steps(built_in_steps(), job.site_steps), scene)
    asked = question_steps(missing, frozenset(step.id for step in base), job.kind)
    steps = merged(base, [*stop_steps(blocked), *asked])
    return {
        "data_version": DATA_VERSION,
        "engine_version": ENGINE_VERSION,
        "units": job.units,
        "asset": job.asset_tag,
        "asset_name": job.asset_name,
        "shaft": job.shaft_name,
        "positions": list(job.replaced),
        "kind": job.kind,
        "steps": numbered(steps),
        "targets": [{"position": name, **target} for name, target in scene.targets.items()],
        "arrangement": scene.arrangement,
        "bolting": [{"position": name, **_without_words(each)} for name, each in scene.bolting.items()],
        "base_bolts": [{"position": name, **_without_findings(each)} for name, each in scene.base_bolts.items()],
        "parts": _parts(steps),
        "tools": list(dict.fromkeys(tool for step in steps for tool in step.tools)),
        "missing": missing,
        "blocked": blocked,
        "warnings": _once(each for record in records for each in record["warnings"]),
        "sources": _sources([*records, *scene.base_bolts.values()], steps),
    }


def _scene(job: Job) -> Scene:
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


def _missing(scene: Scene) -> list[Record]:
    """Return what is missing, once each, with the position it is missing of."""
    job = scene.job
    found: list[Record] = []
    for position in job.positions:
        found += [_of(position.name, each.record()) for each in _unknown(job, position)]
    for name, target in scene.targets.items():
        found += [_of(name, each) for each in target["missing"]]
    if scene.arrangement is not None:
        found += [_of_support(job, each) for each in scene.arrangement["missing"]]
    else:
        found.append(_TOO_MANY_SUPPORTS.record())
    for name, bolting in scene.bolting.items():
        found += [_of(name, {**each, "field": f"cap_bolts/{each['field']}"}) for each in bolting["missing"]]
    for name, base in scene.base_bolts.items():
        found += [_of(name, each) for each in base["missing"]]
    return _once(found)


_TOO_MANY_SUPPORTS = Missing(
    "supports",
    f"which bearing is held and which must move is decided for at most {MOST_SUPPORTS} supports of one shaft",
    "enter each coupled piece of the shaft line as a shaft of its own",
)


def _unknown(job: Job, position: PositionFacts) -> Iterable[Missing]:
    """Yield what the record of a position lacks for the steps themselves."""
    if job.bearing_at(position) is None:
        yield Missing(
            "bearing",
            "all numbers of the card come from type, bore, taper and clearance class of the bearing",
            "read the marks on the rings of the old and the new bearing",
        )
    if position.name not in job.replaced:
        return
    if position.housing is None:
        yield Missing(
            "housing",
            "seat width, locating rings, travel and cap torque come from the housing",
            "read the number cast on the cap; measure seat width and bore with the cap off",
        )
    if position.shaft_diameter_mm is None and job.kind == "replacement":
        yield Missing(
            "shaft_diameter",
            "sleeve and seals are made for one shaft; metric and inch shafts lie close together",
            "measure the shaft beside the sleeve",
        )
    if position.lubrication is None:
        yield Missing("lubrication", "a block that runs in oil must not be packed with grease", "look under the cap")


def _of(position: str, record: Mapping[str, Any]) -> Record:
    return {"field": record["field"], "position": position, "why": record["why"], "how": record["how"]}


def _of_support(job: Job, record: Mapping[str, Any]) -> Record:
    """Return a finding about ``supports/N/...`` as one about the position of that number."""
    head, _, rest = record["field"].partition("/")
    number, _, member = rest.partition("/")
    if head == "supports" and number.isdigit():
        return _of(job.positions[int(number)].name, {**record, "field": member or "support"})
    return dict(record)


def _blocked(scene: Scene) -> list[Record]:
    found: list[Record] = []
    for name, record in [*scene.targets.items(), *scene.bolting.items()]:
        for each in record["blocked"]:
            rest = {key: value for key, value in each.items() if key != "code"}
            found.append({"code": each["code"], "position": name, **rest})
    if scene.arrangement is not None:
        found += scene.arrangement["blocked"]
    return _once(found)


def _without_words(record: Mapping[str, Any]) -> Record:
    return {key: value for key, value in record.items() if not key.endswith("_words") and key != "torque_source"}


def _without_findings(record: Mapping[str, Any]) -> Record:
    return {key: value for key, value in record.items() if key not in ("missing", "sources")}


def _parts(steps: Iterable[Step]) -> list[Record]:
    return _once(_part(step.position, part) for step in steps for part in step.parts)


def _part(position: str | None, part: Text) -> Record:
    """Return one line of the parts list; ``2 x shaft seal`` is counted, grease is not."""
    words = (part,) if isinstance(part, str) else part
    first = words[0] if isinstance(words[0], str) else ""
    count, times, name = first.partition(" x ")
    if not (times and count.isdigit()):
        return {"position": position, "name": part, "count": None}
    return {"position": position, "name": joined((name, *words[1:])), "count": int(count)}


def _once(records: Iterable[Record]) -> list[Record]:
    result: list[Record] = []
    for each in records:
        if each not in result:
            result.append(each)
    return result


def _sources(records: Iterable[Mapping[str, Any]], steps: Iterable[Step]) -> list[Record]:
    """Return every source once: those of the numbers, then those that only steps cite."""
    found = {each["id"]: each for record in records for each in record["sources"]}
    own = sources()
    for step in steps:
        for cited in step.sources:
            if cited not in found and cited in own:
                found[cited] = own[cited].record()
    return list(found.values())
