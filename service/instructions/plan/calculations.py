"""The calculations a plan rests on, as records: clearance targets, arrangement, cap bolt torque."""

from functools import lru_cache, partial
from math import radians, sin
from typing import Any, Final

from service.arrangement.shaft_line import arrangement
from service.bolting.base_bolts import base_bolt_torque
from service.bolting.cap_bolts import cap_bolt_torque
from service.instructions.plan.job import Job, PositionFacts, support
from service.mounting.blade_table import blade_table
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
    "blade_table",
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
    facts: dict[str, Any] = {
        "bearing": bearing,
        "seat": position.seat,
        "blade_set": job.blade_set,
        "temperature_difference_k": position.temperature_difference_k,
        "radial_load_n": position.radial_load_n,
        "shaft_bore_mm": position.shaft_bore_mm,
        "shaft_diameter_mm": position.shaft_diameter_mm,
        "sleeve_thread": position.sleeve_thread,
        "charts": job.charts,
        "refitted": position.name in job.refitted,
    }
    measured = job.measured.get(position.name)
    found = clearance_target(measured=measured, **facts)
    return {**found.record(), "blade_table": _table(facts) if measured is None else None}


def _table(facts: dict[str, Any]) -> Record | None:
    """Return the blade table of a bearing that is not measured; charts of a site are no key to keep one by."""
    made = unmeasured_table.__wrapped__ if facts["charts"] else unmeasured_table
    return made(tuple(facts.items()))


@lru_cache(maxsize=1024)
def unmeasured_table(facts: tuple[tuple[str, Any], ...]) -> Record | None:
    """Return the blade table of these arguments of ``clearance_target``, before anything is measured.

    It holds the target of each pair of readings, a fifth of the time of a plan, and is mostly the same for both ends.
    Nobody changes a record, so that one may stand in many plans.
    """
    target = partial(clearance_target, **dict(facts))
    return blade_table(target(), lambda measured: target(measured=measured))


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
        axial_load_n=axial_load_n(job),
        wheels=job.wheels,
        setting_temperature_degc=job.setting_temperature_degc,
    ).record()


GRAVITY_M_S2: Final = 9.80665


def axial_load_n(job: Job) -> float | None:
    """Return the axial load with the axial part of the weight of an inclined shaft, which adds to it, [N].

    Which way the shaft leans is not on record, so that the weight is counted in the sense of the load.
    """
    if not job.inclination_deg or job.rotor_mass_kg is None:
        return job.axial_load_n
    weight_n = job.rotor_mass_kg * GRAVITY_M_S2 * sin(radians(abs(job.inclination_deg)))
    given_n = job.axial_load_n or 0.0
    return given_n - weight_n if given_n < 0 else given_n + weight_n


def _is_replaced(job: Job, position: PositionFacts) -> bool:
    return job.kind == "replacement" and position.name in job.replaced


def bolting_record(job: Job, position: PositionFacts) -> Record:
    """Return the cap bolt torque of a position, with a member for its steps: torque_source.

    Raises
    ------
    CannotEvaluate
        The wrench of the order cannot be: its scale runs backwards, its adapter reaches back to the grip.
    """
    fitted = position.cap_bolts
    record: dict[str, Any] = cap_bolt_torque(
        housing=position.housing,
        torque_n_m=position.cap_torque_n_m,
        bolt=None if fitted is None else fitted.bolt,
        lubrication="unknown" if fitted is None else fitted.lubrication,
        wrench=job.wrench,
        charts=job.torques,
    ).record()
    chart = [each["id"] for each in record["sources"] if each["kind"] in ("site_chart", "handbook")]
    return {**record, "torque_source": chart[0] if chart else None}


def base_bolts_record(position: PositionFacts) -> Record | None:
    """Return the computed torque of the base bolts of a position; None where nothing is known of them."""
    fitted = position.base_bolts
    if fitted is None:
        return None
    record = base_bolt_torque(fitted.bolt, fitted.lubrication).record()
    return {**record, "count": fitted.bolt.count}
