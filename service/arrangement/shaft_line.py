"""The whole shaft line: roles, growth, settings and rings of every support, with what is missing or blocked."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.arrangement import checks, rings
from service.arrangement.expansion import (
    Growth,
    Strains,
    free_setting,
    growth,
    setting_correction_mm,
    strains,
)
from service.arrangement.messages import SAYS
from service.arrangement.roles import Roles, assigned_roles
from service.arrangement.support_answer import (
    SupportAnswer,
    limited_by,
    total_travel_mm,
    travel_blocked,
    travel_warnings,
)
from service.arrangement.supports import (
    LOCATING,
    Body,
    Drive,
    Support,
    Wheel,
    checked_drives,
    checked_supports,
)
from service.findings import Blocked, Missing, Source, Warned
from service.reference.materials import Material, expansion_source, material

__all__ = ["Arrangement", "Body", "Drive", "Support", "SupportAnswer", "Wheel", "arrangement"]

PRACTICE: Final = Source("practice-locating-nearest-drive", "common practice", "practice")
GRIP: Final = Source("practice-sleeve-grip", "grip of an adapter sleeve about 3 B d, common practice", "practice")
RESTRAINED: Final = Source("restrained-bar", "fully restrained bar, mechanics of materials textbooks", "handbook")


@dataclass(frozen=True, slots=True)
class Arrangement:
    """The arrangement of a shaft; forces [N]."""

    supports: tuple[SupportAnswer, ...]
    held_force_n: float | None
    slip_force_n: float | None
    missing: tuple[Missing, ...]
    blocked: tuple[Blocked, ...]
    warnings: tuple[Warned, ...]
    sources: tuple[Source, ...]

    def record(self) -> dict[str, Any]:
        """Return the answer of /v1/bearing-arrangements, quantities unit-neutral."""
        return {
            "supports": [support.record() for support in self.supports],
            "held_force": None if self.held_force_n is None else units.force(self.held_force_n),
            "slip_force": None if self.slip_force_n is None else units.force(self.slip_force_n),
            "missing": [one.record() for one in self.missing],
            "blocked": [one.record() for one in self.blocked],
            "warnings": [one.record() for one in self.warnings],
            "sources": [one.record() for one in self.sources],
        }


@dataclass(frozen=True, slots=True)
class _Thermal:
    """Materials and strains, as far as they are known."""

    strains: Strains | None
    shaft: Material | None
    missing: tuple[Missing, ...]
    sources: tuple[Source, ...]


def arrangement(
    *,
    supports: Sequence[Support],
    drives: Sequence[Drive],
    shaft: Body | None = None,
    base: Body | None = None,
    assembly_temperature_degc: float = 20.0,
    reserve_mm: float = 0.5,
    axial_load_n: float | None = None,
    shaft_diameter_mm: float | None = None,
    wheels: Sequence[Wheel] = (),
    setting_temperature_degc: float | None = None,
) -> Arrangement:
    """Return which support locates, how far the others move, and how each is set.

    Parameters
    ----------
    assembly_temperature_degc, setting_temperature_degc : float
        Temperature of shaft and base at assembly; of the steel when the free bearing is set, [degC]
    reserve_mm : float
        Travel to be left at each end, [mm]
    axial_load_n : float or None
        Axial load on the shaft, positive in the plus direction, [N]
    shaft_diameter_mm : float or None
        Diameter of the shaft between the supports, [mm]

    Raises
    ------
    CannotEvaluate
        An unknown material or word, no support or more than twelve, two supports of one name.
    """
    supports, drives = tuple(supports), tuple(drives)
    checked_supports(supports)
    checked_drives(drives)
    roles = assigned_roles(supports=supports, drives=drives, wheels=wheels)
    thermal = _thermal(shaft, base, assembly_temperature_degc)
    steel_warmer = None if setting_temperature_degc is None else (setting_temperature_degc, assembly_temperature_degc)
    answers = tuple(
        _answer(index, supports, roles, thermal.strains, reserve_mm, steel_warmer) for index in range(len(supports))
    )
    forces = checks.forces(
        supports=supports,
        roles=roles,
        strain=_worst(thermal.strains),
        shaft=thermal.shaft,
        shaft_diameter_mm=shaft_diameter_mm,
        axial_load_n=axial_load_n,
    )
    return _collected(supports, drives, roles, thermal, answers, forces, reserve_mm)


def _collected(
    supports: Sequence[Support],
    drives: Sequence[Drive],
    roles: Roles,
    thermal: _Thermal,
    answers: tuple[SupportAnswer, ...],
    forces: "checks.Forces",
    reserve_mm: float,
) -> Arrangement:
    """Return the answer with everything found about it, the most pressing first."""
    ring_plans = [answer.rings for answer in answers if answer.rings is not None]
    role_words = [answer.decision.role for answer in answers]
    return Arrangement(
        supports=answers,
        held_force_n=forces.held_n,
        slip_force_n=forces.slip_n,
        missing=_once(
            *roles.missing,
            *checks.missing_facts(supports, drives, roles),
            *thermal.missing,
            *(one for plan in ring_plans for one in plan.missing),
            *forces.missing,
        ),
        blocked=(
            *forces.blocked,
            *checks.housing_fits(supports),
            *checks.rotating_load(supports, role_words),
            *(one for answer in answers for one in travel_blocked(answer, reserve_mm)),
            *(one for plan in ring_plans for one in plan.blocked),
            *rings.planned_rings(supports, role_words),
        ),
        warnings=(
            *roles.warnings,
            *checks.load_on_cap(supports),
            *(one for answer in answers for one in travel_warnings(answer)),
            *(one for plan in ring_plans for one in plan.warnings),
            *checks.other_bores(supports),
            *forces.warnings,
        ),
        sources=_sources(supports, roles, thermal, forces),
    )


def _thermal(shaft: Body | None, base: Body | None, assembly_temperature_degc: float) -> _Thermal:
    known: dict[str, Material] = {}
    rises: dict[str, float] = {}
    missing: list[Missing] = []
    for name, body in (("shaft", shaft), ("base", base)):
        if body is not None and body.material is not None:
            known[name] = material(body.material, f"{name}/material")
        if body is not None and body.temperature_degc is not None:
            rises[name] = body.temperature_degc - assembly_temperature_degc
        if name not in known:
            missing.append(_material_missing(name))
        if name not in rises:
            missing.append(_temperature_missing(name))
    if missing:
        return _Thermal(None, known.get("shaft"), tuple(missing), ())
    of = strains(shaft=known["shaft"], shaft_rise_k=rises["shaft"], base=known["base"], base_rise_k=rises["base"])
    grown = [known[name] for name in ("shaft", "base") if rises[name] != 0]
    return _Thermal(of, known["shaft"], (), (expansion_source(*grown),) if grown else ())


def _material_missing(name: str) -> Missing:
    return SAYS.missing(f"{name}_material", f"{name}/material")


def _temperature_missing(name: str) -> Missing:
    return SAYS.missing(f"{name}_temperature", f"{name}/temperature")


def _answer(
    index: int,
    supports: Sequence[Support],
    roles: Roles,
    of: Strains | None,
    reserve_mm: float,
    steel_warmer: tuple[float, float] | None,
) -> SupportAnswer:
    support, decision = supports[index], roles.decisions[index]
    total_mm = total_travel_mm(support)
    if decision.role is None:
        return SupportAnswer(support.name, decision, None, None, None, total_mm, None)
    if decision.role == LOCATING:
        plan = rings.locating_rings(support, index)
        return SupportAnswer(support.name, decision, None, None, plan, total_mm, None)
    moves = _moves(support, supports, roles, of)
    free = None
    if moves is not None and total_mm is not None and total_mm >= 0:
        free = free_setting(moves=moves, total_mm=total_mm, reserve_mm=reserve_mm)
    correction_mm = None
    if moves is not None and steel_warmer is not None:
        correction_mm = setting_correction_mm(
            moves, setting_temperature_degc=steel_warmer[0], assembly_temperature_degc=steel_warmer[1]
        )
    ring_plan = rings.free_rings(support)
    return SupportAnswer(support.name, decision, moves, free, ring_plan, total_mm, correction_mm, limited_by(support))


def _moves(support: Support, supports: Sequence[Support], roles: Roles, of: Strains | None) -> Growth | None:
    """Return the growth at a free support; None while one locating support, places or temperatures are not known."""
    if of is None or support.at_mm is None or len(roles.locating) != 1:
        return None
    locating_at_mm = supports[roles.locating[0]].at_mm
    if locating_at_mm is None:
        return None
    return growth(at_mm=support.at_mm, locating_at_mm=locating_at_mm, of=of)


def _worst(of: Strains | None) -> float | None:
    return None if of is None else max((of.service, of.heat_up, of.cool_down), key=abs)


def _once(*found: Missing) -> tuple[Missing, ...]:
    """Return the findings with each field named once, the first time."""
    return tuple({one.field: one for one in reversed(found)}.values())[::-1]


def _sources(
    supports: Sequence[Support], roles: Roles, thermal: _Thermal, forces: "checks.Forces"
) -> tuple[Source, ...]:
    of_housings = [one for support in supports if support.housing is not None for one in support.housing.sources]
    by_practice = [PRACTICE] if any(one.rule in ("A2", "A8") and one.role for one in roles.decisions) else []
    of_forces = [RESTRAINED] if forces.held_n is not None else []
    if forces.slip_n is not None:
        of_forces.append(GRIP)
    found = [*thermal.sources, *of_housings, *by_practice, *of_forces]
    return tuple({one.id: one for one in reversed(found)}.values())[::-1]
