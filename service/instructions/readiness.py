"""Readiness: what the office must answer before an order is released, from the same facts as the plan (R1 to R17).

What can only be seen under the cap is no question here; it stands in the as-found form.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from service.instructions.plan.messages import table
from service.instructions.plan.scene import HOT_SHAFT_DEGC, Scene
from service.record import Record

OPEN: Final = "open"
ANSWERED: Final = "answered"
NOT_NEEDED: Final = "not_needed"
RED: Final = "red"
AMBER: Final = "amber"
ASK_FROM_DEG: Final = 15.0
"""Inclination above which the bearing maker is asked, [deg]: own convention."""

Found = Iterator[tuple[str | None, str]]


@dataclass(frozen=True, slots=True)
class Question:
    """One question to the office; ``who`` knows, ``why`` it is asked, whether it may be released while open.

    ``step``: the step in which it stands as a line to be answered once it was released open; None for none.
    """

    id: str
    question: str
    who: str
    why: str
    colour: str
    override: bool
    step: str | None = None


@cache
def all_questions() -> tuple[Question, ...]:
    """Return the questions in their order."""
    return tuple(Question(**each) for each in table("readiness")["question"])


def questions(scene: Scene) -> list[Record]:
    """Return [{id, position, question, who, why, colour, override, step, status}], in the order R1 to R17.

    Parameters
    ----------
    scene : Scene
        The job with its calculations (``plan.scene_of``); its ``answered`` holds what was answered for this order
        beyond what is a fact of the machine, without a position for all of them
    """
    answered = scene.job.answered
    found: list[Record] = []
    for each in all_questions():
        for position, status in _STATUS[each.id](scene):
            said = (each.id, position) in answered or (each.id, None) in answered
            found.append(
                {
                    "id": each.id,
                    "position": position,
                    "question": each.question,
                    "who": each.who,
                    "why": each.why,
                    "colour": _colour(each, scene),
                    "override": each.override,
                    "step": each.step,
                    "status": ANSWERED if said and status == OPEN else status,
                }
            )
    return found


def _colour(question: Question, scene: Scene) -> str:
    """Return red or amber: a hot shaft turns R6 red, a wheel outside or a belt turns R7 red."""
    if question.id == "R6":
        hot = None if scene.job.shaft is None else scene.job.shaft.temperature_degc
        return RED if hot is not None and hot > HOT_SHAFT_DEGC else question.colour
    if question.id == "R7":
        pulled = scene.job.overhung or any(drive.kind in ("belt", "chain") for drive in scene.job.drives)
        return RED if pulled else question.colour
    return question.colour


def _status(known: bool, *, needed: bool = True) -> str:
    return NOT_NEEDED if not needed else ANSWERED if known else OPEN


def _replaces(scene: Scene) -> bool:
    return scene.job.kind == "replacement"


def _bearing(scene: Scene) -> Found:
    for name in scene.worked:
        bearing = scene.bearing(name)
        yield name, _status(bearing is not None and not bearing.class_to_confirm)


def _seat(scene: Scene) -> Found:
    for name in scene.worked:
        position = scene.at[name]
        threaded = position.seat != "adapter_sleeve" or position.sleeve_thread is not None
        yield name, _status(position.seat is not None and threaded, needed=_replaces(scene))


def _shaft(scene: Scene) -> Found:
    for name in scene.worked:
        position = scene.at[name]
        toleranced = scene.seat(name) != "cylindrical" or position.interference_mm is not None
        yield name, _status(position.shaft_diameter_mm is not None and toleranced, needed=_replaces(scene))


def _housing(scene: Scene) -> Found:
    for name in scene.at:
        housing = scene.at[name].housing
        yield name, _status(housing is not None and housing.seat_width_mm is not None)


def _held(scene: Scene) -> Found:
    sides = all(scene.at[name].locknut_side is not None for name in scene.worked)
    yield None, _status(scene.held is not None and (sides or not _replaces(scene)))


def _temperatures(scene: Scene) -> Found:
    job = scene.job
    bodies = all(body is not None and body.temperature_degc is not None for body in (job.shaft, job.base))
    rings = all(scene.at[name].temperature_difference_k is not None for name in scene.worked)
    hollow = job.hollow is not None or all(scene.at[name].shaft_bore_mm is not None for name in scene.worked)
    yield None, _status(bodies and ((hollow and rings) or not _replaces(scene)))


def _load(scene: Scene) -> Found:
    for name in scene.at:
        position = scene.at[name]
        known = position.load_direction not in (None, "unknown")
        yield name, _status(known and position.speed_rpm is not None and position.radial_load_n is not None)


def _lubrication(scene: Scene) -> Found:
    for name in scene.at:
        position = scene.at[name]
        yield name, _status(position.lubrication is not None and position.grease is not None)


def _cap_torque(scene: Scene) -> Found:
    for name in scene.at:
        bolting = scene.bolting.get(name, {})
        confirmed = bolting.get("confidence") not in (None, "none", "single_publication")
        fitted = scene.at[name].cap_bolts
        complete = fitted is not None and fitted.lubrication is not None and fitted.bolt.grade is not None
        yield name, _status(confirmed and complete)


def _base(scene: Scene) -> Found:
    names = scene.free or scene.open_roles
    for name in names:
        position = scene.at[name]
        torque = position.base_torque_n_m is not None or position.base_bolts is not None
        known = position.base_movement in ("pinned", "may_slide")
        yield name, _status(known and torque, needed=_replaces(scene))


def _reduction(scene: Scene) -> Found:
    for name in scene.worked:
        target = scene.targets.get(name) or {}
        bearing = scene.bearing(name)
        ball = bearing is not None and bearing.type == "self_aligning_ball"
        found = target.get("axial_displacement") if ball or scene.sealed(name) else target.get("reduction")
        needed = _replaces(scene) and scene.seat(name) != "cylindrical"
        yield name, _status(found is not None, needed=needed)


def _stop_limit(scene: Scene) -> Found:
    yield None, _status(scene.job.stop_limit_degc is not None)


def _tools(scene: Scene) -> Found:
    yield None, _status(scene.job.tools_at_hand is True)


def _lifting(scene: Scene) -> Found:
    yield None, _status(scene.job.rotor_mass_kg is not None and scene.job.lifting_plan is True)


def _way(scene: Scene) -> Found:
    for name in scene.worked:
        yield name, _status(scene.at[name].in_the_way is not None, needed=_replaces(scene))


def _inclination(scene: Scene) -> Found:
    inclined = scene.job.inclination_deg
    yield None, _status(inclined is not None and abs(inclined) <= ASK_FROM_DEG)


def _parts(scene: Scene) -> Found:
    yield None, _status(scene.job.parts_in_store is True, needed=_replaces(scene))


_STATUS: Final[Mapping[str, Callable[[Scene], Found]]] = {
    "R1": _bearing,
    "R2": _seat,
    "R3": _shaft,
    "R4": _housing,
    "R5": _held,
    "R6": _temperatures,
    "R7": _load,
    "R8": _lubrication,
    "R9": _cap_torque,
    "R10": _base,
    "R11": _reduction,
    "R12": _stop_limit,
    "R13": _tools,
    "R14": _lifting,
    "R15": _way,
    "R16": _inclination,
    "R17": _parts,
}


def open_red(found: Collection[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Return the questions that keep an order from being released."""
    return [each for each in found if each["colour"] == RED and each["status"] == OPEN]
