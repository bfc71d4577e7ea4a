"""The calculations a plan rests on, as records: clearance targets, arrangement, cap bolt torque."""

from typing import Any, Final

from service.arrangement.shaft_line import arrangement
from service.bolting.cap_bolts import cap_bolt_torque
from service.errors import Text
from service.instructions.job import Job, PositionFacts, support
from service.instructions.template import joined
from service.mounting.clearance import clearance_target
from service.record import Record
from service.reference.housings import Housing

MOST_SUPPORTS: Final = 12
"""Most supports that an arrangement is decided for, [-]."""
_TARGET_MEMBERS: Final = (
    "bearing",
    "initial_clearance",
    "measured",
    "reduction",
    "residual_clearance",
    "blades",
    "axial_displacement",
    "nut_turn",
    "fit",
    "operating_clearance",
)


def target_record(job: Job, position: PositionFacts) -> Record:
    """Return the clearance target of a position; all null where the bearing is not known.

    Raises
    ------
    CannotEvaluate
        The bearing lies outside the tables or does not go with its seat.
    """
    bearing = job.bearing_at(position)
    if bearing is None:
        findings: Record = {"missing": [], "blocked": [], "warnings": [], "sources": []}
        return {**dict.fromkeys(_TARGET_MEMBERS), **findings}
    return clearance_target(
        bearing=bearing,
        seat=position.seat,
        measured=job.measured.get(position.name),
        blade_set=job.blade_set,
        temperature_difference_k=position.temperature_difference_k,
        radial_load_n=position.radial_load_n,
        shaft_diameter_mm=position.shaft_diameter_mm,
        sleeve_thread=position.sleeve_thread,
        charts=job.charts,
    ).record()


def arrangement_record(job: Job) -> Record | None:
    """Return the arrangement over all supports of the shaft; None where there are more than it is decided for."""
    if len(job.positions) > MOST_SUPPORTS:
        return None
    return arrangement(
        supports=tuple(
            support(position, job.fitted.get(position.name), replaced=_is_replaced(job, position))
            for position in job.positions
        ),
        drives=job.drives,
        shaft=job.shaft,
        base=job.base,
        assembly_temperature_degc=job.assembly_temperature_degc,
        reserve_mm=job.reserve_mm,
        shaft_diameter_mm=job.shaft_diameter_mm,
    ).record()


def _is_replaced(job: Job, position: PositionFacts) -> bool:
    return job.kind == "replacement" and position.name in job.replaced


def bolting_record(position: PositionFacts) -> Record:
    """Return the cap bolt torque of a position, with two members for its steps: bolt_words and torque_source."""
    housing = position.housing
    record: dict[str, Any] = cap_bolt_torque(housing=housing).record()
    chart = [each["id"] for each in record["sources"] if each["kind"] in ("site_chart", "handbook")]
    return {**record, "bolt_words": _bolt_words(housing), "torque_source": chart[0] if chart else None}


def _bolt_words(housing: Housing | None) -> Text | None:
    bolts = None if housing is None else housing.cap_bolts
    if bolts is None or bolts.thread is None:
        return None
    count = f"{bolts.count} x " if bolts.count else ""
    grade = f", grade {bolts.grade}" if bolts.grade else ", grade not on record: read the mark on the head"
    return joined((f"{count}{bolts.thread}{grade}",))
