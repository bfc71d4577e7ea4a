"""What the step tables may speak of: facts by name and conditions by name, for the order and for each position."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from service import units
from service.bolting.base_bolts import SOFT_FOOT_NM
from service.errors import Text
from service.instructions.plan import planned
from service.instructions.plan.bolt_facts import base_bolt_facts, base_bolt_flags, cap_bolt_facts, cap_bolt_flags
from service.instructions.plan.clearance_facts import clearance_facts, clearance_flags, shrunk_facts
from service.instructions.plan.job import PositionFacts
from service.instructions.plan.messages import between, known_message, listed, message
from service.instructions.plan.place_facts import line_facts, line_flags, place_facts, place_flags
from service.instructions.plan.placing import lift_height_mm
from service.instructions.plan.run_in_facts import STOP_DEGC, WARN_DEGC
from service.instructions.plan.scene import HOT_SHAFT_DEGC, TAPERED_SEATS, Scene
from service.instructions.planning.ways import HYDRAULIC_NUT
from service.record import Record
from service.reference.bearings import Bearing
from service.reference.shafts import limits_under_sleeve, shaft_system
from service.reference.sleeves import sleeve_thread
from service.sentences import Fact, Facts
from service.words import DRIVE_KINDS

TAB_WASHER_BORE_LIMIT_MM: Final = 200.0
"""Largest bore with a tab washer; above it a clip or a washer, by the sleeve at hand (rule C10)."""
GREASE_LIMITS_DEGC: Final = (80.0, 120.0)
"""Shaft temperatures above which a high-temperature grease is needed, and its maker is asked, [degC]."""


SEAL_LIMIT_DEGC: Final = 100.0
"""Shaft temperature up to which seals of NBR and felt are used, from memory, [degC]."""


@dataclass(frozen=True, slots=True)
class Known:
    """Facts and conditions for one place in the plan."""

    facts: Facts
    flags: frozenset[str]
    position: str | None = None


def order_known(scene: Scene, placement: Record | None) -> Known:
    """Return what is known of the order as a whole; what only one free bearing has counts for it too."""
    job = scene.job
    held = scene.held
    facts: dict[str, Fact | Text] = {
        "asset_tag": job.asset_tag,
        "positions": listed(scene.in_order),
        "worked": listed(scene.worked),
        "held": held,
        "free": listed(scene.free),
        "in_the_way": _in_the_way(scene),
        "rotor_mass": None if job.rotor_mass_kg is None else units.mass(job.rotor_mass_kg),
        "lift_height": _lift(lift_height_mm(scene)),
        "soft_foot": units.clearance(SOFT_FOOT_NM),
        "process_gap": _process_gap(scene),
        "stop_limit": units.temperature_limit(STOP_DEGC if job.stop_limit_degc is None else job.stop_limit_degc),
        "warn_limit": units.temperature_limit(WARN_DEGC) if job.stop_limit_degc is None else None,
        "steady_band": message("steady_inch" if job.units == "inch" else "steady_metric"),
        "blade_set": message("blades_inch" if job.blade_set.system == "inch" else "blades_metric"),
    }
    facts |= line_facts(scene, placement)
    return Known(_sayable(facts), frozenset((*_order_flags(scene), *line_flags(scene, placement))))


def position_known(scene: Scene, placement: Record | None, name: str, order: Known) -> Known:
    """Return what is known of one position, the facts of the order included."""
    position, bearing = scene.at[name], scene.bearing(name)
    target, bolting, base = scene.targets.get(name), scene.bolting.get(name, {}), scene.base_bolts.get(name)
    facts: dict[str, Fact | Text] = {
        **order.facts,
        "position": name,
        **_parts_facts(scene, position, bearing),
        **clearance_facts(target, by_hand=not scene.hydraulic(name)),
        **shrunk_facts(target, position.interference_mm if scene.seat(name) == "cylindrical" else None),
        **place_facts(scene, placement, name),
        **cap_bolt_facts(bolting),
        **base_bolt_facts(base, position.base_torque_n_m),
    }
    flags = {
        *order.flags,
        *_seat_flags(scene, position, bearing),
        *clearance_flags(target),
        *(("fit_known",) if scene.interference_mm(name) is not None else ()),
        *place_flags(scene, placement, name),
        *cap_bolt_flags(bolting),
        *base_bolt_flags(base, position.base_torque_n_m),
        *_position_flags(scene, position),
    }
    return Known(_sayable(facts), frozenset(flags), name)


def _sayable(facts: Mapping[str, "Fact | Text"]) -> dict[str, Fact]:
    return {name: fact for name, fact in facts.items() if fact is not None}


def _order_flags(scene: Scene) -> Iterator[str]:
    job = scene.job
    yield job.kind
    kinds = {drive.kind for drive in job.drives}
    yield from kinds & set(DRIVE_KINDS)
    if len(job.positions) > 1:
        yield "several_supports"
    if job.overhung or (job.overhung is None and _wheel_outside(scene)):
        yield "overhung"
    if job.take_up:
        yield "take_up"
    if job.wheels:
        yield "wheel"
    if job.process_gap is not None:
        yield "process_gap"
    if job.inclination_deg:
        yield "inclined"
    if job.stop_limit_degc is None:
        yield "stop_default"
    hot = None if job.shaft is None else job.shaft.temperature_degc
    if hot is not None and hot > HOT_SHAFT_DEGC:
        yield "hot_shaft"
        yield from (f"over_{limit:.0f}" for limit in (*GREASE_LIMITS_DEGC, SEAL_LIMIT_DEGC) if hot > limit)
    for name in scene.worked:
        bearing = scene.bearing(name)
        if bearing is not None and (bearing.bore_mm > 200 or (_lifted_kg(scene, name) or 0.0) > planned.HOIST_FROM_KG):
            yield "big"
        if scene.sealed(name):
            yield "any_sealed"
        if scene.seat(name) == "cylindrical":
            yield "any_cylindrical"
        if scene.seat(name) in TAPERED_SEATS:
            yield "any_tapered"
        if (_lifted_kg(scene, name) or 0.0) > planned.HOIST_FROM_KG:
            yield "any_hoist"
        if _by_oil(scene, name):
            yield "any_by_oil"
    if all(_tab_and_grease(scene, name) for name in scene.at):
        yield "plain_look"


def _by_oil(scene: Scene, name: str) -> bool:
    """Return whether a bearing lets go of its taper by a hydraulic nut or oil, and not by the hammer."""
    bearing, seat = scene.bearing(name), scene.seat(name)
    large = bearing is not None and planned.freeing_way(bearing) == HYDRAULIC_NUT
    return seat == "tapered_journal" or (large and seat in TAPERED_SEATS)


def _tab_and_grease(scene: Scene, name: str) -> bool:
    """Return whether the second person looks at a bent tab and at grease at this end, as at most blocks."""
    bearing, position = scene.bearing(name), scene.at[name]
    small = bearing is None or bearing.bore_mm <= TAB_WASHER_BORE_LIMIT_MM
    tab = scene.seat(name) in ("adapter_sleeve", None) and small
    return tab and position.lubrication != "oil" and not scene.sealed(name)


def _lifted_kg(scene: Scene, name: str) -> float | None:
    bearing = scene.bearing(name)
    on_sleeve = scene.seat(name) in ("adapter_sleeve", "withdrawal_sleeve")
    return None if bearing is None else planned.lifted_mass_kg(bearing, on_sleeve=on_sleeve)


def _wheel_outside(scene: Scene) -> bool:
    """Return whether a wheel stands outside the bearings."""
    places = [each.at_mm for each in scene.job.positions if each.at_mm is not None]
    if len(places) < 2:
        return False
    return any(wheel.at_mm is not None and not min(places) <= wheel.at_mm <= max(places) for wheel in scene.job.wheels)


def _position_flags(scene: Scene, position: PositionFacts) -> Iterator[str]:
    name = position.name
    if name in scene.job.replaced:
        yield "worked"
    else:
        yield "stays"
    if name in scene.job.refitted:
        yield "refitted"
    if position.load_direction in ("up", "down"):
        yield f"load_{position.load_direction}"
    if position.lubrication == "oil":
        yield "oil"
    if position.ring_moves in ("stiff", "stuck"):
        yield "ring_jammed"
    if scene.sealed(name):
        yield "sealed"
    if position.base_movement == "may_slide":
        yield "base_slides"


def _in_the_way(scene: Scene) -> Text | None:
    found: list[Text] = []
    for name in scene.worked:
        for each in scene.at[name].in_the_way or ():
            found.append(message("obstacle_keyed" if each.keyed else "obstacle", name=each.name, position=name))
    return listed(found)


def _process_gap(scene: Scene) -> Text | None:
    gap = scene.job.process_gap
    if gap is None:
        return None
    width = None if gap.gap_mm is None else units.gap(gap.gap_mm)
    return known_message("process_gap", name=gap.name, gap=width) or gap.name


def _lift(value_mm: float | None) -> units.Quantity | None:
    return None if value_mm is None else units.lift_least(value_mm)


def _parts_facts(scene: Scene, position: PositionFacts, bearing: Bearing | None) -> dict[str, "Fact | Text"]:
    facts: dict[str, Fact | Text] = {"grease": position.grease}
    if position.grease_g is not None:
        facts["housing_fill"] = message("fill_book", amount=units.grease(position.grease_g))
    if position.shaft_diameter_mm is not None:
        facts |= _shaft_facts(position)
    if bearing is None:
        return facts
    name = bearing.designation
    facts |= {
        "bearing": name or message(f"bearing_{bearing.type}", clearance_class=bearing.clearance_class),
        "bore": units.dimension(bearing.bore_mm),
        "taper": bearing.taper,
        "clearance_class": bearing.clearance_class,
        "class_asked": message("class_asked", clearance_class=bearing.clearance_class),
    }
    if position.sleeve_thread is not None:
        thread = sleeve_thread(bore_mm=bearing.bore_mm, system=position.sleeve_thread)
        facts["locknut"] = None if thread is None else thread.thread
    mass_kg, grease_g = _lifted_kg(scene, position.name), planned.bearing_grease_g(bearing)
    sealed = scene.sealed(position.name)
    heat = planned.heated(bearing, scene.interference_mm(position.name), room_degc=scene.room_degc, sealed=sealed)
    way = "hydraulic_nut" if scene.hydraulic(position.name) else planned.tightening_way(bearing, None)
    facts |= {
        "bearing_mass": None if mass_kg is None else units.mass(mass_kg),
        "bearing_grease": None if grease_g is None else units.grease(grease_g),
        "freeing_way": message(f"freeing_{planned.freeing_way(bearing)}"),
        "tighten_way": message(f"tightening_{way}"),
        "heat_to": None if heat is None or not heat.enough else units.temperature_aim(round(heat.heat_to_degc, 6)),
        "heat_max": units.temperature_limit(planned.never_above_degc(sealed=sealed)),
    }
    return facts


def _shaft_facts(position: PositionFacts) -> dict[str, "Fact | Text"]:
    diameter_mm = position.shaft_diameter_mm
    if diameter_mm is None:
        return {}
    facts: dict[str, Fact | Text] = {"shaft_diameter": units.dimension(diameter_mm)}
    limits = limits_under_sleeve(diameter_mm=diameter_mm, system=shaft_system(diameter_mm))
    if limits is None or position.seat not in (None, "adapter_sleeve"):
        return facts
    smallest, largest = (
        units.dimension(round(diameter_mm + edge_nm / units.NM_PER_MM, 6))
        for edge_nm in (limits.lower_nm, limits.upper_nm)
    )
    facts |= {
        "shaft_min": smallest,
        "shaft_max": largest,
        "shaft_limits": between({"min": smallest, "max": largest}),
        "shaft_source": limits.source.id,
    }
    if limits.form_nm is not None:
        facts["shaft_form"] = units.clearance(limits.form_nm)
    return facts


def _seat_flags(scene: Scene, position: PositionFacts, bearing: Bearing | None) -> Iterator[str]:
    seat = scene.seat(position.name)
    yield seat or "seat_unknown"
    if seat in TAPERED_SEATS:
        yield "tapered_seat"
    if seat in ("adapter_sleeve", "withdrawal_sleeve"):
        yield "on_sleeve"
    if bearing is None:
        yield "bearing_unknown"
        return
    yield bearing.type
    if bearing.bore_mm <= TAB_WASHER_BORE_LIMIT_MM:
        yield "tab_washer"
    if scene.hydraulic(position.name):
        yield "hydraulic"
    if _by_oil(scene, position.name):
        yield "oil_or_hydraulic"
    if bearing.bore_mm > TAB_WASHER_BORE_LIMIT_MM:
        yield "big_bore"
    if (_lifted_kg(scene, position.name) or 0.0) > planned.HOIST_FROM_KG:
        yield "hoist"
    if bearing.class_to_confirm:
        yield "class_to_confirm"
