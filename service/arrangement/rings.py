"""Locating rings and the setting of the locating bearing in its seat (rule A7).

One ring lies on the locknut side and the bearing against the shoulder opposite the nut; two rings lie one on each
side with the bearing centred between them. A free housing has none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.arrangement.messages import SAYS
from service.arrangement.supports import FREE, LOCATING, Support
from service.findings import Blocked, Missing, Warned
from service.reference.housing_tables import RING_SHORTFALL_MM, RingSet

SETTING_BY_COUNT: Final = {1: "against_shoulder_opposite_nut", 2: "between_rings"}


@dataclass(frozen=True, slots=True)
class RingPlan:
    """Rings of one support: count and width, [mm], where each lies, and what was found about them."""

    rings: RingSet | None
    setting: str | None = None
    sides: tuple[str, ...] = ()
    missing: tuple[Missing, ...] = ()
    blocked: tuple[Blocked, ...] = ()
    warnings: tuple[Warned, ...] = ()

    def record(self) -> dict[str, Any] | None:
        """Return the wire member ``locating_rings``."""
        if self.rings is None:
            return None
        width_mm = self.rings.width_mm
        return {"count": self.rings.count, "width": None if width_mm is None else units.dimension(width_mm)}


NO_RINGS: Final = RingSet(0, None)


def free_rings(support: Support) -> RingPlan:
    """Return the rings of a free support: none, whatever the parts list says."""
    blocked, warnings = [], []
    if support.rings_planned:
        facts = {"rings_planned": support.rings_planned}
        said = SAYS.blocked(
            "rings_in_free_housing", facts=facts, at=support.name, position=support.name, count=support.rings_planned
        )
        blocked.append(said)
    if support.ring_present:
        warnings.append(SAYS.warned("ring_to_take_out", position=support.name))
    return RingPlan(NO_RINGS, blocked=tuple(blocked), warnings=tuple(warnings))


def locating_rings(support: Support, index: int) -> RingPlan:
    """Return the rings of the locating support: how many, how wide, on which side."""
    prefix = f"supports/{index}"
    blocked = _none_planned(support)
    if support.housing is None or support.bearing is None:
        return RingPlan(None, blocked=blocked)
    rings = support.housing.locating_rings(support.bearing)
    if rings is None:
        return RingPlan(None, missing=_rings_missing(support, prefix), blocked=blocked)
    sides: tuple[str, ...] = ("minus", "plus") if rings.count == 2 else ()
    if rings.count == 1 and support.locknut_side is not None:
        sides = (support.locknut_side,)
    blocked_fit, warnings = _fit(support, rings)
    warnings = (*warnings, *_other_count(support, rings))
    return RingPlan(rings, SETTING_BY_COUNT[rings.count], sides, (), (*blocked, *blocked_fit), warnings)


def _other_count(support: Support, rings: RingSet) -> tuple[Warned, ...]:
    """Return a warning where the parts list holds rings for this housing, but not as many as it needs."""
    if not support.rings_planned or support.rings_planned == rings.count:
        return ()
    planned, count = support.rings_planned, rings.count
    return (SAYS.warned("ring_count_differs", position=support.name, planned=planned, count=count),)


def _none_planned(support: Support) -> tuple[Blocked, ...]:
    if support.rings_planned != 0:
        return ()
    facts = {"rings_planned": 0}
    return (SAYS.blocked("no_rings_in_locating_housing", facts=facts, at=support.name, position=support.name),)


def _rings_missing(support: Support, prefix: str) -> tuple[Missing, ...]:
    housing, bearing = support.housing, support.bearing
    if housing is None or bearing is None:
        return ()
    space_mm = housing.travel_mm(bearing)
    if space_mm is None:
        return ()  # the seat width is asked for already
    return (SAYS.missing("locating_rings", f"{prefix}/housing/locating_rings", space=units.dimension(space_mm)),)


def _fit(support: Support, rings: RingSet) -> tuple[tuple[Blocked, ...], tuple[Warned, ...]]:
    """Compare the rings with the space beside the bearing: seat width minus bearing width."""
    space_mm = None
    if support.housing is not None and support.bearing is not None:
        space_mm = support.housing.travel_mm(support.bearing)
    if space_mm is None or rings.width_mm is None:
        return (), ()
    together_mm = rings.count * rings.width_mm
    facts = {"rings": units.dimension(together_mm), "space": units.dimension(space_mm)}
    if together_mm > space_mm + 1e-6:
        blocked = SAYS.blocked("rings_too_wide", facts=facts, at=support.name, position=support.name, **facts)
        return (blocked,), ()
    if space_mm - together_mm > RING_SHORTFALL_MM + 1e-6:
        slack = units.dimension(round(space_mm - together_mm, 6))
        return (), (SAYS.warned("rings_do_not_fill", position=support.name, slack=slack),)
    return (), ()


def planned_rings(supports: Sequence[Support], roles: Sequence[str | None]) -> tuple[Blocked, ...]:
    """Return a finding unless exactly one housing has rings, where the parts list covers every housing (A7)."""
    if any(support.rings_planned is None for support in supports) or None in roles:
        return ()
    with_rings = [support.name for support in supports if support.rings_planned]
    expected = [support.name for support, role in zip(supports, roles, strict=True) if role == LOCATING]
    if len(with_rings) == 1 or with_rings == expected:
        return ()
    facts = {"rings_in": with_rings, "free": [s.name for s, r in zip(supports, roles, strict=True) if r == FREE]}
    return (SAYS.blocked("rings_not_in_exactly_one", facts=facts, count=len(with_rings)),)
