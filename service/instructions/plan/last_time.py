"""What was set at a position the last time, and where the new plan differs from it (rule P7)."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from service.instructions.plan.scene import Scene
from service.record import Record
from service.units import Quantity

SAME: Final = 1e-9
"""Relative difference up to which two quantities are the same number, [-]."""


def last_time_records(scene: Scene, placement: Record | None) -> list[Record]:
    """Return [{position, ..., set, differs}]: what was read, found and set before, and what is set otherwise now."""
    now = {
        "arrangement": scene.arrangement,
        "placement": placement,
        "bolting": [{"position": name, **each} for name, each in scene.bolting.items()],
        "targets": [{"position": name, **each} for name, each in scene.targets.items()],
    }
    return [
        {**each, "differs": _differences(each["set"] or {}, as_set(now, each["position"]))}
        for each in scene.job.last_time
    ]


def as_set(record: Mapping[str, Any], position: str) -> Record:
    """Return what a plan sets at a position: class, roles, rings, gap, torque; None where it says nothing.

    Parameters
    ----------
    record : plan record
        Of any engine: members that it does not have count as not said
    """
    target = _of(record["targets"], position)
    support = _of((record.get("arrangement") or {}).get("supports") or (), position, "name")
    free = _of((record.get("placement") or {}).get("free") or (), position)
    rings = support.get("locating_rings") or {}
    return {
        "designation": (target.get("bearing") or {}).get("designation"),
        "clearance_class": (target.get("bearing") or {}).get("clearance_class"),
        "residual_aim": (target.get("residual_clearance") or {}).get("aim"),
        "role": support.get("role"),
        "rings": rings.get("count"),
        "ring_width": rings.get("width"),
        "gap_aim": free.get("gap_aim"),
        "gap_side": free.get("gap_side"),
        "cap_torque": _of(record["bolting"], position).get("torque"),
    }


def _of(records: Iterable[Mapping[str, Any]], position: str, member: str = "position") -> Mapping[str, Any]:
    return next((each for each in records if each[member] == position), {})


def _differences(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[Record]:
    """Return [{what, before, now}] where both are said and they are not the same."""
    return [
        {"what": what, "before": before[what], "now": value}
        for what, value in now.items()
        if value is not None and before.get(what) is not None and not _same(before[what], value)
    ]


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, Quantity) and isinstance(other, Quantity):
        return abs(one.value - other.value) <= SAME * max(1.0, abs(one.value))
    return bool(one == other)
