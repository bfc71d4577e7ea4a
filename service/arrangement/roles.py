"""Which support locates the shaft and which are free (rules A1 to A5, A8).

The order of the rules: a bearing that cannot move locates (A4); a role on record, or a ring as found, stays unless
every bearing is replaced (A5); a position that the process needs held locates (A3); else the support nearest the
drive locates and the others are free (A2, common practice). Where that leaves it open the role is null and a question
is asked (A8). Only distances between supports and drives are compared, so neither origin nor direction matters.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from service import units
from service.arrangement.messages import SAYS, message
from service.arrangement.nearest import Nearest, nearest_to_drives, overhung_question
from service.arrangement.supports import FREE, LOCATING, Body, Drive, Support, Wheel
from service.errors import Text
from service.findings import Missing, Warned

__all__ = ["Body", "Decision", "Drive", "Roles", "Support", "Wheel", "assigned_roles"]


@dataclass(frozen=True, slots=True)
class Decision:
    """The role of one support: rule, facts that decided it, what would change it; open when ``role`` is None."""

    role: str | None
    rule: str
    reason: Text
    facts: Mapping[str, Any] = field(default_factory=dict)
    question: Text | None = None

    def record(self) -> dict[str, Any]:
        """Return the member ``decision``."""
        return {
            "facts": dict(self.facts),
            "would_change": list(SAYS.several(f"would_change.{self.rule}")) if self.role is not None else [],
            "question": self.question,
        }


@dataclass(frozen=True, slots=True)
class Roles:
    """The decisions in the order of the supports; ``contradiction`` names a code when they must not stand."""

    decisions: tuple[Decision, ...]
    contradiction: str | None = None
    missing: tuple[Missing, ...] = ()
    warnings: tuple[Warned, ...] = ()

    @property
    def locating(self) -> tuple[int, ...]:
        """Return the indices of the locating supports."""
        return tuple(index for index, one in enumerate(self.decisions) if one.role == LOCATING)


@dataclass(frozen=True, slots=True)
class _Demand:
    rule: str
    reason: Text


def recorded_role(support: Support) -> str | None:
    """Return the role on record; what was found under the cap overrides it (A5)."""
    if support.ring_present is None:
        return support.role
    return LOCATING if support.ring_present else FREE


def assigned_roles(*, supports: Sequence[Support], drives: Sequence[Drive], wheels: Sequence[Wheel] = ()) -> Roles:
    """Return the role of every support, or the question that decides it."""
    record = [recorded_role(support) for support in supports]
    in_force = _record_in_force(supports, record)
    if len(supports) > 1 and in_force and all(role == FREE for role in record):
        return Roles(tuple(_free_on_record(support) for support in supports), "unlocated")
    demands = _demands(supports, record if in_force else [None] * len(supports))
    held, open_wheel = _held(supports, wheels)
    warnings: list[Warned] = list(_changed_by(in_force, record, demands, supports))
    on_record = any(demand.rule == "A5" for demand in demands.values())
    for index in held:
        if index not in demands and (on_record or (in_force and record[index] == FREE)):
            warnings.append(_held_but_free(supports[index]))
        else:
            demands.setdefault(index, _Demand("A3", message("reason.process")))
    if len(demands) > 1:
        immovable = sum(1 for index in demands if supports[index].can_move is False)
        code = "no_free_support" if immovable > 1 else "cross_located"
        return Roles(_decided(supports, demands, record if in_force else None), code, warnings=tuple(warnings))
    if demands:
        return Roles(_decided(supports, demands, record if in_force else None), warnings=tuple(warnings))
    if open_wheel is not None:
        return _left_open(supports, record if in_force else None, open_wheel, warnings)
    return _by_drive(supports, drives, wheels, record if in_force else None, warnings)


def _record_in_force(supports: Sequence[Support], record: Sequence[str | None]) -> bool:
    """Tell whether the roles on record count: not when all bearings are replaced, unless they contradict (A5)."""
    contradiction = record.count(LOCATING) > 1 or all(role == FREE for role in record)
    return contradiction or not all(support.replaced for support in supports)


def _demands(supports: Sequence[Support], record: Sequence[str | None]) -> dict[int, _Demand]:
    demands: dict[int, _Demand] = {}
    for index, support in enumerate(supports):
        if support.can_move is False:
            demands[index] = _Demand("A4", message("reason.immovable"))
        elif record[index] == LOCATING:
            found = support.ring_present is not None
            reason = message("reason.ring_found" if found else "reason.locating_on_record")
            demands[index] = _Demand("A5", reason)
    unstated = [index for index, role in enumerate(record) if role is None]
    if not demands and len(unstated) == 1 and len(supports) > 1:
        demands[unstated[0]] = _Demand("A5", message("reason.others_free"))
    return demands


def _held(supports: Sequence[Support], wheels: Sequence[Wheel]) -> tuple[list[int], Text | None]:
    """Return the supports that must hold the axial position, and the question of a wheel between two of them."""
    held = [index for index, support in enumerate(supports) if support.holds_axial_position]
    question: Text | None = None
    for wheel in wheels:
        if not wheel.holds_axial_position:
            continue
        near = Nearest.of(supports, wheel.at_mm, range(len(supports)))
        if len(near.indices) != 1:
            question = question or message("question.wheel", wheel=wheel.name)
        elif near.indices[0] not in held:
            held.append(near.indices[0])
    return held, question


def _held_but_free(support: Support) -> Warned:
    return SAYS.warned("held_position_is_free", position=support.name)


def _changed_by(
    in_force: bool, record: Sequence[str | None], demands: Mapping[int, _Demand], supports: Sequence[Support]
) -> list[Warned]:
    """Return the warning that a bearing that cannot move is free on record."""
    return [
        SAYS.warned("immovable_free_on_record", position=supports[index].name)
        for index, demand in demands.items()
        if in_force and demand.rule == "A4" and record[index] == FREE
    ]


def _decided(
    supports: Sequence[Support], demands: Mapping[int, _Demand], record: Sequence[str | None] | None
) -> tuple[Decision, ...]:
    names = [supports[index].name for index in demands]
    named = SAYS.listed(names)
    rule = next(iter(demands.values())).rule
    decisions = []
    for index, support in enumerate(supports):
        demand = demands.get(index)
        if demand is not None:
            decisions.append(Decision(LOCATING, demand.rule, demand.reason, {"locating": support.name}))
        elif record is not None and record[index] == FREE:
            decisions.append(_free_on_record(support))
        else:
            decisions.append(Decision(FREE, rule, message("reason.located_by", names=named), {"locating": named}))
    return tuple(decisions)


def _free_on_record(support: Support) -> Decision:
    found = support.ring_present is not None
    reason = message("reason.no_ring_found" if found else "reason.free_on_record")
    return Decision(FREE, "A5", reason)


def _left_open(
    supports: Sequence[Support], record: Sequence[str | None] | None, question: Text, warnings: Sequence[Warned]
) -> Roles:
    """Return the question for every support that is not free on record; a single one is open in any case."""
    free = [len(supports) > 1 and role == FREE for role in record or [None] * len(supports)]
    open_ = Decision(None, "A8", message("reason.left_open"), question=question)
    decisions = tuple(
        _free_on_record(support) if is_free else open_ for support, is_free in zip(supports, free, strict=True)
    )
    missing = SAYS.missing("supports", question=question)
    return Roles(decisions, None, (missing,), tuple(warnings))


def _by_drive(
    supports: Sequence[Support],
    drives: Sequence[Drive],
    wheels: Sequence[Wheel],
    record: Sequence[str | None] | None,
    warnings: Sequence[Warned],
) -> Roles:
    """Return the roles by the place of the drives (A2, A8); candidates are those not free on record."""
    candidates = [index for index in range(len(supports)) if record is None or record[index] != FREE]
    if len(supports) == 1:
        return _left_open(supports, record, message("question.alone"), warnings)
    near = nearest_to_drives(supports, drives, candidates)
    question = near.question or overhung_question(supports, wheels, near.indices[0])
    if question is not None:
        return _left_open(supports, record, question, warnings)
    locating = near.indices[0]
    furthest = near.furthest
    decisions = []
    for index, support in enumerate(supports):
        distance = near.distance_mm(support)
        facts = {} if distance is None else {"distance_to_drive": units.distance(distance)}
        if index == locating:
            decisions.append(Decision(LOCATING, near.rule, near.reason or message("reason.nearest_drive"), facts))
        elif record is not None and record[index] == FREE:
            decisions.append(_free_on_record(support))
        elif index in furthest and near.rule == "A2":
            decisions.append(Decision(FREE, "A2", message("reason.furthest"), facts))
        else:
            reason = message("reason.located_once", names=supports[locating].name)
            decisions.append(Decision(FREE, near.rule, reason, facts))
    return Roles(tuple(decisions), None, (), tuple([*warnings, *_role_changes(supports, decisions)]))


def _role_changes(supports: Sequence[Support], decisions: Sequence[Decision]) -> list[Warned]:
    """Return a warning for each role that differs from the record, all bearings being replaced (A5)."""
    changes = []
    for support, decision in zip(supports, decisions, strict=True):
        recorded = recorded_role(support)
        if recorded is not None and recorded != decision.role:
            changes.append(Warned("role_changed", message(f"role_changed.{decision.role}", position=support.name)))
    return changes
