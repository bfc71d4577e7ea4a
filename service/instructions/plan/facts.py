"""What the step tables may speak of: facts by name and conditions by name, for the order and for each position."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.bolting.base_bolts import SOFT_FOOT_NM
from service.instructions.plan import phrases
from service.instructions.plan.arrangement_facts import arrangement_facts, arrangement_flags
from service.instructions.plan.bolt_facts import base_bolt_facts, base_bolt_flags, cap_bolt_facts, cap_bolt_flags
from service.instructions.plan.job import Job, PositionFacts
from service.instructions.plan.template import Fact, Facts, listed
from service.reference.bearings import Bearing
from service.reference.shafts import limits_under_sleeve, shaft_system
from service.reference.sleeves import sleeve_thread

TAB_WASHER_BORE_LIMIT_MM: Final = 200.0
"""Largest bore with a tab washer; above it a clip or a washer, by the sleeve at hand (rule C10)."""
CONTRADICTIONS: Final = ("cross_located", "unlocated", "no_free_support")
EMPTY_WINDOWS: Final = ("class_too_tight", "rows_differ")
"""Why nothing lies inside the window of a bearing that was measured (rule C4)."""
TAPERED_SEATS: Final = ("adapter_sleeve", "withdrawal_sleeve", "tapered_journal")


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything that is known when the steps are chosen: the job and the records of its calculations."""

    job: Job
    targets: Mapping[str, Mapping[str, Any]]
    arrangement: Mapping[str, Any] | None
    bolting: Mapping[str, Mapping[str, Any]]
    base_bolts: Mapping[str, Mapping[str, Any]]

    def support(self, name: str) -> Mapping[str, Any] | None:
        """Return the answer of the arrangement for a position, with the name of what holds the shaft."""
        found = [each for each in self.supports if each["name"] == name]
        held = [each["name"] for each in self.supports if each["role"] == "locating"]
        return {**found[0], "held_by": held[0] if len(held) == 1 else None} if found else None

    @property
    def supports(self) -> Sequence[Mapping[str, Any]]:
        """Return the supports of the shaft as the arrangement answers them."""
        return () if self.arrangement is None else self.arrangement["supports"]

    @property
    def roles_blocked(self) -> bool:
        """Return whether the roles contradict each other, so that no bearing may be set by them (A1, A4)."""
        found = () if self.arrangement is None else self.arrangement["blocked"]
        return any(each["code"] in CONTRADICTIONS for each in found)

    @property
    def open_roles(self) -> list[str]:
        """Return the positions whose role is not decided."""
        if self.arrangement is None:
            return [position.name for position in self.job.positions]
        return [each["name"] for each in self.supports if each["role"] is None]


@dataclass(frozen=True, slots=True)
class Known:
    """Facts and conditions for one place in the plan."""

    facts: Facts
    flags: frozenset[str]
    position: str | None = None


def order_known(scene: Scene) -> Known:
    """Return what is known of the order as a whole."""
    job = scene.job
    free = [each["name"] for each in scene.supports if each["role"] == "free"]
    facts: dict[str, Fact] = {
        "asset_tag": job.asset_tag,
        "asset_name": job.asset_name,
        "shaft_name": job.shaft_name,
        "positions": phrases.as_words(listed(job.replaced)),
        "blade_set": phrases.CLASS_WORDS[job.blade_set.system],
        "run_in_rise_min": units.temperature_difference(10),
        "run_in_rise_max": units.temperature_difference(50),
        "soft_foot_limit": units.clearance(SOFT_FOOT_NM),
        "free_names": phrases.as_words(listed(free)),
        "spacing": phrases.spacing(job.positions),
        "ring_summary": phrases.ring_summary(scene.supports),
        "open_roles": phrases.as_words(listed(scene.open_roles)),
    }
    flags = {job.kind}
    if len(job.positions) > 1:
        flags.add("several_supports")
    if scene.open_roles:
        flags.add("roles_open")
    if not free:
        flags.add("no_free")
    if scene.roles_blocked:
        flags.add("roles_blocked")
    return Known(facts, frozenset(flags))


def position_known(scene: Scene, position: PositionFacts) -> Known:
    """Return what is known of one position, the facts of the order included."""
    order = order_known(scene)
    bearing = scene.job.bearing_at(position)
    target = scene.targets.get(position.name)
    support = scene.support(position.name)
    bolting = scene.bolting.get(position.name, {})
    facts = {
        **order.facts,
        "position": position.name,
        **_parts_facts(position, bearing),
        **_clearance_facts(target),
        **arrangement_facts(scene.job, support),
        **cap_bolt_facts(bolting),
        **base_bolt_facts(scene.base_bolts.get(position.name)),
    }
    flags = {
        *order.flags,
        *_seat_flags(position, bearing),
        *_clearance_flags(target),
        *arrangement_flags(support),
        *cap_bolt_flags(bolting),
        *base_bolt_flags(scene.base_bolts.get(position.name)),
    }
    if position.name not in scene.job.replaced:
        flags.add("stays")
    if position.load_direction == "up":
        flags.add("upward_load")
    if position.lubrication == "oil":
        flags.add("oil")
    return Known(facts, frozenset(flags), position.name)


