"""What a torque reading of the cap bolts is worth, and whether its unit has slipped (rules B3 and C5)."""

from dataclasses import dataclass, replace
from typing import Final

from service import units
from service.bolting.messages import message
from service.errors import Text
from service.units import Quantity

ACCEPTED: Final = 0.04
"""Relative deviation accepted: the 4 % that ISO 6789-1 allows an indicating or setting tool (from memory), [-]."""
RECHECKED: Final = 0.08
"""Relative deviation up to which the wrench is set and read again, our own convention, [-]."""
PLAUSIBLE: Final = (0.2, 2.0)
"""Share of the torque asked for outside which a reading is no torque of these bolts, our own convention, [-]."""
SLIPS: Final = (1.3558179483314004, 12.0, 8.850745791327185, 9.80665, 10.0)
"""lbf ft for N m, lbf in for lbf ft, lbf in for N m, kgf m for N m, a decimal place, and their inverses, [-]."""
CODE: Final = "reading_scale_suspect"


@dataclass(frozen=True, slots=True)
class TorqueVerdict:
    """accept, recheck or reject; every value, [N m], that would fit after a slip; what to do next."""

    verdict: str
    code: str | None
    fits: tuple[Quantity, ...]
    detail: Text
    next: Text


def torque_verdict(*, reading_n_m: float, target_n_m: float) -> TorqueVerdict:
    """Return the verdict on a torque reading; a slip of unit is named, never converted (C5).

    Parameters
    ----------
    reading_n_m, target_n_m : float
        The torque as sent, and the torque of the plan, [N m]
    """
    deviation = round(abs(reading_n_m / target_n_m - 1), 9)
    facts = {"read": units.torque(reading_n_m), "asked": units.torque(target_n_m)}
    if deviation <= ACCEPTED:
        return _said("accept", None, "accepted", **facts)
    factors = [factor for slip in SLIPS for factor in (slip, 1 / slip)]
    fits = tuple(
        units.torque(reading_n_m * factor)
        for factor in factors
        if round(abs(reading_n_m * factor / target_n_m - 1), 9) <= ACCEPTED
    )
    if fits:
        return replace(_said("reject", CODE, "slip", **facts), fits=fits)
    low, high = PLAUSIBLE
    if not low * target_n_m <= reading_n_m <= high * target_n_m:
        return _said("reject", "implausible", "implausible", **facts)
    if deviation <= RECHECKED:
        return _said("recheck", None, "near", **facts)
    if reading_n_m < target_n_m:
        return _said("reject", "torque_too_low", "too_low", **facts)
    return _said("reject", "torque_too_high", "too_high", **facts)


def _said(verdict: str, code: str | None, name: str, /, **facts: Quantity) -> TorqueVerdict:
    return TorqueVerdict(verdict, code, (), message(f"{name}.detail", **facts), message(f"{name}.next", **facts))
