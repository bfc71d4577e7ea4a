"""What is missing of a job, once each, with the position it is missing of (rule I5)."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from service.findings import Missing
from service.instructions.plan.calculations import MOST_SUPPORTS
from service.instructions.plan.job import Job, PositionFacts
from service.instructions.plan.messages import message
from service.instructions.plan.scene import Scene
from service.record import Record


def missing_facts(scene: Scene) -> list[Record]:
    """Return what is missing of the job and of its calculations."""
    job = scene.job
    found: list[Record] = []
    for position in job.positions:
        found += [_of(position.name, each.record()) for each in _unknown(job, position)]
    for name, target in scene.targets.items():
        found += [_of(name, each) for each in target["missing"]]
    if scene.arrangement is not None:
        found += [_of_support(job, each) for each in scene.arrangement["missing"]]
    else:
        found.append(
            Missing("supports", message("why_supports", limit=MOST_SUPPORTS), message("how_supports")).record()
        )
    for name, bolting in scene.bolting.items():
        found += [_of(name, {**each, "field": f"cap_bolts/{each['field']}"}) for each in bolting["missing"]]
    for name, base in scene.base_bolts.items():
        found += [_of(name, each) for each in base["missing"]]
    return _once(found)


def _unknown(job: Job, position: PositionFacts) -> Iterator[Missing]:
    """Yield what the record of a position lacks for the steps themselves."""
    if job.bearing_at(position) is None:
        yield Missing("bearing", message("why_bearing"), message("how_bearing"))
    if position.name not in job.replaced:
        return
    if position.housing is None:
        yield Missing("housing", message("why_housing"), message("how_housing"))
    if position.shaft_diameter_mm is None and job.kind == "replacement":
        yield Missing("shaft_diameter", message("why_shaft_diameter"), message("how_shaft_diameter"))
    if position.lubrication is None:
        yield Missing("lubrication", message("why_lubrication"), message("how_lubrication"))


def _of(position: str, record: Mapping[str, Any]) -> Record:
    return {"field": record["field"], "position": position, "why": record["why"], "how": record["how"]}


def _of_support(job: Job, record: Mapping[str, Any]) -> Record:
    """Return a finding about ``supports/N/...`` as one about the position of that number."""
    head, _, rest = record["field"].partition("/")
    number, _, member = rest.partition("/")
    if head == "supports" and number.isdigit():
        return _of(job.positions[int(number)].name, {**record, "field": member or "support"})
    return dict(record)


def _once(records: Iterable[Record]) -> list[Record]:
    result: list[Record] = []
    for each in records:
        if each not in result:
            result.append(each)
    return result
