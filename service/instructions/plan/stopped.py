"""What must not be done like this, over the whole job: findings of the calculations and of the order of work itself."""

from collections.abc import Iterable, Iterator
from typing import Final

from service import units
from service.findings import Blocked
from service.instructions.plan import planned
from service.instructions.plan.messages import message
from service.instructions.plan.scene import VERTICAL_FROM_DEG, Scene
from service.record import Record
from service.reference.sleeves import adapter_sleeve

SAME_SHAFT_MM: Final = 0.1
"""A shaft this near a listed size is that size, [mm]; metric and inch shafts of one sleeve lie 1 mm apart and more."""
_MM_PER_IN: Final = 25.4


def blocked_findings(scene: Scene) -> list[Record]:
    """Return everything that blocks the work, once each, that of the whole shaft first."""
    found: list[Record] = []
    if scene.vertical and scene.job.inclination_deg is not None:
        found.append(_vertical(scene.job.inclination_deg).record())
        return found
    for name, record in [*scene.targets.items(), *scene.bolting.items()]:
        for each in record["blocked"]:
            rest = {key: value for key, value in each.items() if key != "code"}
            found.append({"code": each["code"], "position": name, **rest})
    if scene.arrangement is not None:
        found += scene.arrangement["blocked"]
    if scene.job.kind == "replacement":
        found += [each.record() for name in scene.worked for each in (*_between(scene, name), *_of_seat(scene, name))]
    return _once(found)


def _once(records: Iterable[Record]) -> list[Record]:
    result: list[Record] = []
    for each in records:
        if each not in result:
            result.append(each)
    return result


def _vertical(inclination_deg: float) -> Blocked:
    facts = {"inclination": units.angle(inclination_deg), "limit": units.angle(VERTICAL_FROM_DEG)}
    return Blocked(
        "vertical_shaft",
        message("vertical_shaft", **facts),
        (message("vertical_shaft_way_out"),),
        facts,
    )


def _between(scene: Scene, name: str) -> Iterator[Blocked]:
    """Yield the finding that a bearing leaves the shaft over others, on either side, that are not worked on."""
    along = [each.name for each in scene.job.positions if each.at_mm is not None]
    if name not in along:
        return
    place = along.index(name)
    sides = (along[:place], along[place + 1 :])
    if all(any(other not in scene.worked for other in side) for side in sides):
        detail = message("bearing_between", position=name)
        yield Blocked("bearing_between", detail, (message("bearing_between_way_out"),), {}, name)


def _of_seat(scene: Scene, name: str) -> Iterator[Blocked]:
    bearing, position = scene.bearing(name), scene.at[name]
    if position.seat_tight:
        stuck = message("free_seat_tight", position=name)
        yield Blocked("free_seat_tight", stuck, (message("free_seat_way_out"),), {}, name)
    if bearing is None:
        return
    if scene.seat(name) == "adapter_sleeve" and not _sleeve_fits(scene, name):
        facts = {
            "shaft_diameter": units.dimension(position.shaft_diameter_mm or 0.0),
            "bore": units.dimension(bearing.bore_mm),
        }
        detail = message("sleeve_does_not_fit", position=name, **facts)
        ways = (message("sleeve_way_out_measure"), message("sleeve_way_out_name"))
        yield Blocked("sleeve_does_not_fit", detail, ways, facts, name)
    if scene.seat(name) == "cylindrical":
        sealed, fit_mm = scene.sealed(name), scene.interference_mm(name)
        heat = planned.heated(bearing, fit_mm, room_degc=scene.room_degc, sealed=sealed)
        if heat is not None and not heat.enough:
            detail = message("heat_not_enough", position=name)
            yield Blocked("heat_not_enough", detail, (message("heat_way_out"),), {}, name)


def _sleeve_fits(scene: Scene, name: str) -> bool:
    """Return whether an adapter sleeve of this bore is made for this shaft; true while the shaft is not known.

    Raises nothing: a shaft that is not listed needs a sleeve named on record, one as large as the bore none can fit.
    """
    bearing, position = scene.bearing(name), scene.at[name]
    shaft_mm = position.shaft_diameter_mm
    if bearing is None or shaft_mm is None:
        return True
    if shaft_mm >= bearing.bore_mm:
        return False
    listed = adapter_sleeve(bearing.bore_mm)
    if listed is None or position.sleeve is not None:
        return True
    sizes = [listed.shaft_diameter_mm, *(inches(each) * _MM_PER_IN for each in listed.inch_shafts)]
    return any(abs(shaft_mm - size) <= SAME_SHAFT_MM for size in sizes)


def inches(written: str) -> float:
    """Return a size written as 2-11/16, 3/4 or 2, [in]."""
    whole, _, share = written.rpartition("-")
    top, _, bottom = share.partition("/")
    return float(whole or 0) + float(top) / float(bottom or 1)
