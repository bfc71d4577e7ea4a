"""The calculations a plan rests on, as records: clearance targets, arrangement, cap bolt torque."""

from collections.abc import Mapping
from typing import Any, Final

from service.arrangement.shaft_line import arrangement
from service.bolting.base_bolts import base_bolt_torque
from service.bolting.cap_bolts import cap_bolt_torque
from service.errors import Text
from service.instructions.plan.job import Job, PositionFacts, support
from service.mounting.clearance import clearance_target
from service.record import Record

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
        axial_load_n=job.axial_load_n,
        wheels=job.wheels,
        setting_temperature_degc=job.setting_temperature_degc,
    ).record()


def _is_replaced(job: Job, position: PositionFacts) -> bool:
    return job.kind == "replacement" and position.name in job.replaced


def bolting_record(job: Job, position: PositionFacts) -> Record:
    """Return the cap bolt torque of a position, with members for its steps: the bolts in words and torque_source.

    Raises
    ------
    CannotEvaluate
        The wrench of the order cannot be: its scale runs backwards, its adapter reaches back to the grip.
    """
    fitted = position.cap_bolts
    record: dict[str, Any] = cap_bolt_torque(
        housing=position.housing,
        bolt=None if fitted is None else fitted.bolt,
        lubrication="unknown" if fitted is None else fitted.lubrication,
        wrench=job.wrench,
        charts=job.torques,
    ).record()
    chart = [each["id"] for each in record["sources"] if each["kind"] in ("site_chart", "handbook")]
    printed = None if position.housing is None else position.housing.cap_bolts
    of_book = None if printed is None else {name: getattr(printed, name) for name in ("thread", "grade", "count")}
    words = {"bolt_words": bolt_words(record["bolt"]), "book_bolt_words": bolt_words(of_book)}
    return {**record, **words, "torque_source": chart[0] if chart else None}


def base_bolts_record(position: PositionFacts) -> Record | None:
    """Return the computed torque of the base bolts of a position; None where nothing is known of them."""
    fitted = position.base_bolts
    if fitted is None:
        return None
    record = base_bolt_torque(fitted.bolt, fitted.lubrication).record()
    return {**record, "count": fitted.bolt.count}


def bolt_words(bolt: Mapping[str, Any] | None) -> Text | None:
    """Return ``2 x M16, grade 8.8``; None where the thread is not known."""
    if bolt is None or bolt["thread"] is None:
        return None
    count = f"{bolt['count']} x " if bolt["count"] else ""
    grade = f", grade {bolt['grade']}" if bolt["grade"] else ", grade not on record: read the mark on the head"
    return f"{count}{bolt['thread']}{grade}"
