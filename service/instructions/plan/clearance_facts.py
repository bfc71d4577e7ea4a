"""What the steps may say of the clearance of one bearing: its range, what to leave, blades, displacement, nut turn.

Before the initial clearance of this very bearing is measured no number is said that follows from it.
"""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from service import units
from service.errors import Text
from service.instructions.plan.messages import between, listed, message, stack
from service.sentences import Fact

EMPTY_WINDOWS: Final = ("class_too_tight", "rows_differ")
"""Why nothing lies inside the window of a bearing that was measured (rule C4)."""
ZERO_DOUBT_NM: Final = 100_000
"""Doubt of firm contact found by hand, [nm]: own convention. A narrower displacement is said as its middle."""


SHARE_LOST: Final = 0.8
"""Share of the interference of a cylindrical bore that the clearance loses: common practice, no source."""


def clearance_facts(target: Mapping[str, Any] | None, *, by_hand: bool = True) -> dict[str, "Fact | Text"]:
    """Return the facts of one bearing as its clearance target answers them.

    ``by_hand``: the nut is turned from firm contact; a hydraulic nut has a zero of its own, for which displacement and
    nut turn of our tables do not hold.
    """
    if target is None:
        return {}
    initial, residual = target.get("initial_clearance") or {}, target.get("residual_clearance") or {}
    blades, measured = target.get("blades") or {}, target.get("measured") or {}
    judged = {} if residual.get("provisional") else residual
    facts: dict[str, Fact | Text] = {
        "initial_min": initial.get("min"),
        "initial_max": initial.get("max"),
        "initial_range": between(initial),
        "initial_source": initial.get("source"),
        "measured": listed((each,) for each in dict.fromkeys(measured.get("rows") or ())),
        "residual_min": judged.get("min"),
        "residual_max": judged.get("max"),
        "residual_aim": judged.get("aim"),
        "residual_range": between(judged),
        "residual_source": residual.get("source"),
        "floor": residual.get("floor"),
        "floor_source": residual.get("floor_source"),
        "leave": stack(blades.get("target")),
        "blade_pass": stack(blades.get("must_pass")),
        "blade_stop": stack(blades.get("must_not_pass")),
        "reduction_source": (target.get("reduction") or {}).get("source"),
    }
    if by_hand and no_window(target) is None:
        facts |= _displacement(target.get("axial_displacement") or {}) | _turn(target.get("nut_turn") or {})
    return facts


def shrunk_facts(
    target: Mapping[str, Any] | None, interference_mm: tuple[float, float] | None
) -> dict[str, "Fact | Text"]:
    """Return what a shrink fit leaves of the initial clearance: its row less 0.8 of the interference.

    Source
    ------
    Common practice: 80 % of the interference of a cylindrical bore is lost from the clearance; no source.
    """
    initial = (target or {}).get("initial_clearance")
    if initial is None or interference_mm is None:
        return {}
    lost_nm = [round(SHARE_LOST * each_mm * units.NM_PER_MM) for each_mm in interference_mm]
    low_nm, high_nm = initial["min"].value - lost_nm[1], initial["max"].value - lost_nm[0]
    if low_nm < 0:
        return {}
    limits = {"min": units.clearance(low_nm), "max": units.clearance(high_nm)}
    return {"residual_min": limits["min"], "residual_max": limits["max"], "residual_range": between(limits)}


def _displacement(found: Mapping[str, Any]) -> dict[str, "Fact | Text"]:
    """Return displacement and its limits: as its middle and the doubt of the zero where its window is narrower."""
    if not found:
        return {}
    low_nm, high_nm = found["min"].value, found["max"].value
    middle_mm = (low_nm + high_nm) / 2 / units.NM_PER_MM
    facts: dict[str, Fact | Text] = {"displacement_source": found.get("source")}
    if high_nm - low_nm < 2 * ZERO_DOUBT_NM:
        doubt_mm = ZERO_DOUBT_NM / units.NM_PER_MM
        least, most = units.travel_limits(round(middle_mm - doubt_mm, 6), round(middle_mm + doubt_mm, 6))
        said = message("about", middle=units.travel(middle_mm))
    else:
        least, most = units.travel_limits(low_nm / units.NM_PER_MM, high_nm / units.NM_PER_MM)
        said = message("range", min=least, max=most)
    return facts | {"displacement": said, "displacement_min": least, "displacement_max": most}


def _turn(found: Mapping[str, Any]) -> dict[str, "Fact | Text"]:
    if not found:
        return {}
    middle = (found["min"].value + found["max"].value) / 2
    return {"nut_turn": message("about", middle=units.nut_turn(middle)), "nut_thread": found.get("thread")}


def clearance_flags(target: Mapping[str, Any] | None) -> Iterator[str]:
    """Yield the conditions of the clearance of one bearing."""
    if target is None:
        return
    residual, blades, why = target.get("residual_clearance"), target.get("blades"), no_window(target)
    if why is not None:
        yield from (why, "no_window")
    elif residual is None:
        yield "no_residual"
    elif residual.get("provisional"):
        yield "provisional"
    else:
        yield "judged"
    if blades is not None:
        yield "blades_resolve" if blades.get("resolves") else "blades_too_coarse"


def no_window(target: Mapping[str, Any]) -> str | None:
    """Return why a bearing with a measured clearance has no residual window; None where it has one or may have."""
    measured = target.get("measured")
    if target.get("residual_clearance") is not None:
        return None
    if measured is not None and measured["verdict"] != "accept":
        return "initial_outside"
    return "window_empty" if any(each["code"] in EMPTY_WINDOWS for each in target["blocked"]) else None
