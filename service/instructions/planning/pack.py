"""A job pack: several orders planned together, their parts and tools summed, their work put in order (rule P8)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from service.instructions.planning.messages import message
from service.instructions.planning.parts import SPARES, added
from service.instructions.readiness import open_red
from service.record import Record
from service.units import Quantity

ONCE_A_SHAFT: Final = ("safe_and_clear", "align_and_guards", "run_in", "recheck_and_hand_back")
"""Phases that are done once for a shaft, however many orders are open on it: own convention."""


@dataclass(frozen=True, slots=True)
class Packed:
    """One order of a pack: its id, its number with the system that opened it, and its plan."""

    id: str
    system: str
    number: str
    released: bool
    plan: Mapping[str, Any]

    @property
    def shaft(self) -> tuple[str, str]:
        """Return the shaft that the order is about, by asset and name."""
        return self.plan["asset"], self.plan["shaft"]


def job_pack(orders: Sequence[Packed]) -> Record:
    """Return {orders, parts, tools, sequence, hours, crew} of several orders, quantities unit-neutral.

    Parameters
    ----------
    orders : sequence of Packed
        The orders, each once
    """
    sequence = _sequence(orders)
    return {
        "orders": [_order(each) for each in orders],
        "parts": _parts(orders),
        "tools": _tools(orders),
        "sequence": sequence,
        "hours": {
            "total": _sum(each["hours"] for each in sequence),
            "said": message("pack_hours"),
        },
        "crew": _crew(orders),
    }


def _order(packed: Packed) -> Record:
    plan = packed.plan
    red = open_red(plan.get("readiness", ()))
    return {
        "id": packed.id,
        "external": {"system": packed.system, "number": packed.number},
        "asset": plan["asset"],
        "shaft": plan["shaft"],
        "positions": list(plan["positions"]),
        "kind": plan["kind"],
        "released": packed.released,
        "red_open": [{"id": each["id"], "position": each["position"]} for each in red],
        "blocked": [each["code"] for each in plan["blocked"]],
        "hours": plan["planning"]["hours"]["total"],
    }


def _parts(orders: Sequence[Packed]) -> list[Record]:
    """Return the parts of all orders, those that are alike once; one spare lock of a kind serves the whole pack."""
    kept: list[Record] = []
    for packed in orders:
        for part in packed.plan["planning"]["parts"]:
            placed = [f"{packed.plan['asset']} {name}" for name in part["positions"]]
            one = {**part, "positions": placed, "orders": [packed.number]}
            same = next((each for each in kept if _alike(each, one)), None)
            if same is None:
                kept.append(one)
                continue
            same |= {**added(same, one), "orders": list(dict.fromkeys([*same["orders"], packed.number]))}
            if part["kind"] == "lock" and same["count"] is not None:
                same["count"] -= SPARES
    return kept


def _alike(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    alike = all(one[member] == other[member] for member in ("kind", "said", "size", "note", "mass"))
    return alike and (one["amount"] is None) == (other["amount"] is None)


def _tools(orders: Sequence[Packed]) -> list[Record]:
    """Return the tools of all orders by name, with everything each must reach; how many crews work is not known."""
    kept: dict[Any, Record] = {}
    for packed in orders:
        for tool in packed.plan["planning"]["tools"]:
            known = kept.setdefault(tool["said"], {"said": tool["said"], "reaches": [], "orders": []})
            if tool["reach"] is not None and tool["reach"] not in known["reaches"]:
                known["reaches"].append(tool["reach"])
            if packed.number not in known["orders"]:
                known["orders"].append(packed.number)
    return list(kept.values())


def _sequence(orders: Sequence[Packed]) -> list[Record]:
    """Return the shafts in the order of work: those that need the hoist first, one after the other, so that it comes
    once; then the longest first. On one shaft the held end goes first and one lift serves all its orders.
    """
    shafts: dict[tuple[str, str], list[Packed]] = {}
    for packed in orders:
        shafts.setdefault(packed.shaft, []).append(packed)
    lines = [_line(of_one) for of_one in shafts.values()]
    lines.sort(key=lambda each: (not each["hoist"], -(each["hours"].value if each["hours"] is not None else 0.0)))
    return [{"place": place, **line} for place, line in enumerate(lines, start=1)]


def _line(of_one: Sequence[Packed]) -> Record:
    """Return what is done at one shaft: its orders, held end first, and whether they share one lift."""
    first = of_one[0].plan
    placement = first.get("placement")
    held = None if placement is None else placement["held"]["position"]
    free = [] if placement is None else [each["position"] for each in placement["free"]]
    ordered = sorted(of_one, key=lambda each: held is not None and held not in each.plan["positions"])
    worked = [name for each in ordered for name in each.plan["positions"]]
    walked = [name for name in (held, *free) if name in worked] + [n for n in worked if n not in (held, *free)]
    lifted = [each for each in of_one if any(step["id"] == "lift-shaft" for step in each.plan["steps"])]
    masses = [mass for each in of_one for mass in each.plan["planning"]["masses"] if mass["what"] == "bearing"]
    return {
        "asset": first["asset"],
        "shaft": first["shaft"],
        "orders": [each.number for each in ordered],
        "held": held,
        "free": free,
        "positions": list(dict.fromkeys(walked)),
        "shared_lift": len(lifted) > 1,
        "hoist": any(each["handling"] == "hoist" for each in masses),
        "hours": _hours_of(of_one),
        "said": _said(ordered, held, shared=len(lifted) > 1),
    }


def _said(ordered: Sequence[Packed], held: str | None, *, shared: bool) -> Any:
    if held is None:
        return message("pack_roles_open")
    return message("pack_shared" if shared else "pack_alone", held=held)


def _hours_of(of_one: Sequence[Packed]) -> Quantity | None:
    """Return the clock hours of the orders of one shaft, what is done once counted once; None where one is unknown."""
    if any(each.plan["planning"]["hours"]["total"] is None for each in of_one):
        return None
    phases: dict[str, list[float]] = {}
    for each in of_one:
        for phase in each.plan["planning"]["hours"]["phases"]:
            phases.setdefault(phase["phase"], []).append(phase["hours"].value)
    total_h = sum(max(hours) if phase in ONCE_A_SHAFT else sum(hours) for phase, hours in phases.items())
    return Quantity("time", round(total_h, 2))


def _sum(hours: Iterable[Quantity | None]) -> Quantity | None:
    found = list(hours)
    known = [each.value for each in found if each is not None]
    return Quantity("time", round(sum(known), 2)) if len(known) == len(found) else None


def _crew(orders: Sequence[Packed]) -> Record | None:
    """Return the largest crew that one of the orders takes; None where one is not known."""
    crews = [each.plan["planning"]["crew"] for each in orders]
    if None in crews:
        return None
    return {
        "fitters": max(each["fitters"] for each in crews),
        "crane_driver": any(each["crane_driver"] for each in crews),
    }
