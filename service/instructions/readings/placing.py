"""Readings of where the bearings stand: distances and gaps, judged by the placement of the plan (rules A6 and A7)."""

from collections.abc import Mapping
from typing import Any, Final

from service.arrangement import placement
from service.arrangement.expansion import DIGITS
from service.instructions.readings.messages import message, verdict
from service.mounting.readings import ACCEPT, RECHECK, REJECT, SCALE_SUSPECT, Verdict
from service.units import Quantity

Plan = Mapping[str, Any]

SPACING_SLIPS: Final = (25.4, 10.0, 12.0, 100.0, 304.8, 1000.0)
GAP_SLIPS: Final = (10.0, 25.4)
SPACING_PLAUSIBLE: Final = (0.5, 2.0)
"""Share of the distance on record outside which a spacing is no spacing of this shaft: own convention, [-]."""
SEATS_OFF_RECORD: Final = "seats_off_record"
USUAL_TRAVEL_MM: Final = 10.0
"""Travel of a free bearing where that of this one is not known: own convention, [mm]."""
PLACE_BEFORE_LOCKING: Final = "place_before_locking"
MOVE_BASE: Final = "move_base"


def free_of(plan: Plan, position: str | None) -> Mapping[str, Any] | None:
    """Return the placement of a free position; of the only one where none is named; None where there is none."""
    placed = plan.get("placement") or {}
    free = placed.get("free", ())
    named = [each for each in free if position is None or each["position"] == position]
    return named[0] if len(named) == 1 else None


def spacing_verdict(read: Quantity, plan: Plan, position: str | None) -> Verdict:
    """Return the verdict on the distance of the bearing centres on the shaft, by the error the plan allows."""
    free = free_of(plan, position)
    spacing = None if free is None else (free.get("spacing") or (plan["placement"] or {}).get("spacing"))
    required = None if spacing is None else spacing.get("bearings")
    if free is None or spacing is None or required is None:
        return verdict(RECHECK, "no_limits", "no_limits")
    off = _length(abs(round(read.value - required.value, DIGITS)))
    low, high = (share * required.value for share in SPACING_PLAUSIBLE)
    slip = _slip(read, SPACING_SLIPS, required.value - 50, required.value + 50)
    allowed, tape = spacing.get("allowed_error"), spacing.get("tape_uncertainty")
    if slip is not None and abs(read.value - required.value) > 50:
        return slip
    if not low <= read.value <= high:
        return verdict(REJECT, "implausible", "implausible", read=read, min=_length(low), max=_length(high))
    if allowed is None or tape is None:
        return verdict(RECHECK, "travel_not_known", "spacing_not_judged", read=read)
    found, code = placement.spacing_verdict(
        error_mm=read.value - required.value, allowed_error_mm=allowed.value, tape_uncertainty_mm=tape.value
    )
    facts = {"read": read, "required": required, "off": off, "tape": tape, "allowed": allowed}
    if code == "tape_cannot_decide":
        return verdict(RECHECK, code, "tape_cannot_decide", **facts)
    if found == ACCEPT:
        return verdict(ACCEPT, None, "spacing_ok", **facts)
    if found == RECHECK:
        return verdict(RECHECK, code, "spacing_doubtful", **facts)
    if free["way"] == PLACE_BEFORE_LOCKING and free.get("gap_before") is not None:
        return verdict(RECHECK, code, "spacing_hold_decides", **facts)
    return verdict(REJECT, code, "spacing_base_moves" if free["way"] == MOVE_BASE else "spacing_off", **facts)


def seats_verdict(read: Quantity, plan: Plan, position: str | None, *, read_before: float | None = None) -> Verdict:
    """Return the verdict on the distance of the seats: plausible or not; it makes the next revision.

    Off the record by more than the free bearing can have run with it is read once more.

    Parameters
    ----------
    read_before : float or None
        What was read just before and lay so far off the record, [mm]
    """
    free = free_of(plan, position)
    spacing = None if free is None else (free.get("spacing") or (plan["placement"] or {}).get("spacing"))
    on_record = None if spacing is None else spacing.get("seats")
    if on_record is None:
        return verdict(ACCEPT, None, "seats_kept", read=read)
    slip = _slip(read, SPACING_SLIPS, 0.98 * on_record.value, 1.02 * on_record.value)
    low, high = (share * on_record.value for share in SPACING_PLAUSIBLE)
    if not low <= read.value <= high:
        return slip or verdict(REJECT, "implausible", "seats_implausible", read=read, record=on_record)
    tape_mm = placement.tape_uncertainty(on_record.value)
    ran_with_mm = _travel_mm(plan, free) + tape_mm
    again = read_before is not None and abs(read.value - read_before) <= 2 * tape_mm
    if abs(read.value - on_record.value) > ran_with_mm and not again:
        return verdict(RECHECK, SEATS_OFF_RECORD, SEATS_OFF_RECORD, read=read, record=on_record)
    return verdict(ACCEPT, None, "seats_kept", read=read)


def _travel_mm(plan: Plan, free: Mapping[str, Any] | None) -> float:
    """Return the travel of a free bearing in all, [mm]; a usual one where it is not known."""
    supports = (plan.get("arrangement") or {}).get("supports", ())
    travel = next((each.get("travel") for each in supports if free and each["name"] == free["position"]), None)
    return USUAL_TRAVEL_MM if travel is None else float(travel["total"].value)


def gap_verdict(read: Quantity, plan: Plan, position: str | None, *, before: bool) -> Verdict:
    """Return the verdict on the gap at the out side of a free bearing, before or after its nut is turned."""
    free = free_of(plan, position)
    limits = None if free is None else free.get("gap_before_limits" if before else "gap_limits")
    if free is None or limits is None:
        return verdict(RECHECK, "no_limits", "no_limits")
    low, high = limits["min"], limits["max"]
    aim = free["gap_before" if before else "gap_aim"] or low
    slip = _slip(read, GAP_SLIPS, low.value, high.value)
    found = placement.gap_verdict(read_mm=read.value, min_mm=low.value, aim_mm=aim.value, max_mm=high.value)
    facts = {"read": read, "min": low, "max": high, "move": _length(found.move_mm)}
    if found.verdict == ACCEPT:
        return verdict(ACCEPT, None, "gap_ok", **facts)
    if found.verdict == RECHECK:
        return verdict(RECHECK, found.code, "gap_doubtful", **facts)
    if slip is not None:
        return slip
    way = "sleeve" if before else "base" if free["way"] == MOVE_BASE else "locked"
    return verdict(REJECT, found.code, f"gap_{way}_{found.toward}", **facts)


def _slip(read: Quantity, slips: tuple[float, ...], low: float, high: float) -> Verdict | None:
    """Return the suspicion of a slip of scale, None where no slip would fit."""
    factors = [factor for slip in slips for factor in (slip, 1 / slip)]
    fits = tuple(_length(read.value * f) for f in factors if low <= read.value * f <= high)
    if not fits or low <= read.value <= high:
        return None
    listed: list[str | Quantity] = []
    for fit in dict.fromkeys(fits):
        listed += [" or ", fit] if listed else [fit]
    detail = message("slip", read=read, fits=tuple(listed))
    return Verdict(REJECT, SCALE_SUSPECT, fits, None, detail, message("slip", "next"))


def _length(value_mm: float) -> Quantity:
    return Quantity("dimension", round(value_mm, DIGITS))