def _parts_facts(position: PositionFacts, bearing: Bearing | None) -> dict[str, Fact]:
    facts: dict[str, Fact] = {}
    housing = position.housing
    if housing is not None:
        facts["housing"] = housing.size or housing.name or "as described"
        if housing.seat_width_mm is not None:
            facts["seat_width"] = units.dimension(housing.seat_width_mm)
    if position.shaft_diameter_mm is not None:
        facts |= _shaft_facts(position)
    if bearing is None:
        return facts
    facts["bearing"] = bearing.designation or f"{bearing.type.replace('_', ' ')} bearing {bearing.clearance_class}"
    facts["bore"] = units.dimension(bearing.bore_mm)
    facts["taper"] = bearing.taper
    facts["bore_form"] = f"taper {bearing.taper}" if bearing.tapered else "cylindrical bore"
    facts["clearance_class"] = bearing.clearance_class
    if position.sleeve_thread is not None:
        thread = sleeve_thread(bore_mm=bearing.bore_mm, system=position.sleeve_thread)
        facts["locknut"] = None if thread is None else thread.thread
    return facts


def _shaft_facts(position: PositionFacts) -> dict[str, Fact]:
    diameter_mm = position.shaft_diameter_mm
    if diameter_mm is None:
        return {}
    facts: dict[str, Fact] = {"shaft_diameter": units.dimension(diameter_mm)}
    limits = limits_under_sleeve(diameter_mm=diameter_mm, system=shaft_system(diameter_mm))
    if limits is not None and position.seat in (None, "adapter_sleeve"):
        smallest, largest, said = phrases.shaft_limits(diameter_mm, limits.upper_nm, limits.lower_nm)
        facts |= {"shaft_min": smallest, "shaft_max": largest, "shaft_limits": said, "shaft_source": limits.source.id}
        if limits.form_nm is not None:
            facts["shaft_form"] = units.clearance(limits.form_nm)
    return facts


def _clearance_facts(target: Mapping[str, Any] | None) -> dict[str, Fact]:
    if target is None:
        return {}
    initial, reduction = target.get("initial_clearance") or {}, target.get("reduction") or {}
    residual, blades = target.get("residual_clearance") or {}, target.get("blades") or {}
    judged = {} if residual.get("provisional") else residual
    tightens = _no_window(target) is None
    displacement = (tightens and target.get("axial_displacement")) or {}
    nut_turn = (tightens and target.get("nut_turn")) or {}
    measured = target.get("measured") or {}
    return {
        "initial_min": initial.get("min"),
        "initial_max": initial.get("max"),
        "initial_range": phrases.between(initial),
        "initial_source": initial.get("source"),
        "measured": measured.get("value"),
        "reduction_range": phrases.between(reduction),
        "reduction_aim": reduction.get("aim"),
        "reduction_source": reduction.get("source"),
        "residual_min": judged.get("min"),
        "residual_max": judged.get("max"),
        "residual_range": phrases.between(residual),
        "residual_aim": residual.get("aim"),
        "residual_floor": residual.get("floor"),
        "residual_source": residual.get("source"),
        "floor_source": residual.get("floor_source"),
        "blade_target": phrases.stack(blades.get("target")),
        "blade_pass": phrases.stack(blades.get("must_pass")),
        "blade_stop": phrases.stack(blades.get("must_not_pass")),
        "displacement_min": displacement.get("min"),
        "displacement_max": displacement.get("max"),
        "displacement_range": phrases.between(displacement),
        "displacement_source": displacement.get("source"),
        "nut_turn_range": phrases.between(nut_turn),
        "nut_turn_thread": nut_turn.get("thread"),
    }


def _no_window(target: Mapping[str, Any]) -> str | None:
    """Return why a bearing with a measured clearance has no residual window; None where it has one or may have."""
    measured = target.get("measured")
    if target.get("residual_clearance") is not None:
        return None
    if measured is not None and measured["verdict"] != "accept":
        return "initial_outside"
    return "window_empty" if any(each["code"] in EMPTY_WINDOWS for each in target["blocked"]) else None


def _seat_flags(position: PositionFacts, bearing: Bearing | None) -> Iterable[str]:
    seat = position.seat or ("adapter_sleeve" if bearing is not None and bearing.tapered else None)
    yield seat or "seat_unknown"
    if seat in TAPERED_SEATS:
        yield "tapered_seat"
    if seat in ("adapter_sleeve", "withdrawal_sleeve"):
        yield "on_sleeve"
    if seat in ("withdrawal_sleeve", "tapered_journal"):
        yield "on_taper_without_sleeve"
    if bearing is None:
        yield "bearing_unknown"
        return
    yield bearing.type
    if bearing.bore_mm <= TAB_WASHER_BORE_LIMIT_MM:
        yield "tab_washer"
    if bearing.class_to_confirm:
        yield "class_to_confirm"
        if not bearing.clearance_class_assumed:
            yield "class_combined"


def _clearance_flags(target: Mapping[str, Any] | None) -> Iterable[str]:
    if target is None:
        return
    residual, blades = target.get("residual_clearance"), target.get("blades")
    why = _no_window(target)
    if why is not None:
        yield from (why, "no_window")
    elif residual is None:
        yield "no_residual"
    elif residual.get("provisional"):
        yield "provisional"
    if blades is not None:
        yield "blades_resolve" if blades.get("resolves") else "blades_too_coarse"
