"""Locating rings and the setting of the locating bearing in its seat (rule A7).

One ring lies on the locknut side and the bearing against the shoulder opposite the nut; two rings lie one on each
side with the bearing centred between them. A free housing has none.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from service import units
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
        blocked.append(
            Blocked(
                "rings_in_free_housing",
                f"{support.name} is free, but {support.rings_planned} locating ring(s) are planned for it: "
                "the bearing could not move as the shaft grows",
                ("take the rings off the parts list of this housing", "make this support the locating one"),
                {"rings_planned": support.rings_planned},
                support.name,
            )
        )
    if support.ring_present:
        detail = f"{support.name} is free: take out the locating ring that was found in it"
        warnings.append(Warned("ring_to_take_out", detail))
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
    detail = f"{support.name}: {support.rings_planned} locating ring(s) are planned, the housing takes {rings.count}"
    return (Warned("ring_count_differs", detail),)


def _none_planned(support: Support) -> tuple[Blocked, ...]:
    if support.rings_planned != 0:
        return ()
    return (
        Blocked(
            "no_rings_in_locating_housing",
            f"{support.name} locates the shaft, but no locating ring is planned for it: nothing would hold the shaft",
            ("put its locating rings on the parts list", "make another support the locating one"),
            {"rings_planned": 0},
            support.name,
        ),
    )


def _rings_missing(support: Support, prefix: str) -> tuple[Missing, ...]:
    housing, bearing = support.housing, support.bearing
    if housing is None or bearing is None:
        return ()
    space_mm = housing.travel_mm(bearing)
    if space_mm is None:
        return ()  # the seat width is asked for already
    why = (
        "no table gives the locating rings of this bearing in this housing; together they must fill ",
        units.dimension(space_mm),
    )
    how = "read count and width in the housing maker's book, or measure the rings taken out"
    return (Missing(f"{prefix}/housing/locating_rings", why, how),)


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
        detail = (
            f"{support.name}: the locating rings together are ",
            facts["rings"],
            " wide, the space beside the bearing is ",
            facts["space"],
        )
        ways_out = ("check the width of the seat and of the rings", "get the rings of this housing and bearing")
        return (Blocked("rings_too_wide", detail, ways_out, facts, support.name),), ()
    if space_mm - together_mm > RING_SHORTFALL_MM + 1e-6:
        slack = (
            f"{support.name}: the locating rings leave ",
            units.dimension(round(space_mm - together_mm, 6)),
            " beside the bearing; the shaft can move by that much",
        )
        return (), (Warned("rings_do_not_fill", slack),)
    return (), ()


def planned_rings(supports: Sequence[Support], roles: Sequence[str | None]) -> tuple[Blocked, ...]:
    """Return a finding unless exactly one housing has rings, where the parts list covers every housing (A7)."""
    if any(support.rings_planned is None for support in supports) or None in roles:
        return ()
    with_rings = [support.name for support in supports if support.rings_planned]
    expected = [support.name for support, role in zip(supports, roles, strict=True) if role == LOCATING]
    if len(with_rings) == 1 or with_rings == expected:
        return ()
    detail = f"rings are planned for {len(with_rings)} housings; exactly one, the locating one, has rings"
    facts = {"rings_in": with_rings, "free": [s.name for s, r in zip(supports, roles, strict=True) if r == FREE]}
    return (Blocked("rings_not_in_exactly_one", detail, ("correct the parts list",), facts),)
