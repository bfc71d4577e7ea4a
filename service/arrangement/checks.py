"""What must not be done and what must be asked on a shaft line: forces, load direction, housings (A1, A4, A9)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from service import units
from service.arrangement.expansion import sleeve_slip_force, upper_bound_force
from service.arrangement.messages import SAYS, message
from service.arrangement.roles import Roles
from service.arrangement.supports import ADAPTER_SLEEVE, FREE, Drive, Support
from service.findings import Blocked, Missing, Warned
from service.reference.materials import Material


@dataclass(frozen=True, slots=True)
class Forces:
    """Axial forces on the shaft: held at both ends (upper bound) and at which the weakest sleeve slips, [N]."""

    held_n: float | None
    slip_n: float | None
    missing: tuple[Missing, ...]
    blocked: tuple[Blocked, ...]
    warnings: tuple[Warned, ...]


def forces(
    *,
    supports: Sequence[Support],
    roles: Roles,
    strain: float | None,
    shaft: Material | None,
    shaft_diameter_mm: float | None,
    axial_load_n: float | None,
) -> Forces:
    """Return the forces where they matter: two supports held, an axial load, or a shaft diameter given."""
    asked = roles.contradiction is not None or axial_load_n is not None or shaft_diameter_mm is not None
    if not asked:
        return Forces(None, None, (), (), ())
    diameter_mm = shaft_diameter_mm
    if diameter_mm is None:
        known = [one.shaft_diameter_mm for one in supports if one.shaft_diameter_mm is not None]
        diameter_mm = max(known) if known else None
    held_n = None
    if strain is not None and shaft is not None and diameter_mm is not None:
        held_n = upper_bound_force(strain=strain, youngs_modulus_mpa=shaft.youngs_modulus_mpa, diameter_mm=diameter_mm)
    slips = {index: slip for index in roles.locating if (slip := _slip_n(supports[index])) is not None}
    slip_n = min(slips.values()) if slips else None
    blocked = [*_contradiction(supports, roles, held_n, slips)]
    warnings: list[Warned] = []
    missing: list[Missing] = []
    if roles.contradiction in ("cross_located", "no_free_support") and diameter_mm is None:
        missing.append(SAYS.missing("shaft_diameter", "shaft/diameter"))
    if axial_load_n is not None:
        blocked += _axial_blocked(axial_load_n, slip_n)
        warnings += _axial_warnings(supports, roles, axial_load_n)
    return Forces(held_n, slip_n, tuple(missing), tuple(blocked), tuple(warnings))


def _slip_n(support: Support) -> float | None:
    bearing = support.bearing
    if bearing is None or bearing.width_mm is None or bearing.taper == "cylindrical":
        return None
    if support.seat not in (None, ADAPTER_SLEEVE):
        return None
    return sleeve_slip_force(width_mm=bearing.width_mm, bore_mm=bearing.bore_mm)


def _contradiction(
    supports: Sequence[Support], roles: Roles, held_n: float | None, slips: dict[int, float]
) -> tuple[Blocked, ...]:
    code = roles.contradiction
    if code is None:
        return ()
    if code == "unlocated":
        return (SAYS.blocked(code, facts={}),)
    names = [supports[index].name for index in roles.locating]
    facts: dict[str, Any] = {"locating": names}
    said = "both_held"
    held = slip = None
    if held_n is not None:
        facts["held_force"] = held = units.force(held_n)
        said += "_force"
    for index, slip_n in slips.items():
        facts[f"slip_force_{supports[index].name}"] = units.force(slip_n)
    if slips:
        slip = units.force(min(slips.values()))
        said += "_slip"
    detail = message(f"{said}.detail", names=SAYS.listed(names), held=held, slip=slip)
    return (Blocked(code, detail, (message(f"{code}.way_out"),), facts),)


def _axial_blocked(axial_load_n: float, slip_n: float | None) -> tuple[Blocked, ...]:
    if slip_n is None or abs(axial_load_n) <= slip_n:
        return ()
    load, slip = units.force(abs(axial_load_n)), units.force(slip_n)
    facts = {"axial_load": load, "slip_force": slip}
    return (SAYS.blocked("axial_load_over_grip", facts=facts, load=load, slip=slip),)


def _axial_warnings(supports: Sequence[Support], roles: Roles, axial_load_n: float) -> list[Warned]:
    """Return which part carries the axial load, where one ring on the locknut side does."""
    if len(roles.locating) != 1 or axial_load_n == 0:
        return []
    support = supports[roles.locating[0]]
    if support.locknut_side is None:
        return [SAYS.warned("axial_load_side_unknown", position=support.name)]
    toward = "plus" if axial_load_n > 0 else "minus"
    return [SAYS.warned("axial_load_on_ring", position=support.name)] if toward == support.locknut_side else []


def missing_facts(supports: Sequence[Support], drives: Sequence[Drive], roles: Roles) -> tuple[Missing, ...]:
    """Return what the rules ask for about places, drives, bearings, housings and load direction."""
    found: list[Missing] = []
    if not drives and any(one.role is None for one in roles.decisions):
        found.append(SAYS.missing("drives"))
    for index, support in enumerate(supports):
        found += _support_missing(support, f"supports/{index}")
    return (*found, *_load_missing(supports))


def _support_missing(support: Support, prefix: str) -> list[Missing]:
    found: list[Missing] = []
    if support.at_mm is None:
        found.append(SAYS.missing("at", f"{prefix}/at"))
    if support.bearing is None:
        found.append(SAYS.missing("bearing", f"{prefix}/bearing"))
    elif support.bearing.width_mm is None:
        found.append(SAYS.missing("bearing_width", f"{prefix}/bearing/width"))
    if support.housing is None:
        found.append(SAYS.missing("housing", f"{prefix}/housing"))
    else:
        found += support.housing.missing(f"{prefix}/housing", support.bearing)
    return found


def _load_missing(supports: Sequence[Support]) -> tuple[Missing, ...]:
    open_ = [index for index, one in enumerate(supports) if one.load_direction in (None, "unknown")]
    if len(open_) == len(supports):
        return (SAYS.missing("load_direction"),)
    return tuple(SAYS.missing("load_direction", f"supports/{index}/load_direction") for index in open_)


def housing_fits(supports: Sequence[Support]) -> tuple[Blocked, ...]:
    """Return a finding for each bearing that does not belong in its housing."""
    found = []
    for support in supports:
        housing, bearing = support.housing, support.bearing
        if housing is None or bearing is None or housing.accepts(bearing) is not False:
            continue
        facts = {
            member: units.dimension(value)
            for member, value in (
                ("outside_diameter", bearing.outside_diameter_mm),
                ("seat_bore", housing.seat_bore_mm),
                ("width", bearing.width_mm),
                ("seat_width", housing.seat_width_mm),
            )
            if value is not None
        }
        diameter, bore = facts["outside_diameter"], facts["seat_bore"]
        found.append(
            SAYS.blocked(
                "bearing_does_not_fit_housing",
                facts=facts,
                at=support.name,
                position=support.name,
                outside_diameter=diameter,
                seat_bore=bore,
            )
        )
    return tuple(found)


def other_bores(supports: Sequence[Support]) -> tuple[Warned, ...]:
    """Return a warning where the housing number belongs to another bore: the seals may not suit the shaft."""
    found = []
    for support in supports:
        housing, bearing = support.housing, support.bearing
        if housing is None or bearing is None or housing.bearing_bore_mm is None:
            continue
        if housing.accepts(bearing) is not False and housing.bearing_bore_mm != bearing.bore_mm:
            found.append(
                SAYS.warned(
                    "housing_for_other_bore",
                    position=support.name,
                    size=housing.size,
                    table_bore=units.dimension(housing.bearing_bore_mm),
                    bore=units.dimension(bearing.bore_mm),
                )
            )
    return tuple(found)


def rotating_load(supports: Sequence[Support], roles: Sequence[str | None]) -> tuple[Blocked, ...]:
    """Return a finding for each free bearing under a load that rotates with the shaft (A9).

    While roles are open, at most one of the open supports can become the locating one: where two of them carry a
    rotating load, one will be free under it, whichever is chosen.
    """
    turning = [support.name for support in supports if support.load_direction == "rotating"]
    undecided = [one.name for one, role in zip(supports, roles, strict=True) if role is None and one.name in turning]
    facts = {"load_direction": "rotating"}
    at_free = tuple(
        SAYS.blocked("rotating_load", facts=facts, at=support.name, position=support.name)
        for support, role in zip(supports, roles, strict=True)
        if support.load_direction == "rotating" and role == FREE
    )
    if len(undecided) < 2:
        return at_free
    together = SAYS.blocked("rotating_load", "rotating_load_open", facts=facts, positions=SAYS.listed(undecided))
    return (*at_free, together)


def load_on_cap(supports: Sequence[Support]) -> tuple[Warned, ...]:
    """Return a warning for each support whose load pulls upward: cap and cap bolts carry it (A9)."""
    return tuple(
        SAYS.warned("load_on_cap", position=support.name) for support in supports if support.load_direction == "up"
    )
