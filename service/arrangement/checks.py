"""What must not be done and what must be asked on a shaft line: forces, load direction, housings (A1, A4, A9)."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.arrangement.expansion import sleeve_slip_force, upper_bound_force
from service.arrangement.roles import Roles
from service.arrangement.supports import ADAPTER_SLEEVE, FREE, Drive, Support
from service.errors import Text
from service.findings import Blocked, Missing, Warned
from service.reference.materials import Material
from service.units import Quantity

LOAD_WHY: Final = "an upward pull loads cap and bolts"
LOAD_HOW: Final = "ask where the belt pulls"
ROTATING_WAYS_OUT: Final = (
    "check that the load really rotates (unbalance duty, screen); vibration under a steady load does not",
    "ask the bearing maker for a design with a tight outer ring",
)


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
        why = "the force in the shaft held at two supports follows from its section"
        missing.append(Missing("shaft/diameter", why, "measure the shaft between the bearings"))
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
        detail: Text = "every support is free on record: nothing holds the shaft along its axis"
        look: tuple[Text, ...] = (
            "look under the caps which housing has locating rings",
            "decide which support is to locate",
        )
        return (Blocked(code, detail, look),)
    names = [supports[index].name for index in roles.locating]
    facts: dict[str, Any] = {"locating": names}
    if held_n is not None:
        facts["held_force"] = units.force(held_n)
    for index, slip in slips.items():
        facts[f"slip_force_{supports[index].name}"] = units.force(slip)
    parts: list[str | Quantity] = [f"{' and '.join(names)} would both hold the shaft: as it grows, "]
    parts.append("the bearings are loaded against each other")
    if held_n is not None:
        parts += [", with up to ", units.force(held_n), " (upper bound)"]
    if slips:
        parts += ["; a sleeve slips at about ", units.force(min(slips.values()))]
    ways_out: tuple[Text, ...] = (
        "make one of them free: take out its locating rings and centre its bearing in the seat",
    )
    if code == "no_free_support":
        ways_out = ("a housing in which one of the bearings can move",)
    return (Blocked(code, tuple(parts), ways_out, facts),)


def _axial_blocked(axial_load_n: float, slip_n: float | None) -> tuple[Blocked, ...]:
    if slip_n is None or abs(axial_load_n) <= slip_n:
        return ()
    facts = {"axial_load": units.force(abs(axial_load_n)), "slip_force": units.force(slip_n)}
    detail = (
        "the axial load of ",
        facts["axial_load"],
        " is more than the sleeve of the locating bearing holds on a plain shaft, about ",
        facts["slip_force"],
    )
    ways_out = (
        "an abutment: the inner ring against a shoulder of the shaft, through a spacer ring",
        "ask the bearing maker",
    )
    return (Blocked("axial_load_over_grip", detail, ways_out, facts),)


def _axial_warnings(supports: Sequence[Support], roles: Roles, axial_load_n: float) -> list[Warned]:
    """Return which part carries the axial load, where one ring on the locknut side does."""
    if len(roles.locating) != 1 or axial_load_n == 0:
        return []
    support = supports[roles.locating[0]]
    if support.locknut_side is None:
        detail = f"{support.name}: say on which side the locknut is; it decides whether ring or shoulder takes the load"
        return [Warned("axial_load_side_unknown", detail)]
    toward = "plus" if axial_load_n > 0 else "minus"
    if toward == support.locknut_side:
        return [Warned("axial_load_on_ring", f"{support.name}: the axial load presses on the locknut side of the seat")]
    return []


def missing_facts(supports: Sequence[Support], drives: Sequence[Drive], roles: Roles) -> tuple[Missing, ...]:
    """Return what the rules ask for about places, drives, bearings, housings and load direction."""
    found: list[Missing] = []
    if not drives and any(one.role is None for one in roles.decisions):
        why = "the support nearest the drive locates the shaft (A2)"
        found.append(Missing("drives", why, "say where each drive stands along the shaft and of what kind it is"))
    for index, support in enumerate(supports):
        found += _support_missing(support, f"supports/{index}")
    return (*found, *_load_missing(supports))


def _support_missing(support: Support, prefix: str) -> list[Missing]:
    found: list[Missing] = []
    if support.at_mm is None:
        why = "which support is nearest the drive, and how far each moves, follow from the places"
        found.append(Missing(f"{prefix}/at", why, "measure along the shaft from any fixed point"))
    if support.bearing is None:
        why = "travel and rings follow from the bearing's width and the seat's"
        found.append(Missing(f"{prefix}/bearing", why, "read the marks on the ring"))
    elif support.bearing.width_mm is None:
        why = "travel in the seat is seat width minus bearing width"
        found.append(Missing(f"{prefix}/bearing/width", why, "measure the width of the outer ring"))
    if support.housing is None:
        why = "travel and rings follow from the housing's seat"
        found.append(Missing(f"{prefix}/housing", why, "read the size on the housing, or measure seat width and bore"))
    else:
        found += support.housing.missing(f"{prefix}/housing", support.bearing)
    return found


def _load_missing(supports: Sequence[Support]) -> tuple[Missing, ...]:
    open_ = [index for index, one in enumerate(supports) if one.load_direction in (None, "unknown")]
    if len(open_) == len(supports):
        return (Missing("load_direction", LOAD_WHY, LOAD_HOW),)
    return tuple(Missing(f"supports/{index}/load_direction", LOAD_WHY, LOAD_HOW) for index in open_)


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
        detail = (
            f"{support.name}: the bearing, outside diameter ",
            facts["outside_diameter"],
            ", does not belong in a housing with seat bore ",
            facts["seat_bore"],
        )
        ways_out = ("check the marks on bearing and housing", "the housing of this bearing, or the bearing of it")
        found.append(Blocked("bearing_does_not_fit_housing", detail, ways_out, facts, support.name))
    return tuple(found)


def other_bores(supports: Sequence[Support]) -> tuple[Warned, ...]:
    """Return a warning where the housing number belongs to another bore: the seals may not suit the shaft."""
    found = []
    for support in supports:
        housing, bearing = support.housing, support.bearing
        if housing is None or bearing is None or housing.bearing_bore_mm is None:
            continue
        if housing.accepts(bearing) is not False and housing.bearing_bore_mm != bearing.bore_mm:
            detail = (
                f"{support.name}: the table gives housing {housing.size} for bearing bore ",
                units.dimension(housing.bearing_bore_mm),
                ", the bearing has ",
                units.dimension(bearing.bore_mm),
                "; check that the seals suit the shaft",
            )
            found.append(Warned("housing_for_other_bore", detail))
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
        Blocked(
            "rotating_load",
            f"{support.name}: the load rotates with the shaft, so a free outer ring would creep and wear its seat in "
            "a split housing",
            ROTATING_WAYS_OUT,
            facts,
            support.name,
        )
        for support, role in zip(supports, roles, strict=True)
        if support.load_direction == "rotating" and role == FREE
    )
    if len(undecided) < 2:
        return at_free
    detail = (
        f"the load rotates with the shaft at {' and '.join(undecided)}, and at most one of them locates: a free outer "
        "ring would creep and wear its seat in a split housing"
    )
    return (*at_free, Blocked("rotating_load", detail, ROTATING_WAYS_OUT, facts))


def load_on_cap(supports: Sequence[Support]) -> tuple[Warned, ...]:
    """Return a warning for each support whose load pulls upward: cap and cap bolts carry it (A9)."""
    return tuple(
        Warned(
            "load_on_cap",
            f"{support.name}: the load pulls upward and is carried by cap and cap bolts; ask the housing maker for "
            "the permissible load in this direction",
        )
        for support in supports
        if support.load_direction == "up"
    )
