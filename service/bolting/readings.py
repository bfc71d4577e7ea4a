"""What a torque reading of the cap bolts is worth, and whether its unit has slipped (rules B3 and C5)."""

from dataclasses import dataclass
from typing import Final

from service import units
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
    named = (units.torque(reading_n_m), " where ", units.torque(target_n_m), " is asked for")
    if deviation <= ACCEPTED:
        return TorqueVerdict("accept", None, (), named, "go on")
    factors = [factor for slip in SLIPS for factor in (slip, 1 / slip)]
    fits = tuple(
        units.torque(reading_n_m * factor)
        for factor in factors
        if round(abs(reading_n_m * factor / target_n_m - 1), 9) <= ACCEPTED
    )
    if fits:
        detail = (*named, "; it would fit in another unit")
        return TorqueVerdict("reject", CODE, fits, detail, "read the unit on the wrench and send the reading again")
    low, high = PLAUSIBLE
    if not low * target_n_m <= reading_n_m <= high * target_n_m:
        return TorqueVerdict("reject", "implausible", (), named, "read number and unit on the wrench again")
    if deviation <= RECHECKED:
        return TorqueVerdict("recheck", None, (), named, "check the setting of the wrench and go round once more")
    if reading_n_m < target_n_m:
        return TorqueVerdict("reject", "torque_too_low", (), named, "tighten to the torque in the stages of the plan")
    after = "loosen all cap bolts, look at the bolts and at the fit of the cap, then tighten in stages again"
    return TorqueVerdict("reject", "torque_too_high", (), named, after)
