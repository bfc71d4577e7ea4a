"""The answer for one support: role, growth, travel, setting and rings, and what is wrong with its travel (A6, A7)."""

from dataclasses import dataclass
from typing import Any, Final

from service import units
from service.arrangement.expansion import FreeSetting, Growth, SettingGap
from service.arrangement.messages import SAYS
from service.arrangement.rings import RingPlan
from service.arrangement.roles import Decision
from service.arrangement.supports import FREE, LOCATING, Support
from service.findings import Blocked, Warned
from service.units import Quantity

SEAT: Final = "seat"
SEALS: Final = "seals"


@dataclass(frozen=True, slots=True)
class SupportAnswer:
    """What is decided about one support."""

    name: str
    decision: Decision
    moves: Growth | None
    free: FreeSetting | None
    rings: RingPlan | None
    total_mm: float | None
    correction_mm: float | None
    limited_by: str = SEAT

    @property
    def setting_gap(self) -> SettingGap | None:
        """Return the gap to leave when the free bearing is set, corrected for the temperature of the shaft, [mm]."""
        if self.free is None or self.free.gap is None or self.moves is None:
            return None
        return self.free.gap.corrected(self.moves.outward, self.correction_mm or 0.0)

    def record(self) -> dict[str, Any]:
        """Return the wire member ``supports[]``."""
        role = self.decision.role
        moves, direction = None, None
        if role == LOCATING:
            moves, direction = units.dimension(0), "none"
        elif self.moves is not None:
            moves, direction = units.dimension(self.moves.magnitude_mm), self.moves.direction
        offset = self.free.offset if self.free is not None else None
        return {
            "name": self.name,
            "role": role,
            "reason": self.decision.reason,
            "rule": self.decision.rule,
            "growth": moves,
            "direction": direction,
            "travel": self._travel(),
            "setting": self._setting(),
            "offset": None if offset is None else offset.record(),
            "locating_rings": None if self.rings is None else self.rings.record(),
            "ring_sides": list(self.rings.sides) if self.rings is not None else [],
            "decision": self.decision.record(),
            "expansion": self._expansion(),
        }

    def _travel(self) -> dict[str, Quantity | str | None] | None:
        if self.decision.role != FREE or self.total_mm is None or self.total_mm < 0:
            return None
        free = self.free
        return {
            "total": units.dimension(self.total_mm),
            "needed": None if free is None else units.dimension(free.needed_mm),
            "available": units.dimension(self.total_mm / 2 if free is None else free.available_mm),
            "limited_by": self.limited_by,
        }

    def _setting(self) -> str | None:
        """Return the setting; a free bearing is centred (the practice) where its growth is not known."""
        if self.decision.role == FREE and self.free is None:
            return None if self.total_mm is not None and self.total_mm < 0 else "centred"
        if self.decision.role == FREE and self.free is not None:
            return self.free.setting
        return self.rings.setting if self.rings is not None and self.decision.role == LOCATING else None

    def _expansion(self) -> dict[str, Any] | None:
        if self.moves is None or self.decision.role != FREE:
            return None
        gaps = self.free.gaps_mm if self.free is not None else {}
        gap = self.setting_gap
        return {
            "heat_up": units.dimension(abs(self.moves.heat_up_mm)),
            "cool_down": units.dimension(abs(self.moves.cool_down_mm)),
            "governed_by": None if self.free is None else self.free.governed_by,
            "gaps": {
                state: {side: units.dimension(gap) for side, gap in sides.items()} for state, sides in gaps.items()
            },
            "setting_gap": gap.record() if gap is not None and gap.can_be_set else None,
            "setting_correction": {
                "per_10_k": units.dimension(round(self.moves.per_k_mm * 10, 6)),
                "direction": self.moves.outward,
                "correction": None if self.correction_mm is None else units.dimension(self.correction_mm),
            },
        }


def total_travel_mm(support: Support) -> float | None:
    """Return the travel in all, [mm]: the seat's, or the seals' where that is smaller (A6)."""
    if support.housing is None or support.bearing is None:
        return None
    seat_mm = support.housing.travel_mm(support.bearing)
    if seat_mm is None or support.seal_travel_mm is None:
        return seat_mm
    return min(seat_mm, support.seal_travel_mm)


def limited_by(support: Support) -> str:
    """Return what ends the travel: the shoulders of the seat, or the seals before them."""
    if support.housing is None or support.bearing is None or support.seal_travel_mm is None:
        return SEAT
    seat_mm = support.housing.travel_mm(support.bearing)
    return SEALS if seat_mm is not None and support.seal_travel_mm < seat_mm else SEAT


def travel_blocked(answer: SupportAnswer, reserve_mm: float) -> tuple[Blocked, ...]:
    """Return the finding that the growth and the reserve do not go into the travel."""
    free, moves = answer.free, answer.moves
    if free is None or moves is None or free.setting is not None:
        return ()
    facts = {
        "growth": units.dimension(moves.magnitude_mm),
        "heat_up": units.dimension(abs(moves.heat_up_mm)),
        "reserve": units.dimension(reserve_mm),
        "needed": units.dimension(free.needed_mm),
        "available": units.dimension(free.available_mm),
    }
    most_mm = round(max(abs(moves.service_mm), abs(moves.heat_up_mm), abs(moves.cool_down_mm)) + reserve_mm, 6)
    needed, available = units.dimension(most_mm), facts["available"]
    return (
        SAYS.blocked(
            "travel_too_small",
            facts=facts,
            at=answer.name,
            position=answer.name,
            needed=needed,
            available=available,
        ),
    )


def travel_warnings(answer: SupportAnswer) -> tuple[Warned, ...]:
    """Return what may be read later about the travel: another state than service governs, or it is marginal."""
    free, moves, gap = answer.free, answer.moves, answer.setting_gap
    if free is None or moves is None or gap is None:
        return ()
    found = []
    if not gap.can_be_set:
        correction = units.dimension(abs(answer.correction_mm or 0.0))
        found.append(SAYS.warned("cannot_be_set_at_this_temperature", position=answer.name, correction=correction))
    if free.governed_by != "service":
        moved_mm = moves.heat_up_mm if free.governed_by == "heat_up" else moves.cool_down_mm
        moved = units.dimension(abs(moved_mm))
        found.append(SAYS.warned(f"{free.governed_by}_governs", position=answer.name, moves=moved))
    if abs(moves.highest_mm) > free.available_mm:
        moved, available = units.dimension(abs(moves.highest_mm)), units.dimension(free.available_mm)
        found.append(SAYS.warned("travel_marginal", position=answer.name, moves=moved, available=available))
    return tuple(found)
